"""What a person does in the other system before the live medium starts: all of it by hand.

Enters: section and layout. Leaves: actions of the stage `other system`. The commands typed there are
the vendor's own (manage-bde, powercfg, reagentc as its manuals give them; diskpart from memory).
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import build, conditions
from bedplate.actions import Action, ByHand, Check, Stage, WayBack
from bedplate.facts import LaidPartition, Layout
from bedplate.units import MIB, in_gib
from bedplate_steps.disk import inspect
from bedplate_steps.disk.kept_linux import is_linux
from bedplate_steps.disk.model import DiskSection

SITE_RULES = "The rules of the machine's vendor and of your site come first."
MAINS = "Keep a laptop on mains power, and let no machine sleep, while partitions change."


def before(section: DiskSection, layout: Layout) -> Iterator[Action]:
    """Everything that comes before the live medium is started."""
    yield _back_up(layout)
    shrunk = [part for part in layout.partitions if part.shrunk_from]
    if not layout.other_systems and not shrunk:
        return
    if section.other_system is not None and section.other_system.encryption != "none" and _vendor(layout):
        yield _note_recovery_key(section.other_system.recovery_key_place, section.other_system.encryption)
        yield _suspend(section.other_system.encryption)
    if _vendor(layout) and any(part.role == "recovery" for part in layout.partitions):
        yield _note_recovery()
    for part in shrunk:
        yield _shrink(part, layout)
    yield _shut_down(layout)


def _vendor(layout: Layout) -> bool:
    """Whether the kept system is the kind whose commands are known here."""
    systems = [part for part in layout.partitions if part.name in layout.other_systems or part.shrunk_from]
    return any(part.filesystem in ("ntfs", "BitLocker", "") for part in systems)


def _linux(layout: Layout) -> list[str]:
    """Names of the kept systems that are a Linux."""
    systems = [part for part in layout.partitions if part.name in layout.other_systems]
    return [part.name for part in systems if part.filesystem and is_linux(part.filesystem, part.type)]


def _back_up(layout: Layout) -> Action:
    lost = ["Everything on this disk will be lost: " + layout.disk_words] if layout.whole_disk else []
    return build.by_hand(
        "disk.back-up",
        f"Copy everything that matters from {layout.disk_words} to another disk, disconnect that disk, "
        "and open one file of the copy on another machine.",
        title="Back up what must not be lost",
        reason="A slip, a power cut or a failing disk during partitioning can cost everything on it.",
        stage=Stage.OTHER_SYSTEM,
        gives=("prepared:backup",),
        cautions=(*lost, SITE_RULES, MAINS),
        expected="The copy can be read on another machine.",
        trouble="A copy that was never read back is no copy: do not go on.",
    )


_UNKNOWN = (
    "Nobody has said whether it is encrypted: where manage-bde -status shows no encrypted volume, nothing is to do. "
)


def _note_recovery_key(place: str, state: str) -> Action:
    return build.by_hand(
        "disk.note-recovery-key",
        (_UNKNOWN if state == "unknown" else "")
        + "In a command prompt run as administrator: write the key identifier and the 48 digits on paper, "
        f"and compare them with what is kept in this place: {place}",
        "manage-bde -status",
        "manage-bde -protectors -get C:",
        title="Write down the recovery key of the other system",
        reason="After a change of firmware settings or boot order it may ask for the key, and nothing else opens it.",
        stage=Stage.OTHER_SYSTEM,
        gives=("prepared:recovery-key",),
        cautions=("Keep the paper apart from the machine. Without the key the data of that volume is gone.",),
        expected="A numerical password of 48 digits is shown for every encrypted volume.",
    )


def _suspend(state: str) -> Action:
    done = {"suspended": "It is said to be suspended already: look whether it still is. ", "unknown": _UNKNOWN}
    return build.by_hand(
        "disk.suspend-encryption",
        done.get(state, "") + "In a command prompt run as administrator; repeat for every encrypted volume.",
        "manage-bde -protectors -disable C: -rebootcount 0",
        "manage-bde -status",
        title="Suspend the other system's volume encryption",
        reason="The job changes what its key is bound to. A count of 0 means: until it is enabled again; without a "
        "count the next start would end it.",
        stage=Stage.OTHER_SYSTEM,
        needs=("prepared:recovery-key",),
        gives=("prepared:encryption",),
        way_back=WayBack(note="In the other system: `manage-bde -protectors -enable C:`"),
        expected="Protection Status: Protection Off",
        changes=True,
    )


def _note_recovery() -> Action:
    return build.by_hand(
        "disk.note-recovery",
        "In a command prompt run as administrator; note status and location. They are asked for again at the end.",
        "reagentc /info",
        title="Note where the other system keeps its recovery environment",
        reason="It remembers the place by disk and partition number; the same answer afterwards shows that it works.",
        stage=Stage.OTHER_SYSTEM,
        gives=("prepared:recovery",),
        expected="Status: Enabled, and a location with a partition number.",
    )


def _shrink(part: LaidPartition, layout: Layout) -> Action:
    sector = layout.sector_size
    mib = -(-(part.shrunk_from - part.size) * sector // MIB)
    now, then = in_gib(part.shrunk_from * sector), in_gib(part.size * sector)
    letter = _letter(part, layout)
    which = (
        "has to show C with about this size; if it does not, stop"
        if letter == "C"
        else ("shows the letter of the volume of this size, to be put in place of `LETTER`; C is another one")
    )
    return build.by_hand(
        f"disk.shrink-{part.name}",
        f"In Disk Management, choose Shrink Volume on this volume ({now}) and type {mib} (the field says "
        f"MB and means MiB). Do not make a new volume in the free space. Or in a command prompt, "
        f"where `list volume` {which}:",
        "diskpart",
        "list volume",
        f"select volume {letter}",
        "shrink querymax",
        f"shrink desired={mib} minimum={mib}",
        title=f"Shrink {part.name} by {mib} MiB, in the other system",
        reason=f"Only its own system moves its files safely. It goes from {now} to {then}; the new partitions take "
        "the room behind it.",
        stage=Stage.OTHER_SYSTEM,
        needs=("prepared:backup",),
        gives=(f"prepared:shrink-{part.name}",),
        proofs=shrunk_checks(part, layout),
        way_back=WayBack(note="In the other system, Extend Volume in Disk Management, once nothing lies behind it."),
        cautions=("Never shrink it from the live medium, and never by changing only the partition.",),
        expected=f"The volume is {then} or a little less, with unallocated space behind it.",
        trouble="If less is offered than asked: switch off its swap file and restore points, restart, try again. "
        "If that does not help, plan a smaller shrink and compile again.",
        changes=True,
    )


def _letter(part: LaidPartition, layout: Layout) -> str:
    """What the other system calls a volume: its own one C; of any other nothing is known here."""
    return "C" if part.name in layout.other_systems else "LETTER"


def shrunk_checks(part: LaidPartition, layout: Layout) -> tuple[Check, ...]:
    """Whether a kept partition has really become smaller, and the file system inside it too."""
    row = conditions.holds(
        f"{part.name} ends where planned, or before",
        "disk/partition-ends-by",
        part.uuid,
        str(part.start),
        str(part.size),
        part.type,
        by_hand=inspect.ends_by(part),
        otherwise="Start the other system and shrink the volume there by the amount in the checklist.",
    )
    inside = conditions.holds(
        f"The volume inside {part.name} is not larger than its partition",
        "disk/ntfs-fits",
        part.uuid,
        by_hand=inspect.ntfs_fits(part, layout.sector_size),
        otherwise=f"Start the other system and let it check the volume (`chkdsk {_letter(part, layout)}: /f`). "
        "Do not go on before.",
    )
    return (row, inside) if part.filesystem == "ntfs" else (row,)


def _shut_down(layout: Layout) -> Action:
    vendor = _vendor(layout)
    linux = _linux(layout) or ([] if vendor else list(layout.other_systems))
    by_linux = (
        (ByHand(text=f"Shut {' and '.join(linux)} down; do not hibernate it.", commands=("systemctl poweroff",)),)
        if linux
        else ()
    )
    return Action(
        id="disk.shut-down",
        title="Shut the other system down fully",
        reason="A fast start or hibernation leaves its volumes open: writing beside them destroys data.",
        stage=Stage.OTHER_SYSTEM,
        operations=(*(_powering_off() if vendor else ()), *by_linux),
        needs=("stage:other-system",),
        gives=("prepared:shut-down",),
        way_back=WayBack(note="In the other system: `powercfg /h on`")
        if vendor
        else WayBack(note="Nothing is lost by it: switch the machine on again."),
        cautions=_CAUTIONS
        if vendor
        else (
            "A Linux that sleeps in a swap partition or leaves its journal open is seen later, and stops the script; "
            "what lies in its containers and volume groups is not.",
        ),
        expected="The machine is off.",
    )


_CAUTIONS = ("No driver that reads Linux file systems may be installed there: such drivers have damaged them.",)


def _powering_off() -> tuple[ByHand, ...]:
    """One command a block: each ends the session in which the next would be typed."""
    return (
        ByHand(
            text="First switch fast start and hibernation off. Leave fast start off for good: both systems share the "
            "EFI system partition.",
            commands=("powercfg /h off",),
        ),
        ByHand(text="Then restart once:", commands=("shutdown /r /t 0",)),
        ByHand(text="When it has come up again, shut it down:", commands=("shutdown /s /t 0",)),
    )
