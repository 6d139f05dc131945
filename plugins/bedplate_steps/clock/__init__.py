"""The clock step: the time zone, what the hardware clock shows, and who keeps the time right.

Enters: `[clock]`. Leaves: actions that set the live clock first (signatures and certificates need it), then the
target's zone, the hardware clock and the synchronisation service.

    [clock]
    zone = "Europe/Berlin"
    hardware_clock = "utc"          # or "local", where another system on the machine keeps it so
    sync = "timesyncd"              # or "chrony", "none"
    servers = ["time.saltmarsh.example"]
"""

from __future__ import annotations

from bedplate.functions import Folder
from bedplate.hookspecs import Step, hookimpl, later
from bedplate_steps.clock.emit import emit
from bedplate_steps.clock.family import ZoneName
from bedplate_steps.clock.model import Clock
from bedplate_steps.clock.validate import validate

__all__ = ["bedplate_contract", "bedplate_steps"]


bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The clock step."""
    return [
        Step(
            section="clock",
            title="Clock: time zone, hardware clock, time synchronisation",
            model=Clock,
            emit=emit,
            functions=Folder(__name__),
            changes=later("bedplate_steps.clock.changes:changes"),
            validate=validate,
            concerns=(ZoneName,),
            draft=later("bedplate_steps.clock.draft:draft"),
            draft_rank=30,
            required=True,
        )
    ]
