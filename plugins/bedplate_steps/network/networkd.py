"""Files of systemd-networkd: one `.network` file per link, matched by the card's permanent address, a `.netdev` file
for a VLAN, a `.link` file where a card's name has to be known.

systemd.network(5), systemd.netdev(5), systemd.link(5). The first file that matches a link wins, in order of file names,
so the number in front puts ours before the distribution's own.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import Call, InTarget, WriteFile
from bedplate.hookspecs import Context
from bedplate_steps.network import wifi, wpa_supplicant
from bedplate_steps.network.model import Network, NetworkLink

WAYS = ("announced", "slaac", "dhcpv6", "off")
"""Ways to take IPv6 addresses it knows."""

_PRIVACY = {"temporary": "yes", "public": "prefer-public", "off": "no"}


def link_files(link: NetworkLink, section: Network, context: Context) -> tuple[WriteFile | Call, ...]:
    """The link's files, and the Wi-Fi program's file of the wireless network."""
    network = _file(link, "network", _network(link, section))
    if link.vlan is not None:
        netdev = f"[NetDev]\nName={link.name}\nKind=vlan\n\n[VLAN]\nId={link.vlan.id}\n"
        return (_file(link, "netdev", netdev), network)
    if link.wifi is None:
        return (network,)
    if section.daemon == "iwd":
        return (network, wifi.iwd_file(link, link.wifi))
    name = interface_name(link, section)
    # without a NamePolicy= the name is taken as it stands (systemd.link(5))
    named = (_file(link, "link", f"[Match]\n{_match(link)}\n\n[Link]\nName={name}\n"),) if name else ()
    return (*named, network, wpa_supplicant.network_file(link, link.wifi, name or link.interface))


def interface_name(link: NetworkLink, section: Network) -> str:
    """The name these files give to the link's interface; empty if it keeps the kernel's."""
    named = link.vlan is not None or (link.wifi is not None and section.daemon == "wpa_supplicant" and link.mac)
    return link.name if named else ""


def _file(link: NetworkLink, suffix: str, text: str) -> WriteFile:
    return WriteFile(path=InTarget(f"/etc/systemd/network/10-{link.name}.{suffix}"), content=(text,))


def _network(link: NetworkLink, section: Network) -> str:
    vlans = section.vlans_on(link)
    bare = not (link.takes_ipv4 or link.takes_ipv6 or link.addresses)  # there only for its VLANs
    parts = [["[Match]", _match(link)]]
    if not section.waited_for(link):
        parts.append(["[Link]", "RequiredForOnline=no"])
    elif bare:
        parts.append(["[Link]", "RequiredForOnline=carrier"])  # it never gets as far as an address
    lines = ["[Network]", f"DHCP={_dhcp(link)}", *_ipv6(link, bare)]
    lines += [f"Address={address}" for address in link.addresses]
    lines += [f"Gateway={gateway}" for gateway in link.gateways]
    lines += [f"DNS={server}" for server in link.dns]
    if link.search:
        lines.append(f"Domains={' '.join(link.search)}")
    lines += [f"VLAN={each.name}" for each in vlans]
    parts += [lines, *_ways(link)]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _match(link: NetworkLink) -> str:
    if link.mac:
        return f"PermanentMACAddress={link.mac.lower()}"
    return f"Name={link.name if link.vlan else link.interface}"


def _dhcp(link: NetworkLink) -> str:
    asked6 = link.takes_ipv6 and link.ipv6 != "slaac"
    if link.takes_ipv4:
        return "yes" if asked6 else "ipv4"
    return "ipv6" if asked6 else "no"


def _ipv6(link: NetworkLink, bare: bool) -> Iterator[str]:
    if bare or link.ipv6 == "off":
        yield "LinkLocalAddressing=no"
    if not link.takes_ipv6:
        yield "IPv6AcceptRA=no"
    if link.makes_own:
        yield f"IPv6PrivacyExtensions={_PRIVACY[link.ipv6_privacy]}"


def _ways(link: NetworkLink) -> Iterator[list[str]]:
    """Sections that part from following the routers' announcement."""
    if link.takes_ipv6 and link.ipv6 == "slaac":
        yield ["[IPv6AcceptRA]", "DHCPv6Client=no"]
    if link.takes_ipv6 and link.ipv6 == "dhcpv6":
        yield ["[IPv6AcceptRA]", "UseAutonomousPrefix=no", "DHCPv6Client=always"]
        yield ["[DHCPv6]", "WithoutRA=solicit"]


def settings(section: Network) -> tuple[WriteFile, ...]:
    """iwd must leave the addresses to networkd; wpa_supplicant gets the unit that runs it for one interface."""
    if not section.wireless:
        return ()
    return (wifi.IWD_SETTINGS,) if section.daemon == "iwd" else (wpa_supplicant.UNIT_FILE,)


def wifi_units(section: Network) -> tuple[str, ...]:
    """Units that join the wireless networks."""
    if section.daemon != "wpa_supplicant":
        return ("iwd.service",) if section.wireless else ()
    cards = (link for link in section.links if link.wifi is not None)
    return tuple(wpa_supplicant.unit(interface_name(link, section) or link.interface) for link in cards)
