"""Faults of the `[clock]` section that no schema can say. Enters: section and context. Leaves: faults."""

from __future__ import annotations

from collections.abc import Iterable

from bedplate.facts import Layout
from bedplate.faults import Fault, nearest, shown
from bedplate.hookspecs import Context
from bedplate_steps.clock import time_zones
from bedplate_steps.clock.family import Chrony
from bedplate_steps.clock.model import Clock

_CURES = (
    'Cure 1: hardware_clock = "utc" here, and tell the other system to read the hardware clock as UTC.',
    "Cure 2: leave it local, and after each change of summer time start the other system first, then look at the time "
    "in both: nothing in the clock tells whether it was changed already, so it is an hour wrong until one system has "
    "corrected it, and wrong again if both have.",
)


def validate(clock: Clock, context: Context) -> Iterable[Fault]:
    """All faults and warnings of the section."""
    yield from _zone(clock.zone)
    yield from _hardware_clock(clock, context)
    if clock.sync == "none" and clock.servers:
        yield Fault(
            code="servers-not-used",
            message="time servers are named, but nothing asks them",
            path=("servers",),
            allowed='sync = "timesyncd" or "chrony", or no servers',
        )
    if clock.sync == "chrony":
        context.of_family(Chrony)


def _zone(zone: str) -> Iterable[Fault]:
    if zone in time_zones.current():
        return
    if zone not in time_zones.old():
        yield Fault(
            code="unknown-zone",
            message="no zone of the IANA Time Zone Database has this name",
            path=("zone",),
            found=shown(zone),
            allowed='an area and a place, such as "Europe/Berlin", or "UTC"',
            nearest=nearest(zone, time_zones.current()),
        )
        return
    yield Fault(
        code="old-zone",
        message="this is an old name, which newer systems keep in a package of its own or not at all",
        path=("zone",),
        found=shown(zone),
        allowed="the current name of the zone",
        nearest=time_zones.old()[zone] or None,
        warning=True,
    )


def _hardware_clock(clock: Clock, context: Context) -> Iterable[Fault]:
    others = context.fact(Layout).other_systems if context.has(Layout) else ()
    if clock.hardware_clock == "local" and not others and context.has(Layout):
        yield Fault(
            code="hardware-clock-local",
            message="no other system is kept that could want local time in the hardware clock, and it is wrong for an "
            "hour after each change of summer time",
            path=("hardware_clock",),
            found=shown("local"),
            allowed='"utc"',
            nearest="utc",
            warning=True,
        )
    if clock.hardware_clock == "local" and others:
        yield Fault(
            code="hardware-clock-local",
            message="two systems will keep one hardware clock in local time",
            path=("hardware_clock",),
            found=shown("local"),
            notes=_CURES,
            warning=True,
        )
