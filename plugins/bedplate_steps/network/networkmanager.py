"""Files of NetworkManager: one key file per link, mode 0600 because others are ignored.

nm-settings-keyfile(5): values are escaped as in a GLib key file, lists end with `;`, `mac-address` is the card's
permanent address. NetworkManager has no word for a link that starting does not wait for: where some links are optional
and others not, its wait for a carrier, for DHCP and the whole wait-online end by themselves (5, 45 and 60 seconds:
NetworkManager.conf(5), nm-settings(5), NetworkManager-wait-online.service(8)).
"""

from __future__ import annotations

import re

from bedplate.actions import Coding, Content, InTarget, SecretRef, WriteFile
from bedplate.hookspecs import Context
from bedplate.identity import derive
from bedplate_steps.network.model import Network, NetworkLink, Wifi
from bedplate_steps.network.wifi import secret_name

WAYS = ("announced", "off")
"""Ways to take IPv6 addresses it knows: it follows the routers' announcement and cannot be told to leave a part of it
out; its method `dhcp` reads no announcement, and so has no route (from memory)."""

_PRIVACY = {"temporary": 2, "public": 1, "off": 0}

_PLAIN_SSID = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*(?: [A-Za-z0-9_.-]+)*")


def link_files(link: NetworkLink, section: Network, context: Context) -> tuple[WriteFile, ...]:
    """The link's key file; wireless security included, the passphrase put in at run time."""
    card = _vlan(link, section, context) if link.vlan else _card(link)
    parts = [_connection(link, _identity(link, context)), *card, _ipv4(link), _ipv6(link, bool(section.vlans_on(link)))]
    content: Content = ("\n\n".join(parts) + "\n",)
    if link.wifi is not None and link.wifi.security != "open":
        head = f"\n[wifi-security]\nkey-mgmt={link.wifi.security}\npsk="
        content = (*content, head, SecretRef(secret_name(link), Coding.KEYFILE), "\n")
    path = f"/etc/NetworkManager/system-connections/{link.name}.nmconnection"
    return (WriteFile(path=InTarget(path), content=content, mode=0o600),)


def _identity(link: NetworkLink, context: Context) -> str:
    machine = context.machine
    return derive(machine.name, machine.generation, "", "connection", link.name)


def _connection(link: NetworkLink, identity: str) -> str:
    kind = "wifi" if link.wifi else "vlan" if link.vlan else "ethernet"
    name = link.name if link.vlan else link.interface
    lines = ["[connection]", f"id={link.name}", f"uuid={identity}", f"type={kind}"]
    return "\n".join([*lines, f"interface-name={name}"] if name else lines)


def _vlan(link: NetworkLink, section: Network, context: Context) -> list[str]:
    """The VLAN names the connection that carries it, whatever the kernel calls that card."""
    assert link.vlan is not None
    return [f"[vlan]\nid={link.vlan.id}\nparent={_identity(section.carrier_of(link), context)}"]


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
    method = "auto" if link.takes_ipv4 else "manual" if fixed else "disabled"
    return _addressing(link, 4, method)


def _ipv6(link: NetworkLink, carries: bool) -> str:
    """`carries`: VLANs lie on it, so that it may be there for them alone."""
    bare = carries and link.dhcp == "no" and not link.addresses
    if link.ipv6 == "off" or bare:
        return _addressing(link, 6, "disabled")
    if not link.takes_ipv6:
        return _addressing(link, 6, "manual" if _of(link.addresses, 6) else "link-local")
    return f"{_addressing(link, 6, 'auto')}\nip6-privacy={_PRIVACY[link.ipv6_privacy]}"


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
