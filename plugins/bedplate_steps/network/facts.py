"""What the network step tells other steps: the machine's name. Enters: section and context. Leaves: `HostName`."""

from __future__ import annotations

from bedplate.facts import HostName
from bedplate.hookspecs import Context
from bedplate_steps.network.model import Network


def names(section: Network, context: Context) -> HostName:
    """The fact."""
    return HostName(host=host_name(section, context), domain=section.domain)


def host_name(section: Network, context: Context) -> str:
    """The host name: the section's own, or the machine's name."""
    return section.host_name or context.machine.name


def full_name(section: Network, context: Context) -> str:
    """Host name and domain, joined by a dot where there is a domain."""
    return ".".join(part for part in (host_name(section, context), section.domain) if part)
