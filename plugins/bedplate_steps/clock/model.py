"""The `[clock]` section as a typed value. Enters: checked TOML. Leaves: a frozen `Clock`."""

from __future__ import annotations

from attrs import frozen


@frozen(kw_only=True)
class Clock:
    """Zone, hardware clock and synchronisation."""

    zone: str
    """Name in the IANA Time Zone Database."""
    hardware_clock: str = "utc"
    """`utc` or `local`: what the battery-backed clock shows."""
    sync: str = "timesyncd"
    """`timesyncd`, `chrony` or `none`."""
    servers: tuple[str, ...] = ()
    """Time servers by name or address; empty: the package's own."""
