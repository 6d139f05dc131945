"""Semantic checks of the `[network]` section. Enters: the section and its context. Leaves: faults below the section."""

from __future__ import annotations

from collections.abc import Iterable

from bedplate.facts import Family
from bedplate.faults import Fault, Rejected, one_of, shown
from bedplate.hookspecs import Context
from bedplate_steps.network.addresses import ADDRESS, plain_trouble
from bedplate_steps.network.facts import full_name, host_name
from bedplate_steps.network.host_names import (
    LABEL,
    MAX_NAME,
    label_trouble,
    name_trouble,
    repaired_label,
    repaired_name,
)
from bedplate_steps.network.managers import Manager, chosen, needs_of, settled
from bedplate_steps.network.model import LOOPBACK_NAME, Network
from bedplate_steps.network.validate_links import link_faults


def validate(section: Network, context: Context) -> Iterable[Fault]:
    """Every fault of the section."""
    yield from _host_faults(section, context)
    yield from _hosts_file_faults(section, context)
    yield from _manager_faults(section, context)
    yield from link_faults(section, context)


# --- names ---------------------------------------------------------------------------------------------------------


def _host_faults(section: Network, context: Context) -> Iterable[Fault]:
    name = host_name(section, context)
    yield from _host_name_faults(name)
    trouble = name_trouble(section.domain) if section.domain else ""
    if trouble:
        yield Fault(
            code="bad-domain",
            message=f"this is not a domain name: {trouble}",
            path=("domain",),
            found=shown(section.domain),
            allowed=f"labels joined by dots, each of {LABEL}",
            nearest=repaired_name(section.domain),
        )
    elif len(full_name(section, context)) > MAX_NAME:
        yield Fault(
            code="bad-domain",
            message=f"host name and domain together have more than {MAX_NAME} characters",
            path=("domain",),
            found=shown(section.domain),
        )


def _host_name_faults(name: str) -> Iterable[Fault]:
    path = ("host_name",)
    if "." in name and not name_trouble(name):
        first, _, rest = name.partition(".")
        yield Fault(
            code="bad-host-name",
            message="the host name is the first label only; the rest is the domain",
            path=path,
            found=shown(name),
            allowed=f'host_name = "{first}" and domain = "{rest}"',
            nearest=first,
        )
        return
    trouble = label_trouble(name)
    if not trouble and name == LOOPBACK_NAME:
        trouble = "localhost is every machine's name for itself"
    if trouble:
        yield Fault(
            code="bad-host-name",
            message=f"this is not a host name: {trouble}",
            path=path,
            found=shown(name),
            allowed=LABEL,
            nearest=None if name == LOOPBACK_NAME else repaired_label(name),
        )
    elif not name[0].isalpha():
        yield Fault(
            code="host-name-digit-first",
            message="a host name that begins with a digit confuses old programs",
            path=path,
            found=shown(name),
            allowed="a letter first",
            warning=True,
        )


def _hosts_file_faults(section: Network, context: Context) -> Iterable[Fault]:
    own = {host_name(section, context), full_name(section, context), LOOPBACK_NAME}
    for index, entry in enumerate(section.hosts):
        trouble = plain_trouble(entry.address)
        if trouble and not trouble.startswith("it is a loopback"):
            yield Fault(
                code="bad-address",
                message=f"a hosts entry begins with a plain address: {trouble}",
                path=("hosts", index, "address"),
                found=shown(entry.address),
                allowed=ADDRESS,
            )
        for place, name in enumerate(entry.names):
            path = ("hosts", index, "names", place)
            trouble = name_trouble(name)
            if trouble:
                yield Fault(
                    code="bad-host-name",
                    message=f"this is not a host name: {trouble}",
                    path=path,
                    found=shown(name),
                    allowed=LABEL,
                    nearest=repaired_name(name),
                )
            elif name in own:
                yield Fault(
                    code="own-name-in-hosts",
                    message="Bedplate writes this machine's own names itself",
                    path=path,
                    found=shown(name),
                    allowed="names of other machines",
                )


# --- the manager ---------------------------------------------------------------------------------------------------


def _manager_faults(section: Network, context: Context) -> Iterable[Fault]:
    manager = chosen(section, context)
    if manager is None:
        yield from _no_network_faults(section, context)
        return
    if section.no_network_after_reboot:
        yield Fault(
            code="network-contradiction",
            message="a manager is chosen, yet there shall be no network",
            path=("no_network_after_reboot",),
            found="true",
            allowed='false, or manager = "none"',
        )
    if not section.links:
        yield Fault(
            code="no-links",
            message="without a link the machine has no network after its first start",
            path=(),
            found="no [[network.links]]",
            allowed='one or more links, or manager = "none" with no_network_after_reboot = true',
        )
    yield from _package_faults(section, manager, context)
    daemons = manager.wifi_daemons
    if section.wifi_daemon and section.wifi_daemon not in daemons:
        yield Fault(
            code="wifi-daemon-unfit",
            message=f"Bedplate does not join {section.wifi_daemon} to this manager",
            path=("wifi_daemon",),
            found=shown(section.wifi_daemon),
            allowed=one_of([f'"{name}"' for name in daemons]),
        )
    elif section.wifi_daemon and not section.wireless:
        yield Fault(
            code="needless-wifi-daemon",
            message="no link is wireless, so no Wi-Fi program is installed",
            path=("wifi_daemon",),
            found=shown(section.wifi_daemon),
            warning=True,
        )
    if _names_unresolved(section):
        yield Fault(
            code="no-name-server",
            message="fixed addresses bring no name server: names will not resolve",
            path=("links",),
            allowed='dns = ["..."] in one link',
            warning=True,
        )


def _names_unresolved(section: Network) -> bool:
    return bool(section.links) and all(link.dhcp == "no" and not link.dns for link in section.links)


def _no_network_faults(section: Network, context: Context) -> Iterable[Fault]:
    if not section.no_network_after_reboot:
        yield Fault(
            code="network-unconfirmed",
            message="without a manager the machine has no network after its first start; say so on purpose",
            path=("manager",),
            found='"none"',
            allowed="no_network_after_reboot = true beside it, or " + one_of(sorted(context.extensions(Manager))),
        )
    if section.links:
        yield Fault(
            code="network-contradiction",
            message="links are described, but nothing would bring them up",
            path=("links",),
            found=f"{len(section.links)} links",
            allowed="no links",
        )


def _package_faults(section: Network, manager: Manager, context: Context) -> Iterable[Fault]:
    try:
        family = context.fact(Family)
    except Rejected:
        return  # its own step reports that
    for need in needs_of(settled(section, manager), manager):
        if need not in family.packages:
            yield Fault(
                code="family-lacks",
                message=f"the {family.name} family has no package for this",
                path=("manager",),
                found=need,
            )
