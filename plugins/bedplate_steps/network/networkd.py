"""Files of systemd-networkd: one `.network` file per link, matched by the card's permanent address.

systemd.network(5). The first file that matches a link wins, in order of file names, so the number in
front puts ours before the distribution's own.
"""

from __future__ import annotations

from bedplate.actions import InTarget, WriteFile
from bedplate.hookspecs import Context
from bedplate_steps.network import wifi
from bedplate_steps.network.model import Network, NetworkLink

_DHCP = {"both": "yes", "ipv4": "ipv4", "ipv6": "ipv6", "no": "no"}


def link_files(link: NetworkLink, section: Network, context: Context) -> tuple[WriteFile, ...]:
    """The link's `.network` file, and iwd's file of the wireless network."""
    wireless = (wifi.iwd_file(link, link.wifi),) if link.wifi else ()
    return (
        WriteFile(path=InTarget(f"/etc/systemd/network/10-{link.name}.network"), content=(_network(link),)),
        *wireless,
    )


def _network(link: NetworkLink) -> str:
    lines = ["[Match]", _match(link), ""]
    if link.optional:
        lines += ["[Link]", "RequiredForOnline=no", ""]
    lines += ["[Network]", f"DHCP={_DHCP[link.dhcp]}"]
    if link.dhcp not in ("both", "ipv6"):
        lines.append("IPv6AcceptRA=no")
    lines += [f"Address={address}" for address in link.addresses]
    lines += [f"Gateway={gateway}" for gateway in link.gateways]
    lines += [f"DNS={server}" for server in link.dns]
    if link.search:
        lines.append(f"Domains={' '.join(link.search)}")
    return "\n".join(lines) + "\n"


def _match(link: NetworkLink) -> str:
    return f"PermanentMACAddress={link.mac.lower()}" if link.mac else f"Name={link.interface}"


def settings(section: Network) -> tuple[WriteFile, ...]:
    """iwd must leave the addresses to networkd."""
    return (wifi.IWD_SETTINGS,) if section.wireless else ()
