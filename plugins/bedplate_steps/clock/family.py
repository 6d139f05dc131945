"""What this step asks of the package family: one frozen type per concern, brought by the family."""

from __future__ import annotations

from attrs import frozen


@frozen(kw_only=True)
class ZoneName:
    """Where the name of the time zone stands, beside the link /etc/localtime (localtime(5))."""

    file: str = ""
    """A file of the target that holds the name as well; empty: none."""


@frozen(kw_only=True)
class Chrony:
    """How chrony is run: asked for where the section wants it."""

    unit: str
    """The service, its suffix included."""
    settings: str
    """Path of chrony.conf(5)."""
