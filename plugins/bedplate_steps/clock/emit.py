"""The actions of the clock. Enters: section and context. Leaves: actions in the order a person would do them."""

from __future__ import annotations

from collections.abc import Iterable

from bedplate import build, conditions
from bedplate.actions import (
    Action,
    ByHand,
    Call,
    Check,
    Does,
    InTarget,
    Link,
    Milestone,
    Operation,
    Run,
    Stage,
    Touch,
    WayBack,
    WriteFile,
)
from bedplate.facts import Family, Layout
from bedplate.hookspecs import Context
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.clock.model import Clock

_REGISTRY = r"HKLM\SYSTEM\CurrentControlSet\Control\TimeZoneInformation"
_VALUE = "RealTimeIsUniversal"
"""Registry value that makes an NT system read the hardware clock as UTC (trade knowledge, from memory)."""


_SUMMER_TIME = (
    "Two systems that keep one clock in local time are an hour wrong after a change of summer time, until one of them "
    "has corrected it, and again if both have. UTC in both has no such day."
)
_EACH_SUMMER = (
    "After each change of summer time: start the other system first, look at the time in both, and set it in one of "
    "them."
)

TIMESYNCD = "/etc/systemd/timesyncd.conf.d/servers.conf"
_TIMESYNCD_UNIT = "systemd-timesyncd.service"


def emit(clock: Clock, context: Context) -> Iterable[Action]:
    """All actions of the section."""
    family, layout = context.fact(Family), context.fact(Layout)
    if clock.hardware_clock == "utc" and layout.other_systems:
        yield _other_system(layout)
    yield _live(clock, family)
    yield _zone(clock, family, context.of_family(ZoneName))
    yield _hardware_clock(clock, layout)
    if clock.sync != "none":
        yield _sync(clock, family, context.of_family(Chrony) if clock.sync == "chrony" else None)


def _other_system(layout: Layout) -> Action:
    kept = [part for part in layout.partitions if part.name in layout.other_systems]
    nt = any(part.filesystem.lower() in ("ntfs", "bitlocker") for part in kept)
    add = f'reg add "{_REGISTRY}" /v {_VALUE} /t REG_DWORD /d 1 /f'
    delete = f'reg delete "{_REGISTRY}" /v {_VALUE} /f'
    text = "Tell the other system to read the hardware clock as UTC, and look at its time once more."
    return build.by_hand(
        "clock.other-system",
        text,
        *((add,) if nt else ()),
        title="Tell the other system that the hardware clock shows UTC",
        reason="Otherwise it shows a wrong time by the zone's offset after every start of the new system.",
        stage=Stage.OTHER_SYSTEM,
        gives=("prepared:clock",),
        way_back=WayBack(
            note="Tell the other system to read local time again, then set its clock once.",
            operations=(ByHand(text="Read local time again.", commands=(delete,) if nt else ()),),
        ),
        expected="The other system shows the right time, also after a restart.",
        trouble='The site\'s own rules may forbid it: then use hardware_clock = "local" in the spec instead.',
        changes=True,
    )


def _live(clock: Clock, family: Family) -> Action:
    return Action(
        id="clock.live",
        title="Set the clock of the live medium",
        reason="Signatures and certificates are refused when the clock is wrong, and file times come from it.",
        stage=Stage.LIVE,
        operations=(
            Call(
                verb="clock/clock-sync",
                args=(family.source, *clock.servers),
                by_hand=(
                    "timedatectl set-ntp true || echo 'This medium has no time service: set the clock yourself.'",
                    "date -u",
                    "# Compare with a clock you trust, in UTC. Only if it is still wrong after a minute, set it, with "
                    "the right numbers in place of the letters:",
                    'date -u -s "YYYY-MM-DD hh:mm:ss"',
                ),
            ),
        ),
        needs=() if family.from_archive else (Milestone.NETWORK_UP,),
        gives=("clock:live",),
        guards=(
            conditions.holds(
                "The clock of the live medium is not days or years off",
                "clock/clock-plausible",
                family.source,
                otherwise="The battery of the hardware clock may be empty, or this is not the machine you "
                "mean. Set it in UTC from a clock you trust, `date -u -s`, and begin again.",
            ),
        ),
        proofs=(
            conditions.holds(
                "The live clock is right",
                "clock/clock-live",
                family.source,
                early=False,
                otherwise="Set it by hand, in UTC, from a clock you trust: `date -u -s`.",
            ),
        ),
        transient=True,
        expected="The right time. The script says how it was checked: time servers, the package source, or only "
        "plausibility.",
        trouble="Set it by hand from a clock you trust, in UTC: `date -u -s`, then run the script again or go on by "
        "hand.",
    )


def _zone(clock: Clock, family: Family, name: ZoneName) -> Action:
    file = f"/usr/share/zoneinfo/{clock.zone}"
    operations: tuple[Operation, ...] = (Link(path=InTarget("/etc/localtime"), to=f"..{file}"),)
    proofs: tuple[Check, ...] = (
        conditions.link_is("/etc/localtime", f"..{file}"),
        conditions.holds(f"The zone {clock.zone} is installed", "clock/zone-is-there", InTarget(file), early=False),
    )
    if name.file:
        operations += (WriteFile(path=InTarget(name.file), content=(f"{clock.zone}\n",)),)
        proofs += (conditions.file_is(name.file, (f"{clock.zone}\n",)),)
    return Action(
        id="clock.zone",
        title=f"Set the time zone to {clock.zone}",
        reason="The link's own text is where programs read the zone's name (localtime(5)).",
        stage=Stage.TARGET,
        operations=operations,
        needs=("base", *family.tokens("tzdata")),
        gives=("file:/etc/localtime",),
        proofs=proofs,
        audits=(_in_force("time zone", "Timezone", clock.zone),),
        way_back=build.goes_with_root(
            "The link is removed; the system then shows UTC.", Run(argv=("rm", "-f", InTarget("/etc/localtime")))
        ),
    )


def _hardware_clock(clock: Clock, layout: Layout) -> Action:
    zone_file = InTarget(f"/usr/share/zoneinfo/{clock.zone}")
    local = clock.hardware_clock == "local"
    third = "LOCAL" if local else "UTC"
    show = "--localtime" if local else "--utc"
    return Action(
        id="clock.hardware",
        title=f"Set the hardware clock to {'local time' if local else 'UTC'}",
        reason="Nothing in the clock itself tells what it shows; the third line of /etc/adjtime does.",
        stage=Stage.TARGET,
        operations=(
            # adjtime_config(5): drift, last adjustment; last calibration; what the clock shows.
            WriteFile(path=InTarget("/etc/adjtime"), content=(f"0.0 0 0.0\n0\n{third}\n",)),
            Call(
                verb="clock/hardware-clock-set",
                args=(clock.hardware_clock, zone_file),
                by_hand=(f"TZ={clock.zone} hwclock --systohc {show} --noadjfile",),
            ),
        ),
        needs=("file:/etc/localtime", "clock:live", "tool:hwclock"),
        gives=("file:/etc/adjtime",),
        proofs=(
            conditions.file_has_line("/etc/adjtime", third),
            conditions.holds(
                f"The hardware clock shows {'local time' if local else 'UTC'}",
                "clock/hardware-clock-is",
                clock.hardware_clock,
                zone_file,
                early=False,
            ),
        ),
        audits=(_in_force("hardware clock in local time", "LocalRTC", "yes" if local else "no"), *_times(layout)),
        cautions=(_SUMMER_TIME,) if local else (),
        touches=(Touch(does=Does.WRITES, what=f"the machine's hardware clock: {'local time' if local else 'UTC'}"),),
        upkeep=(_EACH_SUMMER,) if local else (),
        way_back=WayBack(
            note="What the clock showed before is not kept: set it in the other system, or with hwclock --systohc.",
            possible=False,
        ),
    )


def _times(layout: Layout) -> Iterable[Check]:
    for part in layout.partitions:
        if part.new and part.filesystem == "ext4":
            yield conditions.holds(
                f"No time in {part.name} is in the future",
                "clock/ext4-times",
                part.content_node,
                early=False,
                otherwise="Set the clock right, and let the file system be checked at the next start.",
            )


def _in_force(what: str, key: str, value: str) -> Check:
    """What the running system takes for true: timedatectl(1)."""
    return conditions.outputs(
        f"In force, {what}: {value}", value, "timedatectl", "show", f"--property={key}", "--value", early=False
    )


def _sync(clock: Clock, family: Family, chrony: Chrony | None) -> Action:
    unit = chrony.unit if chrony else _TIMESYNCD_UNIT
    files = _server_files(clock, chrony)
    return Action(
        id="clock.sync",
        title=f"Keep the time right with {clock.sync}",
        reason="A clock that drifts breaks logins, certificates and logs.",
        stage=Stage.TARGET,
        operations=(*files, Run(argv=("systemctl", "--root", InTarget("/"), "enable", unit))),
        needs=("base", "tool:systemctl", *family.tokens(f"time-sync-{clock.sync}")),
        gives=(f"service:{unit}",),
        proofs=(*(conditions.file_is(_path(file), file.content) for file in files), conditions.service_enabled(unit)),
        audits=(
            conditions.succeeds(f"{unit} runs", "systemctl", "is-active", "--quiet", unit, early=False),
            conditions.holds("The clock is right", "clock/clock-live", family.source, early=False),
        ),
        way_back=build.goes_with_root(
            "The service is disabled again.", Run(argv=("systemctl", "--root", InTarget("/"), "disable", unit))
        ),
    )


def _server_files(clock: Clock, chrony: Chrony | None) -> tuple[WriteFile, ...]:
    if not clock.servers:
        return ()
    if chrony is None:
        return (WriteFile(path=InTarget(TIMESYNCD), content=(f"[Time]\nNTP={' '.join(clock.servers)}\n",)),)
    # chrony.conf(5): step a clock that is off by more than a second in the first three updates; keep the RTC in step.
    text = "".join(f"server {server} iburst\n" for server in clock.servers)
    text += "driftfile /var/lib/chrony/drift\nmakestep 1.0 3\nrtcsync\n"
    return (WriteFile(path=InTarget(chrony.settings), content=(text,)),)


def _path(file: WriteFile) -> str:
    return file.path.path if isinstance(file.path, InTarget) else file.path
