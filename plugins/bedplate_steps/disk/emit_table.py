"""The partition table: find the disk, append the new rows (or make a new table), compare with the table of before.

Enters: section, machine and layout. Leaves: actions of the stage `live`, and the one that carries the saved table over.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import build, conditions
from bedplate.actions import Action, Argv, Call, Check, Disk, Does, InTarget, Milestone, Run, Stage, Touch, WayBack
from bedplate.facts import LaidPartition, Layout, copies_folder
from bedplate.spec import Machine
from bedplate.units import in_gib
from bedplate_steps.disk import inspect, kept_linux
from bedplate_steps.disk.emit_copies import copies
from bedplate_steps.disk.emit_other_system import shrunk_checks
from bedplate_steps.disk.guards import (
    added_guard,
    clean_guard,
    count,
    disk_guards,
    earlier_guards,
    kept_parts,
    ready_guards,
    remade_guard,
    room_guard,
    twins_guard,
    unused_guard,
    used_guards,
    whole,
)
from bedplate_steps.disk.model import DiskSection

SAVED = "/var/lib/bedplate/table-before.dump"
"""Where the installed system keeps the partition table of before."""


def table_actions(section: DiskSection, machine: Machine, layout: Layout) -> Iterator[Action]:
    """From the first look at the disk to the new rows."""
    yield _identify(layout)
    yield copies(machine, layout)
    yield _make(section, layout) if layout.whole_disk else _append(section, layout)


def new_parts(layout: Layout) -> list[LaidPartition]:
    """The new partitions in the order of their numbers, which is the order of the spec."""
    return sorted((part for part in layout.partitions if part.new), key=lambda part: part.number)


def table_script(layout: Layout) -> str:
    """The rows of the new partitions as sfdisk(8) reads them, with start and size always given, in sectors, and named
    as unfinished: they get their names when what belongs on them is made (see `content.finish`).

    A header that names the label stands only before a new table: with it, sfdisk makes the table anew.
    """
    head = f"label: gpt\nlabel-id: {layout.table_id}\n" if layout.whole_disk else ""
    return head + "".join(
        f'start={part.start}, size={part.size}, type={part.type}, uuid={part.uuid}, name="{part.mark}"'
        f"{kept_linux.attributes(part, layout.partitions)}\n"
        for part in new_parts(layout)
    )


def _identify(layout: Layout) -> Action:
    clean = [part for part in kept_parts(layout) if part.filesystem == "ntfs" and part.role in ("system", "data")]
    shrunk = [check for part in clean if part.shrunk_from for check in shrunk_checks(part, layout)[1:]]
    prepared = ["prepared:backup"]
    if layout.other_systems:
        prepared.append("prepared:shut-down")
    return Action(
        id="disk.identify",
        title="Make sure that this is the right disk",
        reason="Kernel names such as sda move between starts; the disk is known by what it is and by what is on it.",
        stage=Stage.LIVE,
        operations=(Run(argv=("lsblk", "-o", "NAME,SIZE,MODEL,SERIAL,PARTTYPENAME,FSTYPE,LABEL,MOUNTPOINT", Disk())),),
        needs=(
            "tool:sfdisk",
            "tool:lsblk",
            "tool:od",
            "tool:blkid",
            "tool:wipefs",
            *(f"tool:{tool}" for tool in kept_linux.tools(kept_parts(layout))),
            *(("tool:ntfs-3g.probe",) if clean else ()),
            *prepared,
        ),
        gives=("disk:identified", *(f"partition:{part.name}" for part in kept_parts(layout))),
        guards=(
            *disk_guards(layout),
            twins_guard(layout),
            *ready_guards(),
            *shrunk,
            *used_guards(layout),
            *(clean_guard(part) for part in clean),
            *kept_linux.guards(kept_parts(layout)),
        ),
        expected=f"{layout.disk_words}, with the partitions of the survey and nothing mounted.",
        trouble="If the disk is missing: a RAID or VMD mode of the firmware may hide it. Do not switch that mode here: "
        "the other system may not start any more.",
        changes=False,
    )


def _append(section: DiskSection, layout: Layout) -> Action:
    made = new_parts(layout)
    uuids: Argv = tuple(part.uuid for part in made)
    numbers = " ".join(str(part.number) for part in made)
    return Action(
        id="disk.append-partitions",
        title=f"Append {count(made)} to the partition table",
        reason="Appending leaves every row that is there as it is. Start and size are given in sectors, so that a "
        "clash is an error and not a smaller partition.",
        stage=Stage.LIVE,
        operations=(
            Call(
                verb="disk/append-partitions",
                args=uuids,
                stdin=(table_script(layout),),
                by_hand=(
                    "sfdisk --append --wipe-partitions always \"$DISK\" <<'ROWS'",
                    *table_script(layout).splitlines(),
                    "ROWS",
                    "udevadm settle",
                ),
            ),
        ),
        needs=(Milestone.COPIES_SAVED, "tool:sfdisk", "tool:partx", "tool:lsblk", "tool:dd"),
        gives=("disk:partitioned", *(f"partition:{part.name}" for part in made)),
        guards=(
            *disk_guards(layout),
            unused_guard(),
            *(room_guard(part) for part in made),
            *earlier_guards(made),
            added_guard(made),
        ),
        proofs=_row_proofs(made, layout),
        way_back=WayBack(
            note="The new partitions are deleted by their GUIDs, with all that is on them; the kept ones stay.",
            operations=(
                Call(
                    verb="disk/delete-partitions",
                    args=uuids,
                    by_hand=(
                        *inspect.ours(made),
                        f"# Go on only if both show {count(made)}, and the first exactly the numbers {numbers} (each "
                        "at the end of its name). One that the second does not show is mounted, in use, or holds what "
                        "was not made here: leave it, and leave its number out. What is on the others is lost:",
                        f'sfdisk --delete "$DISK" {numbers}',
                    ),
                ),
            ),
        ),
        cautions=("Without --append, sfdisk replaces the whole table and asks no question.",),
        touches=tuple(appended(part) for part in made),
        expected=_rows_in_words(made, layout),
        trouble="If the kernel does not take the new table, something on the disk is in use: start the medium again.",
    )


def appended(part: LaidPartition) -> Touch:
    """The line of a new row."""
    room = f"zeros to both ends of its room, sectors {part.start}-{part.end}"
    return Touch(does=Does.WRITES, what=f"the row of {part.name} into the partition table, and {room}")


def _make(section: DiskSection, layout: Layout) -> Action:
    made = new_parts(layout)
    uuids: Argv = tuple(part.uuid for part in made)
    says = f"The disk has the new table {layout.table_id}"
    return Action(
        id="disk.make-table",
        title=f"Make a new partition table with {count(made)}",
        reason="The whole disk is for the new system.",
        stage=Stage.LIVE,
        operations=(
            Call(
                verb="disk/make-table",
                args=uuids,
                stdin=(table_script(layout),),
                by_hand=(
                    "sfdisk --wipe always --wipe-partitions always \"$DISK\" <<'TABLE'",
                    *table_script(layout).splitlines(),
                    "TABLE",
                    "udevadm settle",
                ),
            ),
        ),
        needs=(Milestone.COPIES_SAVED, "tool:sfdisk", "tool:partx", "tool:lsblk", "tool:dd"),
        gives=("disk:partitioned", *(f"partition:{part.name}" for part in made)),
        guards=(*disk_guards(layout), unused_guard(), *earlier_guards(made), remade_guard(layout, made)),
        proofs=(
            conditions.holds(says, "disk/table-is", layout.table_id, str(layout.first_lba), str(layout.last_lba)),
            *_row_proofs(made, layout),
        ),
        way_back=WayBack(
            note="It cannot be undone: the saved table brings back the old rows, not what was on them.", possible=False
        ),
        cautions=(f"EVERYTHING on this disk is lost: {layout.disk_words}.",),
        touches=(Touch(does=Does.DELETES, what=f"EVERYTHING on the disk {layout.disk_words}"),),
        expected=_rows_in_words(made, layout),
        trouble="If the kernel does not take the new table, something on the disk is in use: start the medium again.",
    )


def _row_proofs(made: list[LaidPartition], layout: Layout) -> tuple[Check, ...]:
    rows = [(part.uuid, str(part.start), str(part.size), part.type) for part in made]
    sound = conditions.holds(
        "Both copies of the partition table are whole and say the same",
        "disk/table-is-sound",
        early=False,
        by_hand=inspect.whole()[:1],
    )
    return (
        *(
            conditions.holds(
                f"{part.name} is in the table as planned",
                "disk/partition-is",
                *row,
                early=False,
                by_hand=inspect.row(part),
            )
            for part, row in zip(made, rows, strict=True)
        ),
        sound,
        whole(layout, early=False),
    )


def _rows_in_words(made: list[LaidPartition], layout: Layout) -> str:
    rows = [f"{part.name} ({in_gib(part.size * layout.sector_size)}, sectors {part.start}-{part.end})" for part in made]
    return "New in the table: " + "; ".join(rows) + "."


def carry_over(machine: Machine, layout: Layout) -> Action:
    """The table of before into the target, once the base system is there."""
    return Action(
        id="disk.keep-saved-table",
        title="Keep the partition table of before in the new system",
        reason="The machine itself should remember what its disk looked like before.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="disk/copy-saved-table",
                args=(InTarget(SAVED),),
                by_hand=(f"install -D -m 600 {copies_folder(machine.name)}/table.dump /mnt/target{SAVED}",),
            ),
        ),
        needs=("base", Milestone.COPIES_SAVED),
        gives=(f"file:{SAVED}",),
        proofs=(
            conditions.holds(f"{SAVED} is there", "disk/is-there", InTarget(SAVED), early=False),
            conditions.file_mode_is(SAVED, 0o600),
        ),
        leaves=(f"The partition table of before: {SAVED} in the new system.",),
        upkeep=("The other system may show the new partitions as unknown and offer to format them: always decline.",)
        if layout.other_systems
        else (),
        way_back=build.goes_with_root("The file goes with the root partition."),
    )


def check_kept(machine: Machine, layout: Layout) -> Action:
    """Looks once more at every row that is not ours. The audit leaves it out: another system changes its own later."""
    ours = ("-", *(part.uuid for part in new_parts(layout)))
    return Action(
        id="disk.check-kept",
        title="Check that no foreign row of the partition table has changed",
        reason="Kept means kept: compared with the table as it was saved before the first write.",
        stage=Stage.TARGET,
        operations=(),
        needs=("disk:partitioned", f"file:{SAVED}", "stage:target"),
        gives=("disk:kept",),
        proofs=(
            conditions.holds(
                "Every row of before is in the table: start, size, type, GUID, name and attributes",
                "disk/table-is-kept",
                InTarget(SAVED),
                *ours,
                early=False,
            ),
            whole(layout, early=False),
        ),
        changes=False,
        transient=True,
        trouble=f"Do not restart yet. Compare sfdisk --dump with {copies_folder(machine.name)}/table.dump, and put "
        "back what differs; the rescue sheet says how.",
    )
