"""Semantic checks of the `[network]` section. Enters: the section and its context. Leaves: faults below the section."""

from __future__ import annotations

from collections.abc import Iterable
from ipaddress import ip_address

from bedplate.facts import Family
from bedplate.faults import Fault, Rejected, nearest, one_of, shown
from bedplate.hookspecs import Context
from bedplate.survey import Link
from bedplate_steps.network.addresses import ADDRESS, address_faults, plain_trouble, read_interface
from bedplate_steps.network.managers import Manager, chosen, needs_of, settled
from bedplate_steps.network.model import LOOPBACK_NAME, Network, NetworkLink
from bedplate_steps.network.names import LABEL, MAX_NAME, label_trouble, name_trouble, repaired_label, repaired_name
from bedplate_steps.network.wifi import wifi_faults


def check(section: Network, context: Context) -> Iterable[Fault]:
    """Every fault of the section."""
    yield from _host_faults(section, context)
    yield from _hosts_file_faults(section, context)
    yield from _manager_faults(section, context)
    for index, link in enumerate(section.links):
        for fault in _link_faults(section, link, context):
            yield fault.under("links", index)
    yield from _twin_faults(section)


# --- names ---------------------------------------------------------------------------------------------------------


def host_name(section: Network, context: Context) -> str:
    """The host name: the section's own, or the machine's name."""
    return section.host_name or context.machine.name


def full_name(section: Network, context: Context) -> str:
    """Host name and domain, joined by a dot where there is a domain."""
    return ".".join(part for part in (host_name(section, context), section.domain) if part)


def _host_faults(section: Network, context: Context) -> Iterable[Fault]:
    name = host_name(section, context)
    yield from _host_name_faults(name)
    trouble = name_trouble(section.domain) if section.domain else ""
    if trouble:
        yield Fault(code="bad-domain", message=f"this is not a domain name: {trouble}", path=("domain",),
                    found=shown(section.domain), allowed=f"labels joined by dots, each of {LABEL}",
                    nearest=repaired_name(section.domain))  # fmt: skip
    elif len(full_name(section, context)) > MAX_NAME:
        yield Fault(code="bad-domain", message=f"host name and domain together have more than {MAX_NAME} characters",
                    path=("domain",), found=shown(section.domain))  # fmt: skip


def _host_name_faults(name: str) -> Iterable[Fault]:
    path = ("host_name",)
    if "." in name and not name_trouble(name):
        first, _, rest = name.partition(".")
        yield Fault(code="bad-host-name", message="the host name is the first label only; the rest is the domain",
                    path=path, found=shown(name), allowed=f'host_name = "{first}" and domain = "{rest}"',
                    nearest=first)  # fmt: skip
        return
    trouble = label_trouble(name)
    if not trouble and name == LOOPBACK_NAME:
        trouble = "localhost is every machine's name for itself"
    if trouble:
        yield Fault(code="bad-host-name", message=f"this is not a host name: {trouble}", path=path, found=shown(name),
                    allowed=LABEL, nearest=None if name == LOOPBACK_NAME else repaired_label(name))  # fmt: skip
    elif not name[0].isalpha():
        yield Fault(code="host-name-digit-first", message="a host name that begins with a digit confuses old programs",
                    path=path, found=shown(name), allowed="a letter first", warning=True)  # fmt: skip


def _hosts_file_faults(section: Network, context: Context) -> Iterable[Fault]:
    own = {host_name(section, context), full_name(section, context), LOOPBACK_NAME}
    for index, entry in enumerate(section.hosts):
        trouble = plain_trouble(entry.address)
        if trouble and not trouble.startswith("it is a loopback"):
            yield Fault(code="bad-address", message=f"a hosts entry begins with a plain address: {trouble}",
                        path=("hosts", index, "address"), found=shown(entry.address), allowed=ADDRESS)  # fmt: skip
        for place, name in enumerate(entry.names):
            path = ("hosts", index, "names", place)
            trouble = name_trouble(name)
            if trouble:
                yield Fault(code="bad-host-name", message=f"this is not a host name: {trouble}", path=path,
                            found=shown(name), allowed=LABEL, nearest=repaired_name(name))  # fmt: skip
            elif name in own:
                yield Fault(code="own-name-in-hosts", message="Bedplate writes this machine's own names itself",
                            path=path, found=shown(name), allowed="names of other machines")  # fmt: skip


# --- the manager ---------------------------------------------------------------------------------------------------


def _manager_faults(section: Network, context: Context) -> Iterable[Fault]:
    manager = chosen(section, context)
    if manager is None:
        yield from _no_network_faults(section, context)
        return
    if section.no_network_after_reboot:
        yield Fault(code="network-contradiction", message="a manager is chosen, yet there shall be no network",
                    path=("no_network_after_reboot",), found="true", allowed='false, or manager = "none"')  # fmt: skip
    if not section.links:
        yield Fault(code="no-links", message="without a link the machine has no network after its first start",
                    path=(), found="no [[network.links]]",
                    allowed='one or more links, or manager = "none" with no_network_after_reboot = true')  # fmt: skip
    yield from _package_faults(section, manager, context)
    daemons = manager.wifi_daemons
    if section.wifi_daemon and section.wifi_daemon not in daemons:
        yield Fault(code="wifi-daemon-unfit", message=f"Bedplate does not join {section.wifi_daemon} to this manager",
                    path=("wifi_daemon",), found=shown(section.wifi_daemon),
                    allowed=one_of([f'"{name}"' for name in daemons]))  # fmt: skip
    elif section.wifi_daemon and not section.wireless:
        yield Fault(code="needless-wifi-daemon", message="no link is wireless, so no Wi-Fi program is installed",
                    path=("wifi_daemon",), found=shown(section.wifi_daemon), warning=True)  # fmt: skip
    if _names_unresolved(section):
        yield Fault(code="no-name-server", message="fixed addresses bring no name server: names will not resolve",
                    path=("links",), allowed='dns = ["..."] in one link', warning=True)  # fmt: skip


def _names_unresolved(section: Network) -> bool:
    return bool(section.links) and all(link.dhcp == "no" and not link.dns for link in section.links)


def _no_network_faults(section: Network, context: Context) -> Iterable[Fault]:
    if not section.no_network_after_reboot:
        yield Fault(code="network-unconfirmed", message="without a manager the machine has no network after its first "
                    "start; say so on purpose", path=("manager",), found='"none"',
                    allowed="no_network_after_reboot = true beside it, or "
                    + one_of(sorted(context.extensions(Manager))))  # fmt: skip
    if section.links:
        yield Fault(code="network-contradiction", message="links are described, but nothing would bring them up",
                    path=("links",), found=f"{len(section.links)} links", allowed="no links")  # fmt: skip


def _package_faults(section: Network, manager: Manager, context: Context) -> Iterable[Fault]:
    try:
        family = context.fact(Family)
    except Rejected:
        return  # its own step reports that
    for need in needs_of(settled(section, manager), manager):
        if need not in family.packages:
            yield Fault(code="family-lacks", message=f"the {family.name} family has no package for this",
                        path=("manager",), found=need)  # fmt: skip


# --- links ---------------------------------------------------------------------------------------------------------


def _link_faults(section: Network, link: NetworkLink, context: Context) -> Iterable[Fault]:
    if bool(link.mac) == bool(link.interface):
        yield Fault(code="link-match", message="a link is matched by its MAC address or by its interface name",
                    path=("mac",) if link.mac else (), found="both" if link.mac else "neither",
                    allowed='mac = "..." (better) or interface = "..."')  # fmt: skip
    elif link.interface:
        yield Fault(code="interface-may-change", message="interface names can differ between the live medium and the "
                    "installed system; a MAC address does not", path=("interface",), found=shown(link.interface),
                    allowed='mac = "..."', warning=True)  # fmt: skip
    yield from _mac_faults(link)
    yield from _survey_faults(link, context)
    if link.dhcp == "no" and not link.addresses:
        yield Fault(code="link-without-address", message="nothing gives this link an address", path=("dhcp",),
                    found='"no"', allowed="dhcp, or fixed addresses")  # fmt: skip
    yield from address_faults(link)
    for index, domain in enumerate(link.search):
        trouble = name_trouble(domain)
        if trouble:
            yield Fault(code="bad-domain", message=f"this is not a domain name: {trouble}", path=("search", index),
                        found=shown(domain), nearest=repaired_name(domain))  # fmt: skip
    if link.wifi is not None:
        yield from (fault.under("wifi") for fault in wifi_faults(link, link.wifi, section))


def _mac_faults(link: NetworkLink) -> Iterable[Fault]:
    if not link.mac:
        return
    first = int(link.mac[:2], 16)
    if first & 1 or not int(link.mac.replace(":", ""), 16):
        yield Fault(code="bad-mac", message="no card has this address: it is a group address or all zeros",
                    path=("mac",), found=shown(link.mac))  # fmt: skip
    elif first & 2:
        yield Fault(code="mac-not-permanent", message="this MAC address was made up by software and may change at the "
                    "next start", path=("mac",), found=shown(link.mac),
                    allowed="the card's permanent address", warning=True)  # fmt: skip


def _survey_faults(link: NetworkLink, context: Context) -> Iterable[Fault]:
    if context.survey is None or bool(link.mac) == bool(link.interface):
        return
    key, value = ("mac", link.mac.lower()) if link.mac else ("interface", link.interface)
    known = {(each.mac.lower() if link.mac else each.name): each for each in context.survey.links}
    found = known.get(value)
    if found is None:
        words = ", ".join(f"{each.mac} ({each.kind} {each.name})" for each in context.survey.links)
        yield Fault(code="link-not-in-survey", message="the survey has no such network card", path=(key,),
                    found=shown(value), allowed=words or "the survey lists no network card",
                    nearest=nearest(value, known))  # fmt: skip
        return
    yield from _kind_faults(link, found)


def _kind_faults(link: NetworkLink, found: Link) -> Iterable[Fault]:
    if (found.kind == "wifi") != (link.wifi is not None):
        air = found.kind == "wifi"
        message = "this card is wireless and needs a Wi-Fi network" if air else "this is not a Wi-Fi card"
        yield Fault(code="link-kind", message=message, path=() if air else ("wifi",), found=f"{found.kind} card",
                    allowed='wifi = { ssid = "..." }' if air else "no wifi")  # fmt: skip
    elif found.kind == "ethernet" and not found.carrier and not link.optional:
        yield Fault(code="no-cable", message="no cable was plugged in at this card during the survey; each start will "
                    "wait for it", path=("optional",), allowed="optional = true", warning=True)  # fmt: skip


def _twin_faults(section: Network) -> Iterable[Fault]:
    for key in ("name", "mac", "interface"):
        seen: set[str] = set()
        for index, link in enumerate(section.links):
            value = str(getattr(link, key)).lower()
            if value and value in seen:
                yield Fault(code="duplicate-link", message=f"two links have the same {key}",
                            path=("links", index, key), found=shown(value))  # fmt: skip
            seen.add(value)
    yield from _shared_address_faults(section)
    yield from _shared_gateway_faults(section)


def _shared_address_faults(section: Network) -> Iterable[Fault]:
    owner: dict[object, int] = {}
    for index, link in enumerate(section.links):
        for place, text in enumerate(link.addresses):
            interface = read_interface(text)
            if interface is not None and owner.setdefault(interface.ip, index) != index:
                yield Fault(code="duplicate-address", message="two links have this address",
                            path=("links", index, "addresses", place), found=shown(text))  # fmt: skip


def _shared_gateway_faults(section: Network) -> Iterable[Fault]:
    first: dict[int, int] = {}
    for index, link in enumerate(section.links):
        for place, text in enumerate(link.gateways):
            version = 0 if plain_trouble(text) else ip_address(text).version
            if version and first.setdefault(version, index) != index:
                yield Fault(code="gateway-on-two-links", message="two links have a gateway of the same kind; which one "
                            "is used depends on the manager", path=("links", index, "gateways", place),
                            found=shown(text), warning=True)  # fmt: skip
