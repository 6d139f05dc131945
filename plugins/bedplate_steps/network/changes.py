"""What differs between two `[network]` sections. Enters: both sides. Leaves: changes with the work each takes.

Files of links take effect at the next start: reloading them now could cut the very line the change comes in on.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import Action, Call
from bedplate.changes import Change, Cost, Extra, amend, differing, paired
from bedplate.faults import shown
from bedplate.hookspecs import Side
from bedplate_steps.network.facts import host_name
from bedplate_steps.network.model import Network, NetworkLink

_WHY = "The link keeps what it has until the next start, so that nobody is cut off in the middle of the work."
_AT_HAND = (
    "The old program leaves with its package, and a link that it holds can be down until then: do it at the machine, "
    "or over another link."
)
_WORDS = {
    "dhcp": "DHCP",
    "ipv6": "IPv6 from the network",
    "ipv6_privacy": "IPv6 privacy",
    "addresses": "fixed addresses",
    "gateways": "gateways",
    "dns": "name servers",
    "search": "search domains",
    "interface": "interface",
    "mac": "hardware address",
}


def changes(old: Side, new: Side) -> Iterator[Change]:
    """Names, hosts, links, the manager."""
    before, after = old.section, new.section
    assert isinstance(before, Network) and isinstance(after, Network)
    yield from _names(before, after, old, new)
    yield from _hosts(before, after, old, new)
    yield from _links(before, after, old, new)
    yield from _manager(before, after, old, new)


# --- names -----------------------------------------------------------------------------------------------------------


def _names(before: Network, after: Network, old: Side, new: Side) -> Iterator[Change]:
    one, other = host_name(before, old.context), host_name(after, new.context)
    hosts = amend(old.actions, new.actions, "network.hosts")
    if one != other:
        extra = Extra(
            after=(Call(verb="network/running-name", args=(other,), by_hand=(f"hostname {other}",)),),
            back=(Call(verb="network/running-name", args=(one,), by_hand=(f"hostname {one}",)),),
        )
        named = amend(old.actions, new.actions, "network.host-name", extra={"network.host-name": extra})
        yield Change(
            says=f"host name {other} replaces {one}",
            cost=Cost.IN_PLACE,
            old=("host_name",),
            new=("host_name",),
            why="Who reaches the machine by name has to learn the new one, in name servers and known hosts.",
            actions=(*named, *hosts),
        )
    if before.domain != after.domain:
        yield Change(
            says=f"domain {after.domain or 'none'} replaces {before.domain or 'none'}",
            cost=Cost.IN_PLACE,
            old=("domain",),
            new=("domain",),
            actions=hosts,
        )


def _hosts(before: Network, after: Network, old: Side, new: Side) -> Iterator[Change]:
    hosts = amend(old.actions, new.actions, "network.hosts")
    pairs = paired(before.hosts, after.hosts, "address")
    for index, entry in pairs.gone:
        yield Change(
            says=f"hosts entry {entry.address} ({', '.join(entry.names)}) is removed",
            cost=Cost.IN_PLACE,
            old=("hosts", index),
            actions=hosts,
        )
    for index, entry in pairs.made:
        yield Change(
            says=f"hosts entry {entry.address} ({', '.join(entry.names)}) is added",
            cost=Cost.IN_PLACE,
            new=("hosts", index),
            actions=hosts,
        )
    for place, one, index, entry in pairs.both:
        if one.names != entry.names:
            says = f"hosts entry {entry.address}: {', '.join(entry.names)} instead of {', '.join(one.names)}"
            yield Change(says=says, cost=Cost.IN_PLACE, old=("hosts", place), new=("hosts", index), actions=hosts)


# --- links -----------------------------------------------------------------------------------------------------------


def _links(before: Network, after: Network, old: Side, new: Side) -> Iterator[Change]:
    pairs = paired(before.links, after.links)
    renamed = {link.mac.lower(): (index, link) for index, link in pairs.gone if link.mac}
    for index, link in pairs.made:
        place, one = renamed.pop(link.mac.lower(), (None, None)) if link.mac else (None, None)
        if one is None:
            yield Change(
                says=f"link {link.name} is added ({_how(link)})",
                cost=Cost.NEXT_BOOT,
                new=("links", index),
                why=_WHY,
                actions=_work(old, new, link.name),
            )
        else:
            actions = _work(old, new, link.name, one.name)
            yield Change(
                says=f"link {one.name} is renamed to {link.name} (the same card, {link.mac.lower()})",
                cost=Cost.NEXT_BOOT,
                old=("links", place or 0),
                new=("links", index),
                why=_WHY,
                actions=actions,
            )
            yield from _values(one, link, place or 0, index, actions)
    for index, link in pairs.gone:
        if (index, link) in renamed.values() or not link.mac:
            yield Change(
                says=f"link {link.name} is removed",
                cost=Cost.NEXT_BOOT,
                old=("links", index),
                why=_WHY,
                actions=_work(old, new, link.name),
            )
    for place, one, index, link in pairs.both:
        yield from _values(one, link, place, index, _work(old, new, link.name))


def _how(link: NetworkLink) -> str:
    if link.vlan is not None:
        return f"VLAN {link.vlan.id} on {link.vlan.on}"
    return f"wireless network {link.wifi.ssid}" if link.wifi else "cable"


def _work(old: Side, new: Side, *names: str) -> tuple[Action, ...]:
    """The links' own files, those of the cables that carry them and of the VLANs they carry, and what follows from
    them: the own address in the hosts file, who waits for whom."""
    links = (*old.section.links, *new.section.links)
    pairs = {(link.name, link.vlan.on) for link in links if link.vlan is not None}
    beside = sorted({other for pair in pairs for other in pair if set(pair) & set(names)} - set(names))
    own = (f"network.link-{name}" for name in (*names, *beside))
    return amend(old.actions, new.actions, *own, "network.hosts", "network.settings", "network.manager")


def _values(
    one: NetworkLink, link: NetworkLink, place: int, index: int, actions: tuple[Action, ...]
) -> Iterator[Change]:
    for key, says in _link_changes(one, link):
        yield Change(
            says=f"link {link.name}: {says}",
            cost=Cost.NEXT_BOOT,
            old=("links", place, key),
            new=("links", index, key),
            why=_WHY,
            actions=actions,
        )


def _link_changes(one: NetworkLink, link: NetworkLink) -> Iterator[tuple[str, str]]:
    for key, words in _WORDS.items():
        was, now = getattr(one, key), getattr(link, key)
        if was != now:
            yield key, f"{words} {_value(now)} instead of {_value(was)}"
    if one.vlan != link.vlan:
        yield "vlan", f"{_how(link)} instead of {_how(one)}"
    if one.optional != link.optional:
        yield "optional", "the start no longer waits for it" if link.optional else "the start waits for it"
    if one.wifi != link.wifi:
        yield "wifi", _wifi(one, link)


def _wifi(one: NetworkLink, link: NetworkLink) -> str:
    was, now = one.wifi, link.wifi
    if was is None or now is None or was.ssid != now.ssid:
        names = [f"the wireless network {shown(each.ssid)}" if each else "a cable" for each in (now, was)]
        return f"{names[0]} instead of {names[1]}"
    if was.security != now.security:
        return f"wireless security {now.security} instead of {was.security}"
    return "the wireless network's settings change"


def _value(value: object) -> str:
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or "none"
    return str(value) or "none"


# --- the manager -----------------------------------------------------------------------------------------------------


def _manager(before: Network, after: Network, old: Side, new: Side) -> Iterator[Change]:
    shared = ("network.settings", "network.manager", "network.resolver")
    work = amend(old.actions, new.actions, *shared)
    if before.manager != after.manager:
        links = list(differing(old.actions, new.actions, "network.link-"))
        yield Change(
            says=f"network manager {after.manager} replaces {before.manager}",
            cost=Cost.NEXT_BOOT,
            old=("manager",),
            new=("manager",),
            why="Two managers at once fight over the links: the new one takes over at the next start. " + _AT_HAND,
            actions=(*work, *amend(old.actions, new.actions, *links)),
            covers=("network.first-start",),
        )
    for key, words in (("wifi_daemon", "Wi-Fi program"), ("wifi_country", "Wi-Fi country")):
        one, other = getattr(before, key), getattr(after, key)
        if one != other:
            links = list(differing(old.actions, new.actions, "network.link-"))
            yield Change(
                says=f"{words} {other or 'the usual one'} replaces {one or 'the usual one'}",
                cost=Cost.NEXT_BOOT,
                old=(key,),
                new=(key,),
                why=_AT_HAND if key == "wifi_daemon" else "",
                actions=(*work, *amend(old.actions, new.actions, *links)),
            )
