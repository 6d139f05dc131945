"""Files of systemd-networkd: one `.network` file per link, matched by the card's permanent address.

systemd.network(5), systemd.link(5). The first file that matches a link wins, in order of file names, so the number in
front puts ours before the distribution's own.
"""

from __future__ import annotations

from bedplate.actions import InTarget, WriteFile
from bedplate.hookspecs import Context
from bedplate_steps.network import wifi
from bedplate_steps.network.model import Network, NetworkLink

_DHCP = {"both": "yes", "ipv4": "ipv4", "ipv6": "ipv6", "no": "no"}


def link_files(link: NetworkLink, section: Network, context: Context) -> tuple[WriteFile, ...]:
    """The link's `.network` file, a `.link` file where the Wi-Fi program needs a name that stays, and its own file."""
    files = [WriteFile(path=InTarget(f"/etc/systemd/network/10-{link.name}.network"), content=(_network(link),))]
    if _renamed(link, section):
        text = f"[Match]\n{_match(link)}\n\n[Link]\nName={link.name}\n"
        files.append(WriteFile(path=InTarget(f"/etc/systemd/network/10-{link.name}.link"), content=(text,)))
    return (*files, *_wifi_files(link, section))


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


def _renamed(link: NetworkLink, section: Network) -> bool:
    return section.daemon == "wpa_supplicant" and link.wifi is not None and bool(link.mac)


def _interface(link: NetworkLink) -> str:
    """The name the card has in the installed system, as wpa_supplicant's unit must know it."""
    return link.interface or link.name


def _wifi_files(link: NetworkLink, section: Network) -> tuple[WriteFile, ...]:
    if link.wifi is None:
        return ()
    if section.daemon == "iwd":
        return (wifi.iwd_file(link, link.wifi),)
    return (wifi.wpa_file(link, link.wifi, _interface(link)),)


def settings(section: Network) -> tuple[WriteFile, ...]:
    """iwd must leave the addresses to networkd."""
    return (wifi.IWD_SETTINGS,) if section.daemon == "iwd" else ()


def wifi_units(section: Network) -> tuple[str, ...]:
    """iwd's own unit, or one instance of wpa_supplicant's per card."""
    if section.daemon == "iwd":
        return ("iwd.service",)
    return tuple(f"wpa_supplicant@{_interface(link)}.service" for link in section.links if link.wifi)
