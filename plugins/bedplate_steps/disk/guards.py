"""What must hold before the disk is written to: this disk, this table, nothing in use, room where it was planned.

Enters: the layout. Leaves: checks, each with what to do otherwise and how to look by hand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bedplate import conditions
from bedplate.actions import Check
from bedplate.facts import LaidPartition, Layout
from bedplate_steps.disk import inspect
from bedplate_steps.disk.emit_other_system import shrunk_checks


def kept_parts(layout: Layout) -> list[LaidPartition]:
    """The kept partitions by start sector."""
    return [part for part in layout.partitions if not part.new]


def count(parts: Sequence[LaidPartition]) -> str:
    """`1 partition`, `3 partitions`."""
    return "1 partition" if len(parts) == 1 else f"{len(parts)} partitions"


def disk_guards(layout: Layout) -> tuple[Check, ...]:
    """Whether this is the disk the plan was made for. Tried again before every destructive step."""
    stop = "Stop: this is another machine or another disk. Take a survey of this one and compile again."
    numbers = (str(layout.size_bytes), str(layout.sector_size))
    guards = [
        conditions.holds(
            f"The disk is {layout.disk_words}",
            "disk/disk-is",
            layout.serial,
            *numbers,
            otherwise=stop,
            by_hand=inspect.the_disk(layout),
        )
    ]
    if not layout.removable:
        guards.append(_built_in())
    if layout.whole_disk:
        guards.append(_surveyed(layout))
    else:
        bounds = (str(layout.first_lba), str(layout.last_lba))
        says = f"The disk has the partition table of the survey, {layout.table_id}"
        guards.append(
            conditions.holds(
                says,
                "disk/table-is",
                layout.table_id,
                *bounds,
                otherwise=stop,
                by_hand=inspect.the_table(layout.table_id),
            )
        )
        guards.append(whole(layout))
        guards.append(_alone())
        guards.append(_only_known(layout))
        guards.extend(_kept_guard(part, layout) for part in kept_parts(layout))
    return tuple(guards)


def ready_guards() -> tuple[Check, Check]:
    """What would end the work half way, and can be seen before it begins."""
    writable = conditions.holds(
        "The disk can be written to",
        "disk/disk-is-writable",
        by_hand=('[ "$(blockdev --getro "$DISK")" = 0 ] && echo yes',),
        otherwise="Find the switch or the setting that protects it; a solid-state disk that has become read-only by "
        "itself is worn out: copy what is on it and replace it.",
    )
    power = conditions.holds(
        "The machine has mains power, or at least half a battery",
        "disk/power-lasts",
        otherwise="Connect mains power, and leave it connected; an open lid is safer, too.",
    )
    return writable, power


def _built_in() -> Check:
    return conditions.holds(
        "The disk is built in: it cannot be unplugged",
        "disk/disk-is-built-in",
        by_hand=inspect.built_in(),
        otherwise="Stop: this may be the live medium or somebody's backup. Unplug what is not needed; if the new "
        "system shall live on a disk that can be unplugged, say removable = true in the spec.",
    )


def _surveyed(layout: Layout) -> Check:
    """What is erased is what was surveyed: another disk, or another use of this one since then, stops here."""
    table = layout.before_table
    lines = [f"label: {table.label}", *([f"label-id: {table.id}"] if table.id else [])] if table else []
    lines += [f"disk {content}" for content in layout.before_contents]
    lines += [
        f"{row.start} {row.size} {row.type} {row.uuid or '-'} {row.filesystem or '-'} {row.fs_uuid or '-'}"
        for row in layout.before
    ]
    saw = f"{count(layout.before)} in a table of the kind {table.label}" if table else "no partition table"
    if layout.before_contents:
        saw += f", {', '.join(layout.before_contents)} on the disk itself"
    return conditions.holds(
        f"The disk still holds what the spec erases: {saw}",
        "disk/disk-holds",
        layout.table_id,
        stdin=("".join(f"{line}\n" for line in lines),),
        by_hand=inspect.surveyed(layout),
        otherwise="Stop: this is another disk, or it was used since the survey. Look what is on it; if all of it may "
        "go, take a new survey and compile again.",
    )


def _only_known(layout: Layout) -> Check:
    known = dict.fromkeys(part.uuid for part in (*layout.before, *layout.partitions))
    return conditions.holds(
        "The table has the rows of the survey, and no others",
        "disk/table-has-only",
        *known,
        by_hand=inspect.only_known(known),
        otherwise="Stop: a partition was added since the survey, by the other system or by somebody else. Find out "
        "what is on it; then take a new survey and compile again.",
    )


def _kept_guard(part: LaidPartition, layout: Layout) -> Check:
    if part.shrunk_from:
        return shrunk_checks(part, layout)[0]
    return conditions.holds(
        f"{part.name} lies where the survey saw it",
        "disk/partition-is",
        part.uuid,
        str(part.start),
        str(part.size),
        part.type,
        by_hand=inspect.row(part),
        otherwise="Stop: the table has changed since the survey. Take a new survey and compile again.",
    )


def clean_guard(part: LaidPartition) -> Check:
    """The other system was shut down so that its volume can be read."""
    return conditions.holds(
        f"{part.name} was shut down fully: neither hibernated nor left open",
        "disk/ntfs-is-clean",
        part.uuid,
        by_hand=inspect.ntfs_clean(part),
        otherwise="Start the other system, switch fast start off (`powercfg /h off`), restart it once, shut it down. "
        "Never force it from here.",
    )


def _alone() -> Check:
    """Only a table lies on the disk itself: no record of an array, no older use."""
    return conditions.holds(
        "Nothing but its partition table lies on the disk itself, at its ends either",
        "disk/disk-bears-only",
        "gpt",
        "PMBR",
        by_hand=inspect.only_a_table(),
        otherwise="Stop: the disk belongs to an array, a group or a pool, or an older use of it left its mark. Nothing "
        "may be written to it before a person knows which (`wipefs` without options lists the marks).",
    )


def twins_guard(layout: Layout) -> Check:
    """No copy of this disk, and nothing with a name of ours, is on the machine."""
    ours = [part for part in layout.partitions if part.new]
    brought = [
        *(f"part {part.uuid.lower()}" for part in ours),
        *(f"uuid {uuid.lower()}" for part in ours for uuid in (part.fs_uuid, part.luks_uuid) if uuid),
        *(f"label {part.fs_label}" for part in ours if part.fs_label),
        *([f"disk {layout.table_id.lower()}"] if layout.whole_disk else []),
    ]
    return conditions.holds(
        "Every identifier on the disks of this machine is there once, and none of the new ones is in use",
        "disk/no-twins",
        "new" if layout.whole_disk else "keep",
        stdin=("".join(f"{line}\n" for line in brought),),
        by_hand=inspect.no_twins(),
        otherwise="Stop: switch the machine off and unplug the copied disk, or whatever has the same name. With both "
        "there, one can be taken for the other, now and at each start.",
    )


def used_guards(layout: Layout) -> Iterator[Check]:
    """What the table of file systems and the loader's menu name by UUID is still what the survey saw."""
    for part in kept_parts(layout):
        if part.fs_uuid and (part.mount or part.later_mount or part.role == "esp"):
            yield conditions.holds(
                f"{part.name} still holds {part.filesystem} with the UUID of the survey, {part.fs_uuid}",
                "disk/partition-holds",
                part.uuid,
                part.filesystem,
                part.fs_uuid,
                by_hand=inspect.holds(part),
                otherwise="Stop: it was formatted since the survey, or this is another disk. Take a new survey and "
                "compile again.",
            )


def unused_guard() -> Check:
    """Nobody uses the disk."""
    return conditions.holds(
        "Nothing on the disk is mounted, used as swap or held by another layer",
        "disk/disk-is-unused",
        by_hand=inspect.unused(),
        otherwise="Unmount it, switch the swap off, stop arrays and volume groups; or start the medium again without "
        "automatic mounting.",
    )


def room_guard(part: LaidPartition) -> Check:
    """The sectors of a new partition are in no other one."""
    return conditions.holds(
        f"Nothing lies where {part.name} goes",
        "disk/room-is-free",
        str(part.start),
        str(part.end),
        part.uuid,
        by_hand=inspect.room_is_free(part),
        otherwise="Stop: the table has changed since the survey. Take a new survey and compile again.",
    )


def earlier_guards(made: list[LaidPartition]) -> tuple[Check, ...]:
    """An installed machine is not made anew because a size in its spec has changed."""
    return tuple(
        conditions.holds(
            f"{part.name} is not there yet from an earlier plan",
            "disk/partition-may-be-made",
            part.uuid,
            str(part.start),
            str(part.size),
            part.type,
            by_hand=inspect.not_there(part),
            otherwise="The machine was installed from another plan. To install anew and lose what is on it, take that "
            "installation back first with the script it was made with (`--undo` deletes its own partitions only), "
            "then compile and begin again.",
        )
        for part in made
    )


def added_guard(made: list[LaidPartition]) -> Check:
    """A row of an installed machine that is lacking is not made anew: what lay in it may still be there."""
    return conditions.holds(
        "No row is lacking beside a finished one",
        "disk/rows-may-be-added",
        *(word for part in made for word in (part.uuid, part.mark)),
        by_hand=inspect.none_finished(made),
        otherwise="Stop: if somebody deleted the row, nothing of it is lost yet: put it back from the saved table, "
        "with the same start, size, type, GUID and name. If the spec has grown, `bedplate diff` makes the change.",
    )


def remade_guard(layout: Layout, made: list[LaidPartition]) -> Check:
    """A table of our own is made again only as long as nothing in it was ever finished."""
    return conditions.holds(
        "The disk has no finished partition of this plan",
        "disk/table-is-unfinished",
        layout.table_id,
        *(part.uuid for part in made),
        by_hand=inspect.none_finished(made),
        otherwise="Stop: this machine was installed with this very plan, and its table was changed since. Mend the "
        "table, or have it mended; nothing is lost as long as nothing is made anew. To install anew and lose what is "
        "on it, raise `generation` in the spec, take a new survey and compile again.",
    )


def whole(layout: Layout, early: bool = True) -> Check:
    """Table, its copy and protective MBR as the UEFI specification (5.2, 5.3) has them."""
    return conditions.holds(
        "Both copies of the partition table are in their places, behind a plain protective MBR",
        "disk/table-is-whole",
        str(layout.size_bytes),
        str(layout.sector_size),
        early=early,
        by_hand=inspect.whole(),
        otherwise="The disk was enlarged or copied, carries two kinds of table, or a boot flag: have it mended first.",
    )
