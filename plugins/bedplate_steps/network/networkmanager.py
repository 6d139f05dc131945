"""Files of NetworkManager: one key file per link, mode 0600 because others are ignored.

nm-settings-keyfile(5): values are escaped as in a GLib key file, lists end with `;`, `mac-address` is the card's
permanent address.
"""

from __future__ import annotations

import re

from bedplate.actions import Coding, Content, InTarget, SecretRef, WriteFile
from bedplate.hookspecs import Context
from bedplate.identity import derive
from bedplate_steps.network.model import Network, NetworkLink, Wifi
from bedplate_steps.network.wifi import secret_name

_PLAIN_SSID = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*(?: [A-Za-z0-9_.-]+)*")


def link_files(link: NetworkLink, section: Network, context: Context) -> tuple[WriteFile, ...]:
    """The link's key file; wireless security included, the passphrase put in at run time."""
    machine = context.machine
    identity = derive(machine.name, machine.generation, "", "connection", link.name)
    content: Content = ("\n\n".join([_connection(link, identity), *_card(link), _ipv4(link), _ipv6(link)]) + "\n",)
    if link.wifi is not None and link.wifi.security != "open":
        head = f"\n[wifi-security]\nkey-mgmt={link.wifi.security}\npsk="
        content = (*content, head, SecretRef(secret_name(link), Coding.KEYFILE), "\n")
    path = f"/etc/NetworkManager/system-connections/{link.name}.nmconnection"
    return (WriteFile(path=InTarget(path), content=content, mode=0o600),)


def _connection(link: NetworkLink, identity: str) -> str:
    kind = "wifi" if link.wifi else "ethernet"
    lines = ["[connection]", f"id={link.name}", f"uuid={identity}", f"type={kind}"]
    return "\n".join([*lines, f"interface-name={link.interface}"] if link.interface else lines)


def _card(link: NetworkLink) -> list[str]:
    lines = [f"mac-address={link.mac.upper()}"] if link.mac else []
    if link.wifi is None:
        return ["\n".join(["[ethernet]", *lines])] if lines else []
    hidden = ["hidden=true"] if link.wifi.hidden else []
    return ["\n".join(["[wifi]", "mode=infrastructure", f"ssid={_ssid(link.wifi)}", *hidden, *lines])]


def _ssid(wifi: Wifi) -> str:
    """The name as text where nothing in it could be read in another way, else as a list of octets."""
    if _PLAIN_SSID.fullmatch(wifi.ssid):
        return wifi.ssid
    return "".join(f"{octet};" for octet in wifi.ssid.encode())


def _ipv4(link: NetworkLink) -> str:
    fixed = _of(link.addresses, 4)
    method = "auto" if link.dhcp in ("both", "ipv4") else "manual" if fixed else "disabled"
    return _addressing(link, 4, method)


def _ipv6(link: NetworkLink) -> str:
    fixed = _of(link.addresses, 6)
    method = "auto" if link.dhcp in ("both", "ipv6") else "manual" if fixed else "link-local"
    return _addressing(link, 6, method)


def _addressing(link: NetworkLink, version: int, method: str) -> str:
    lines = [f"[ipv{version}]", f"method={method}"]
    lines += [f"address{number}={address}" for number, address in enumerate(_of(link.addresses, version), 1)]
    gateways = _of(link.gateways, version)[:1]
    lines += [f"gateway={gateway}" for gateway in gateways]
    servers = _of(link.dns, version)
    if servers and method != "disabled":
        lines.append("dns=" + "".join(f"{server};" for server in servers))
    if link.search and method not in ("disabled", "link-local"):
        lines.append("dns-search=" + "".join(f"{domain};" for domain in link.search))
    return "\n".join(lines)


def _of(addresses: tuple[str, ...], version: int) -> tuple[str, ...]:
    return tuple(address for address in addresses if (":" in address) == (version == 6))


def settings(section: Network) -> tuple[WriteFile, ...]:
    """Only where iwd shall join the networks: NetworkManager must be told."""
    if section.daemon != "iwd":
        return ()
    text = "[device]\nwifi.backend=iwd\n"
    return (WriteFile(path=InTarget("/etc/NetworkManager/conf.d/10-wifi.conf"), content=(text,)),)
