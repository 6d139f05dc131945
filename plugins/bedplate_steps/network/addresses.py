"""Checks of addresses, gateways and name servers of one link. Enters: a link. Leaves: faults, paths below the link.

The address rules are the standard library's `ipaddress` (RFC 4291, RFC 4632 notation); an all-zeros host part is the
network (IPv4) or the subnet-router anycast address (RFC 4291, section 2.6.1), all ones in IPv4 the broadcast address
(RFC 922). Prefixes of 31 bits (RFC 3021), 127 bits (RFC 6164) and single addresses have neither.
"""

from __future__ import annotations

from collections.abc import Iterable
from ipaddress import IPv4Interface, IPv6Interface, ip_address, ip_interface

from bedplate.faults import Fault, Path, shown
from bedplate_steps.network.model import NetworkLink

Interface = IPv4Interface | IPv6Interface

ADDRESS = 'an address such as "192.0.2.5" or "2001:db8::5"'
WITH_PREFIX = 'an address with its prefix length, such as "192.0.2.5/24" or "2001:db8::5/64"'


def static_addresses(link: NetworkLink) -> tuple[Interface, ...]:
    """The fixed addresses of the link that can be read at all."""
    return tuple(found for text in link.addresses if (found := read_interface(text)) is not None)


def read_interface(text: str) -> Interface | None:
    """`text` as an address with prefix length, or None."""
    if "%" in text or not text.partition("/")[2].isdigit():
        return None
    try:
        return ip_interface(text)
    except ValueError:
        return None


def address_faults(link: NetworkLink) -> Iterable[Fault]:
    """Every fault of the link's fixed addresses, gateways and name servers."""
    seen: set[object] = set()
    for index, text in enumerate(link.addresses):
        path: Path = ("addresses", index)
        interface = read_interface(text)
        if interface is None:
            yield _unreadable(text, path)
            continue
        yield from _unusable_host(interface, text, path)
        if interface.ip in seen:
            yield Fault(code="duplicate-address", message="this address is given twice", path=path, found=shown(text))
        seen.add(interface.ip)
    yield from _gateway_faults(link)
    yield from _server_faults(link)


def _unreadable(text: str, path: Path) -> Fault:
    bare = plain_trouble(text) == ""
    message = "a fixed address needs its prefix length" if bare else "this is not an address with a prefix length"
    hint = f"{text}/{24 if '.' in text else 64}" if bare else None
    return Fault(code="bad-address", message=message, path=path, found=shown(text), allowed=WITH_PREFIX, nearest=hint)


def _unusable_host(interface: Interface, text: str, path: Path) -> Iterable[Fault]:
    trouble = special(interface) or _edge(interface)
    if trouble:
        yield Fault(
            code="unusable-address",
            message=f"no machine can have this address: {trouble}",
            path=path,
            found=shown(text),
            allowed="a host address of its subnet",
        )


def special(interface: Interface) -> str:
    """Why the address can be no machine's own, whatever the subnet; empty if it can."""
    address = interface.ip
    if address.is_unspecified:
        return "it is the unspecified address"
    if address.is_loopback:
        return "it is a loopback address"
    if address.is_multicast:
        return "it is a multicast address"
    if isinstance(interface, IPv4Interface) and address.is_reserved:
        return "it lies in the reserved range 240.0.0.0/4"
    return ""


def _edge(interface: Interface) -> str:
    network = interface.network
    if network.max_prefixlen - network.prefixlen < 2:
        return ""
    if interface.ip == network.network_address:
        which = "network address" if interface.version == 4 else "subnet-router anycast address"
        return f"it is the {which} of {network}"
    if isinstance(interface, IPv4Interface) and interface.ip == network.broadcast_address:
        return f"it is the broadcast address of {network}"
    return ""


def plain_trouble(text: str) -> str:
    """What is wrong with an address without prefix length; empty if nothing is."""
    if "%" in text:
        return "a zone after % has no place here"
    try:
        address = ip_address(text)
    except ValueError:
        return "this is not an IPv4 or IPv6 address"
    return special(ip_interface(address))


def _gateway_faults(link: NetworkLink) -> Iterable[Fault]:
    own = static_addresses(link)
    versions: set[int] = set()
    for index, text in enumerate(link.gateways):
        path: Path = ("gateways", index)
        trouble = plain_trouble(text)
        if trouble:
            yield Fault(
                code="bad-address",
                message=f"a gateway is a plain address: {trouble}",
                path=path,
                found=shown(text),
                allowed=ADDRESS,
            )
            continue
        yield from _misplaced_gateway(text, own, path)
        version = ip_address(text).version
        if version in versions:
            yield Fault(
                code="second-gateway",
                message=f"one IPv{version} gateway per link is enough; this is another",
                path=path,
                found=shown(text),
            )
        versions.add(version)
    fixed = [each for each in own if each.version == 4]
    if fixed and 4 not in versions and link.dhcp not in ("both", "ipv4"):
        yield Fault(
            code="no-gateway",
            message="a fixed IPv4 address without a gateway reaches its own subnet only",
            path=("addresses",),
            allowed='gateways = ["..."]',
            warning=True,
        )


def _misplaced_gateway(text: str, own: tuple[Interface, ...], path: Path) -> Iterable[Fault]:
    gateway = ip_address(text)
    if gateway.version == 6 and gateway.is_link_local and any(each.version == 6 for each in own):
        return
    if any(gateway == each.ip for each in own):
        yield Fault(
            code="gateway-is-own-address",
            message="the gateway is this machine's own address",
            path=path,
            found=shown(text),
        )
        return
    networks = [each.network for each in own if each.version == gateway.version]
    if not any(gateway in network for network in networks):
        subnets = ", ".join(str(network) for network in networks)
        yield Fault(
            code="gateway-outside-subnet",
            message="the gateway lies in no subnet of this link's addresses",
            path=path,
            found=shown(text),
            allowed=f"an address in {subnets}" if subnets else "a fixed address of the same kind first",
        )


def _server_faults(link: NetworkLink) -> Iterable[Fault]:
    seen: set[str] = set()
    for index, text in enumerate(link.dns):
        trouble = plain_trouble(text)
        if trouble and not trouble.startswith("it is a loopback"):
            yield Fault(
                code="bad-address",
                message=f"a name server is a plain address: {trouble}",
                path=("dns", index),
                found=shown(text),
                allowed=ADDRESS,
            )
        if text in seen:
            yield Fault(
                code="duplicate-address",
                message="this name server is given twice",
                path=("dns", index),
                found=shown(text),
            )
        seen.add(text)
