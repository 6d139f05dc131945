"""Semantic checks of links. Enters: the section and its context. Leaves: faults, paths below the section."""

from __future__ import annotations

import re
from collections.abc import Iterable
from ipaddress import ip_address

from bedplate.faults import Fault, nearest, one_of, shown
from bedplate.hookspecs import Context
from bedplate.survey import Link
from bedplate_steps.network.addresses import address_faults, plain_trouble, read_interface
from bedplate_steps.network.host_names import name_trouble, repaired_name
from bedplate_steps.network.managers import chosen, settled
from bedplate_steps.network.model import Network, NetworkLink
from bedplate_steps.network.wifi import wifi_faults

_KERNELS_OWN = re.compile(r"(?:eth|wlan|wwan|usb)[0-9]+")
"""Names the kernel itself gives to cards, in the order it finds them (systemd.link(5), Name=)."""
_TAKEN = ("all", "default", "lo")
"""Folders of /proc/sys/net/ipv4/conf that stand for all links and for new ones, and the loopback link."""


def link_faults(section: Network, context: Context) -> Iterable[Fault]:
    """Every fault of the links, alone and together."""
    for index, link in enumerate(section.links):
        for fault in _faults(section, link, context):
            yield fault.under("links", index)
    yield from _twin_faults(section)


def _faults(section: Network, link: NetworkLink, context: Context) -> Iterable[Fault]:
    yield from _match_faults(link)
    if link.vlan is not None:
        yield from (fault.under("vlan") for fault in _vlan_faults(section, link))
    yield from _name_faults(section, link, context)
    yield from _mac_faults(link)
    yield from _survey_faults(link, context)
    if not (link.takes_ipv4 or link.takes_ipv6 or link.addresses or section.vlans_on(link)):
        yield Fault(
            code="link-without-address",
            message="nothing gives this link an address",
            path=("dhcp",),
            found=shown(link.dhcp),
            allowed="dhcp, fixed addresses, or a VLAN on it",
        )
    yield from _ipv6_faults(section, link, context)
    yield from address_faults(link)
    for index, domain in enumerate(link.search):
        trouble = name_trouble(domain)
        if trouble:
            yield Fault(
                code="bad-domain",
                message=f"this is not a domain name: {trouble}",
                path=("search", index),
                found=shown(domain),
                nearest=repaired_name(domain),
            )
    if link.wifi is not None:
        yield from (fault.under("wifi") for fault in wifi_faults(link, link.wifi, section))


def _match_faults(link: NetworkLink) -> Iterable[Fault]:
    ways = [key for key in ("mac", "interface", "vlan") if getattr(link, key)]
    if len(ways) != 1:
        yield Fault(
            code="link-match",
            message="a link is matched by its MAC address or by its interface name, or it is a VLAN",
            path=tuple(ways[:1]),
            found=" and ".join(ways) or "none of them",
            allowed='mac = "..." (better), interface = "..." or vlan = { id = ..., on = "..." }',
        )
    elif link.interface:
        yield Fault(
            code="interface-may-change",
            message="interface names can differ between the live medium and the "
            "installed system; a MAC address does not",
            path=("interface",),
            found=shown(link.interface),
            allowed='mac = "..."',
            warning=True,
        )


def _vlan_faults(section: Network, link: NetworkLink) -> Iterable[Fault]:
    assert link.vlan is not None
    cards = {each.name: each for each in section.links if each.vlan is None and each.wifi is None}
    below = next((each for each in section.links if each.name == link.vlan.on), None)
    if link.vlan.on not in cards:
        what = "another VLAN" if below and below.vlan else "a wireless link" if below else "no link of this spec"
        yield Fault(
            code="vlan-parent",
            message=f"a VLAN lies on a cable, and this is {what}",
            path=("on",),
            found=shown(link.vlan.on),
            allowed=one_of([f'"{name}"' for name in cards]) if cards else "a link with a cable in this spec",
            nearest=nearest(link.vlan.on, cards),
        )
    if link.wifi is not None:
        yield Fault(
            code="vlan-contradiction",
            message="a VLAN on a cable joins no wireless network",
            path=(),
            found="vlan and wifi",
            allowed="one of them",
        )


def _name_faults(section: Network, link: NetworkLink, context: Context) -> Iterable[Fault]:
    """Of a name that becomes the interface's."""
    manager = chosen(section, context)
    if manager is None or not manager.interface_name(link, settled(section, manager)):
        return
    surveyed = context.survey.links if context.survey else ()
    cards = {each.name for each in surveyed if each.mac.lower() != link.mac.lower()}
    cards |= {each.interface for each in section.links}
    trouble = (
        "it stands for other links in the kernel's settings"
        if link.name in _TAKEN
        else "the kernel gives such names to cards as it finds them"
        if _KERNELS_OWN.fullmatch(link.name)
        else "another card has it"
        if link.name in cards
        else ""
    )
    if trouble:
        yield Fault(
            code="interface-name",
            message=f"this name becomes the interface's, which cannot be: {trouble}",
            path=("name",),
            found=shown(link.name),
            allowed="a name of your own",
        )


def _ipv6_faults(section: Network, link: NetworkLink, context: Context) -> Iterable[Fault]:
    manager = chosen(section, context)
    if manager is not None and link.ipv6 not in manager.ipv6_ways:
        yield Fault(
            code="ipv6-unfit",
            message=f"{manager.title} cannot be told to take IPv6 addresses this way only",
            path=("ipv6",),
            found=shown(link.ipv6),
            allowed=one_of([f'"{way}"' for way in manager.ipv6_ways]),
        )
    if link.ipv6 in ("slaac", "dhcpv6") and not link.takes_ipv6:
        yield Fault(
            code="ipv6-contradiction",
            message="this link takes no IPv6 addresses from the network",
            path=("ipv6",),
            found=shown(link.ipv6),
            allowed='dhcp = "both" or "ipv6" beside it',
        )
    if link.ipv6 == "off" and link.dhcp == "ipv6":
        yield Fault(
            code="ipv6-contradiction",
            message="IPv6 is off, yet its addresses shall come from the network",
            path=("ipv6",),
            found='"off"',
            allowed='dhcp = "ipv4" or "no" beside it',
        )
    if link.ipv6 == "off":
        for index, text in enumerate(link.addresses):
            interface = read_interface(text)
            if interface is not None and interface.version == 6:
                yield Fault(
                    code="ipv6-contradiction",
                    message="IPv6 is off on this link, so it has no such address",
                    path=("addresses", index),
                    found=shown(text),
                    allowed="IPv4 addresses",
                )
    if link.ipv6_privacy != "temporary" and not link.makes_own:
        yield Fault(
            code="needless-privacy",
            message="this link makes no addresses of its own, so none are temporary",
            path=("ipv6_privacy",),
            found=shown(link.ipv6_privacy),
            warning=True,
        )


def _mac_faults(link: NetworkLink) -> Iterable[Fault]:
    if not link.mac:
        return
    first = int(link.mac[:2], 16)
    if first & 1 or not int(link.mac.replace(":", ""), 16):
        yield Fault(
            code="bad-mac",
            message="no card has this address: it is a group address or all zeros",
            path=("mac",),
            found=shown(link.mac),
        )
    elif first & 2:
        yield Fault(
            code="mac-not-permanent",
            message="this MAC address was made up by software and may change at the next start",
            path=("mac",),
            found=shown(link.mac),
            allowed="the card's permanent address",
            warning=True,
        )


def _survey_faults(link: NetworkLink, context: Context) -> Iterable[Fault]:
    if context.survey is None or bool(link.mac) == bool(link.interface) or link.vlan is not None:
        return
    key, value = ("mac", link.mac.lower()) if link.mac else ("interface", link.interface)
    known = {(each.mac.lower() if link.mac else each.name): each for each in context.survey.links}
    found = known.get(value)
    if found is None:
        words = ", ".join(f"{each.mac} ({each.kind} {each.name})" for each in context.survey.links)
        yield Fault(
            code="link-not-in-survey",
            message="the survey has no such network card",
            path=(key,),
            found=shown(value),
            allowed=words or "the survey lists no network card",
            nearest=nearest(value, known),
        )
        return
    yield from _kind_faults(link, found)


def _kind_faults(link: NetworkLink, found: Link) -> Iterable[Fault]:
    if (found.kind == "wifi") != (link.wifi is not None):
        air = found.kind == "wifi"
        message = "this card is wireless and needs a Wi-Fi network" if air else "this is not a Wi-Fi card"
        yield Fault(
            code="link-kind",
            message=message,
            path=() if air else ("wifi",),
            found=f"{found.kind} card",
            allowed='wifi = { ssid = "..." }' if air else "no wifi",
        )
    elif found.kind == "ethernet" and not found.carrier and not link.optional:
        yield Fault(
            code="no-cable",
            message="no cable was plugged in at this card during the survey; each start will wait for it",
            path=("optional",),
            allowed="optional = true",
            warning=True,
        )


def _twin_faults(section: Network) -> Iterable[Fault]:
    for key in ("name", "mac", "interface"):
        seen: dict[str, NetworkLink] = {}
        for index, link in enumerate(section.links):
            value = str(getattr(link, key)).lower()
            first = seen.setdefault(value, link)
            if value and first is not link:
                other = "a name that no other link has" if key == "name" else f"another card than that of {first.name}"
                yield Fault(
                    code="duplicate-link",
                    message=f"two links have the same {key}",
                    path=("links", index, key),
                    found=shown(value),
                    allowed=other,
                )
    yield from _shared_number_faults(section)
    yield from _shared_address_faults(section)
    yield from _shared_gateway_faults(section)


def _shared_number_faults(section: Network) -> Iterable[Fault]:
    owner: dict[tuple[str, int], str] = {}
    for index, link in enumerate(section.links):
        if link.vlan is None:
            continue
        first = owner.setdefault((link.vlan.on, link.vlan.id), link.name)
        if first != link.name:
            yield Fault(
                code="duplicate-vlan",
                message=f"{first} is this VLAN on the same cable",
                path=("links", index, "vlan", "id"),
                found=str(link.vlan.id),
                allowed="a number once on each cable",
            )


def _shared_address_faults(section: Network) -> Iterable[Fault]:
    owner: dict[object, int] = {}
    for index, link in enumerate(section.links):
        for place, text in enumerate(link.addresses):
            interface = read_interface(text)
            if interface is not None and owner.setdefault(interface.ip, index) != index:
                yield Fault(
                    code="duplicate-address",
                    message="two links have this address",
                    path=("links", index, "addresses", place),
                    found=shown(text),
                )


def _shared_gateway_faults(section: Network) -> Iterable[Fault]:
    first: dict[int, int] = {}
    for index, link in enumerate(section.links):
        for place, text in enumerate(link.gateways):
            version = 0 if plain_trouble(text) else ip_address(text).version
            if version and first.setdefault(version, index) != index:
                yield Fault(
                    code="gateway-on-two-links",
                    message="two links have a gateway of the same kind; which one is used depends on the manager",
                    path=("links", index, "gateways", place),
                    found=shown(text),
                    warning=True,
                )
