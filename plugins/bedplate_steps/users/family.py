"""What this step asks of the package family: one frozen type per concern, brought by the family."""

from __future__ import annotations

from attrs import field, frozen


@frozen(kw_only=True)
class BaseGroups:
    """The groups of the family's base system."""

    administrators: str
    """The group whose members administer the machine by the family's own practice."""
    present: frozenset[str] = field(repr=False)
    """Names of all groups that are there once the base is installed."""


@frozen(kw_only=True)
class SshServer:
    """How the ssh server is run: asked for where the section wants one."""

    unit: str
    """The service, its suffix included."""
