"""The [tide_gauge] section: which tide gauges hang on this machine, and how often they are read.

    [tide_gauge]
    every = 10
    place = "Sluice, north wall"
    keeper = "warden"
    upload = "tide-store.saltmarsh.example"      # left out: readings stay on the machine
    gauges = [{ name = "north", port = "ttyS0", speed = 9600 }]

Enters: the section, the people and the layout as facts. Leaves: the logger's settings, its unit and timer, the key it
sends readings with, a line in the hosts file, and a look at the first reading after the first start. Its one runtime
function lies in `sh/`.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Literal

from attrs import evolve

from bedplate import Action, Check, Context, Fault, Step, build, conditions, hookimpl
from bedplate.actions import InTarget, Run, SecretRef, WayBack, Where
from bedplate.changes import Change, Cost, Extra, amend
from bedplate.facts import Layout, People
from bedplate.faults import nearest, one_of, shown
from bedplate.functions import Folder
from bedplate.hookspecs import Side
from bedplate.schema import key, table
from bedplate.survey import Survey, SurveyedDisk

bedplate_contract = 1

SETTINGS, KEY = "/etc/tide-gauge/settings.json", "/etc/tide-gauge/upload-key"
READINGS = "/srv/tide-gauge"
UNIT, TIMER = "tide-gauge.service", "tide-gauge.timer"


@table
class Gauge:
    """One gauge and the serial port it hangs on."""

    name: str = key(
        "Name of the gauge, and of its readings: lower-case letters, digits and hyphens.",
        pattern="^[a-z][a-z0-9-]{0,30}$",
    )
    port: str = key("The serial port it hangs on, such as ttyS0 or ttyUSB0.", pattern="^tty[A-Z]{1,4}[0-9]{1,2}$")
    speed: Literal[1200, 9600, 115200] = key("Bits per second.", default=9600)


@table
class TideGauge:
    """The logger that reads the tide gauges and keeps their readings."""

    gauges: tuple[Gauge, ...] = key("The gauges that hang on this machine.", minItems=1)
    every: int = key("Minutes between two readings.", minimum=1, maximum=720, default=10)
    place: str = key(
        "Where the gauges are, in words; stands at the head of every file of readings.", maxLength=80, default=""
    )
    keeper: str = key(
        "The account that owns the readings: a person of the users section.", pattern="^[a-z][a-z0-9_-]*$"
    )
    upload: str = key(
        "The host that readings are sent to once a day; left out, they stay on the machine.",
        pattern="^[a-z0-9.-]*$",
        default="",
    )


def validate(section: TideGauge, context: Context) -> Iterable[Fault]:
    """What the schema cannot tell: twins, an unknown keeper, and readings that have no file system of their own."""
    for word in ("name", "port"):
        values = [getattr(gauge, word) for gauge in section.gauges]
        for index, value in enumerate(values):
            if value in values[:index]:
                yield Fault(
                    code="gauge-twin",
                    message=f"two gauges have the same {word}",
                    path=("gauges", index, word),
                    found=shown(value),
                )
    names = [person.name for person in context.fact(People).persons]
    if section.keeper not in names:
        yield Fault(
            code="keeper-unknown",
            message="the keeper of the readings has no account on this machine",
            path=("keeper",),
            found=shown(section.keeper),
            allowed=one_of(names),
            nearest=nearest(section.keeper, names),
        )
    home = context.fact(Layout).covering(READINGS)
    if home is not None and home.mount == "/":
        yield Fault(
            code="readings-on-root",
            message=f"readings fill the root file system: {READINGS} lies on it",
            allowed="a partition mounted at /srv",
            warning=True,
        )


def emit(section: TideGauge, context: Context) -> Iterable[Action]:
    """Every action of the section."""
    written = build.write_file(
        "tide_gauge.settings",
        SETTINGS,
        settings(section),
        title="Write the tide logger's settings",
        reason="It reads the gauges named here and no others.",
    )
    yield evolve(written, audits=(ports_there(section),))
    yield build.write_file(
        "tide_gauge.unit",
        f"/etc/systemd/system/{UNIT}",
        SERVICE.format(settings=SETTINGS),
        title="Describe the tide logger to systemd",
        reason="The timer starts it.",
    )
    yield build.write_file(
        "tide_gauge.timer",
        f"/etc/systemd/system/{TIMER}",
        TIMES.format(every=section.every),
        title=f"Read the gauges every {section.every} minutes",
        reason="A tide curve needs even steps.",
    )
    yield build.enable_service(
        "tide_gauge.enable",
        TIMER,
        needs=(f"file:/etc/systemd/system/{TIMER}", f"file:/etc/systemd/system/{UNIT}"),
        title="Start the tide logger with the machine",
        reason="Nobody logs in at the sluice.",
    )
    yield readings(section)
    if section.upload:
        yield from upload()
    yield build.by_hand(
        "tide_gauge.first-reading",
        "Wait for the first reading, and compare it with the staff gauge on the wall.",
        f"systemctl start {UNIT}",
        f"tail -n 1 {READINGS}/{section.gauges[0].name}",
        title="Compare the first reading",
        reason="A gauge on the wrong port reads plausible nonsense.",
        expected="The height is that of the staff gauge, give or take 2 cm.",
        trouble="Look at the cable, and at the port in the spec.",
    )


def settings(section: TideGauge) -> str:
    """The settings as the logger reads them: JSON, whatever stands in the section."""
    gauges = [{"name": one.name, "port": f"/dev/{one.port}", "speed": one.speed} for one in section.gauges]
    known = {"gauges": gauges, "place": section.place, "upload": section.upload, "readings": READINGS}
    return json.dumps(known, indent=2, ensure_ascii=False) + "\n"


def ports_there(section: TideGauge) -> Check:
    """The gauges hang on ports that the installed machine has: one command could not tell, so a function does."""
    ports = [f"/dev/{one.port}" for one in section.gauges]
    looks = tuple(f"ls -l {port} | grep '^c'" for port in ports)
    return conditions.holds(
        "Every gauge hangs on a port of this machine", "tide_gauge/ports-there", *ports, by_hand=looks
    )


def readings(section: TideGauge) -> Action:
    """The folder of the readings, owned by the keeper: a command run in the target."""
    owner = f"The folder of the readings belongs to {section.keeper}"
    argv = ("install", "-d", "-m", "0750", "-o", section.keeper, "--", READINGS)
    return build.run(
        "tide_gauge.readings",
        *argv,
        needs=(f"user:{section.keeper}",),
        title="Make the folder of the readings",
        reason="The keeper copies them away.",
        proofs=(
            conditions.outputs(
                owner, section.keeper, "stat", "-c", "%U", "--", READINGS, where=Where.TARGET, early=False
            ),
        ),
        way_back=WayBack(
            note="Removes the folder if it is empty; readings are never deleted.",
            operations=(Run(argv=("rmdir", "--ignore-fail-on-non-empty", "--", InTarget(READINGS))),),
            goes_with=build.ROOT,
        ),
    )


def upload() -> Iterable[Action]:
    """The key that readings are sent with, and the store's address."""
    key = build.ask("tide-upload", "Key of the tide store", min_length=16)
    yield build.write_file(
        "tide_gauge.upload-key",
        KEY,
        (SecretRef(key.name), "\n"),
        mode=0o600,
        secrets=(key,),
        title="Keep the key of the tide store",
        reason="The store takes readings from known machines only.",
    )
    yield build.append(
        "tide_gauge.services",
        "/etc/services",
        "tide-store\t7411/tcp",
        marker="tide store",
        title="Name the port of the tide store",
        reason="The logger asks for it by name.",
    )


def changes(old: Side, new: Side) -> Iterable[Change]:
    """Gauges, place and rhythm are changed where the machine stands; of the rest the comparison of actions tells.

    How the section comes and goes need not be told: its actions are all work in the target and have ways back, but for
    the look at the first reading, which a person takes in the end.
    """
    if old.section.every != new.section.every:
        yield Change(
            says=f"the gauges are read every {new.section.every} minutes instead of {old.section.every}",
            cost=Cost.IN_PLACE,
            old=("every",),
            new=("every",),
            actions=amend(old.actions, new.actions, "tide_gauge.timer", extra={"tide_gauge.timer": AGAIN}),
        )
    if settings(old.section) != settings(new.section):
        yield Change(
            says="the tide logger gets other settings",
            cost=Cost.IN_PLACE,
            actions=amend(old.actions, new.actions, "tide_gauge.settings"),
        )


def draft(survey: Survey, disk: SurveyedDisk | None = None) -> str:
    """A first section: serial ports cannot be surveyed, so a person fills in which gauge hangs where."""
    return (
        "[tide_gauge]\n"
        "# Minutes between two readings.\n"
        "every = 10\n"
        "# Who owns the readings: an account of [[users.people]]; a first draft names one keeper.\n"
        'keeper = "keeper"\n'
        "# One line for each gauge. Which port is which: dmesg | grep tty, with one gauge plugged in at a time.\n"
        'gauges = [{ name = "north", port = "ttyS0" }]\n'
    )


_RESTART = (Run(argv=("systemctl", "daemon-reload")), Run(argv=("systemctl", "restart", TIMER)))
AGAIN = Extra(after=_RESTART, back=_RESTART)
"""The timer that runs keeps its old rhythm until it is started again."""

SERVICE = """\
[Unit]
Description=Read the tide gauges

[Service]
Type=oneshot
ExecStart=/usr/local/bin/tide-gauge {settings}
"""

TIMES = """\
[Unit]
Description=Read the tide gauges every {every} minutes

[Timer]
OnBootSec=1min
OnUnitActiveSec={every}min

[Install]
WantedBy=timers.target
"""


@hookimpl
def bedplate_steps() -> list[Step]:
    """The step of this distribution."""
    return [
        Step(
            section="tide_gauge",
            title="Tide gauges of the station, and the logger that reads them",
            model=TideGauge,
            emit=emit,
            functions=Folder(__name__),
            validate=validate,
            changes=changes,
            draft=draft,
            draft_rank=90,
        )
    ]
