"""Work on the partitions of a running machine: a new one in free space, and one that grows with its file system.

Enters: partitions of the layout. Leaves: actions rooted at `/`. No row of the table is moved, and none is deleted but
what this made.
"""

from __future__ import annotations

from collections.abc import Iterator

from attrs import evolve

from bedplate import conditions
from bedplate.actions import Action, Call, Check, Does, Stage, Touch, WayBack
from bedplate.facts import LaidPartition
from bedplate.hookspecs import Side
from bedplate_steps.disk import inspect
from bedplate_steps.disk.emit_filesystems import finish, finished_token, where
from bedplate_steps.disk.emit_table import appended

GROWABLE = ("ext4", "xfs", "btrfs")
"""What grows while it is mounted: resize2fs(8), xfs_growfs(8), btrfs-filesystem(8)."""

_TOOLS = {"ext4": ("resize2fs", "dumpe2fs"), "xfs": ("xfs_growfs", "xfs_info"), "btrfs": ("btrfs",)}


def grow_actions(was: LaidPartition, now: LaidPartition, sector_size: int) -> tuple[Action, ...]:
    """The partition gets its new end, then the file system fills it."""
    return _grow_partition(was, now, sector_size), _grow_filesystem(now, sector_size)


def _is(part: LaidPartition, says: str, early: bool) -> Check:
    row = (part.uuid, str(part.start), str(part.size), part.type)
    return conditions.holds(
        says,
        "disk/partition-is",
        *row,
        early=early,
        otherwise="Stop: the partition table is not what the old spec says.",
    )


def _room(part: LaidPartition) -> Check:
    return conditions.holds(
        f"No other partition lies where {part.name} goes",
        "disk/room-is-free",
        str(part.start),
        str(part.end),
        part.uuid,
        otherwise="Stop: the table has changed.",
    )


def _behind(was: LaidPartition, now: LaidPartition, sector_size: int) -> Check:
    """A row that was deleted takes nothing of what lay in it along."""
    return conditions.holds(
        f"Nothing is left of another partition in the room behind {now.name}",
        "disk/place-is-blank",
        str(was.end + 1),
        str(now.end),
        by_hand=inspect.place_is_blank(was.end + 1, now.end, sector_size),
        otherwise="Stop: a partition whose row somebody deleted may lie there, whole. Put its row back, or erase what "
        "may go for good.",
    )


def _grow_partition(was: LaidPartition, now: LaidPartition, sector_size: int) -> Action:
    return Action(
        id=f"disk.grow-{now.name}",
        title=f"Move the end of the partition {now.name}",
        reason="The space behind it is free; its beginning and what is in it stay where they are.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="disk/grow-partition",
                args=(now.uuid, str(now.start), str(now.size)),
                by_hand=(
                    f"echo ',{now.size}' | sfdisk --no-reread -N {now.number} \"$DISK\"",
                    'partx --update "$DISK"',
                ),
            ),
        ),
        needs=("tool:sfdisk", "tool:partx", "tool:lsblk", "tool:blkid"),
        gives=(f"partition:{now.name}",),
        guards=(
            _is(was, f"{now.name} lies where the old spec put it", True),
            _room(now),
            _behind(was, now, sector_size),
        ),
        proofs=(_is(now, f"{now.name} has its new end", False),),
        way_back=WayBack(
            note="A file system in use is not made smaller: from a live medium, the file system first, then its "
            "partition (xfs not at all).",
            possible=False,
        ),
        cautions=("Have a backup: a power cut while the table is written is mended by running this again.",),
        touches=(Touch(does=Does.WRITES, what=f"the new end of {now.name} into the partition table"),),
    )


def _grow_filesystem(part: LaidPartition, sector_size: int) -> Action:
    point = part.mount or next((volume.mount for volume in part.subvolumes if volume.mount), "/")
    words = (where(part), part.filesystem, point)
    typed = {
        "ext4": f"resize2fs {part.node}",
        "xfs": f"xfs_growfs {point}",
        "btrfs": f"btrfs filesystem resize max {point}",
    }
    return Action(
        id=f"disk.fill-{part.name}",
        title=f"Let the file system on {part.name} fill its partition",
        reason="A longer partition alone gives no room.",
        stage=Stage.TARGET,
        operations=(Call(verb="disk/grow-filesystem", args=words, by_hand=(typed[part.filesystem],)),),
        needs=(f"partition:{part.name}", *(f"tool:{tool}" for tool in _TOOLS[part.filesystem])),
        proofs=(
            conditions.holds(
                f"The kernel has {part.name} where the table has it",
                "partition-is-ready",
                part.uuid,
                early=False,
                by_hand=inspect.size(part, sector_size),
                otherwise="Start the machine again, then run this again.",
            ),
            conditions.holds(
                f"The file system on {part.name} fills its partition", "disk/filesystem-fills", *words, early=False
            ),
        ),
        way_back=WayBack(note="A file system in use is not made smaller.", possible=False),
    )


# --- a new partition -------------------------------------------------------------------------------------------------


def add_actions(part: LaidPartition, new: Side) -> Iterator[Action]:
    """Row, file system or swap area, its name, and its use."""
    yield _add(part)
    made = new.actions[f"disk.format-{part.name}"]
    yield evolve(made, stage=Stage.TARGET, needs=tuple(token for token in made.needs if not token.startswith("disk:")))
    yield finish(f"disk.finish-{part.name}", [part], Stage.TARGET)
    if part.filesystem == "swap":
        yield _use_swap(part)
    elif part.mount:
        yield _mount(part)


def _add(part: LaidPartition) -> Action:
    row = f'start={part.start}, size={part.size}, type={part.type}, uuid={part.uuid}, name="{part.mark}"\n'
    proof = conditions.holds(
        f"{part.name} is in the table as planned",
        "disk/partition-is",
        part.uuid,
        str(part.start),
        str(part.size),
        part.type,
        early=False,
    )
    return Action(
        id=f"disk.add-{part.name}",
        title=f"Append the partition {part.name} to the table",
        reason="Appending leaves every row that is there as it is, in use or not.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="disk/add-partition",
                args=(part.uuid,),
                stdin=(row,),
                by_hand=(
                    "sfdisk --append --no-reread \"$DISK\" <<'ROW'",
                    row.rstrip(),
                    "ROW",
                    'partx --update "$DISK"',
                ),
            ),
        ),
        needs=("tool:sfdisk", "tool:partx", "tool:lsblk", "tool:dd"),
        gives=(f"partition:{part.name}",),
        guards=(
            _room(part),
            conditions.holds(
                f"{part.name} was not made by this very change and deleted since",
                "disk/row-was-not-made",
                part.uuid,
                otherwise="Stop: nothing of it is lost yet. Put the row back with the same start, size, type, GUID and "
                "name; do not make it anew.",
            ),
        ),
        proofs=(proof,),
        touches=(appended(part),),
        way_back=WayBack(
            note="The new partition is deleted by its GUID, with all that is on it.",
            operations=(
                Call(
                    verb="disk/drop-partition",
                    args=(part.uuid,),
                    by_hand=(f'sfdisk --delete --no-reread "$DISK" {part.number}',),
                ),
            ),
        ),
    )


def _use_swap(part: LaidPartition) -> Action:
    proof = conditions.holds(f"{part.name} is in use as swap", "disk/swap-is-on", where(part), early=False)
    return Action(
        id=f"disk.use-{part.name}",
        title=f"Use {part.name} as swap",
        reason="It is wanted from now on, not only from the next start.",
        stage=Stage.TARGET,
        operations=(Call(verb="disk/swap-on", args=(where(part),), by_hand=(f"swapon {part.node}",)),),
        needs=(finished_token(part), "tool:swapon"),
        proofs=(proof,),
        way_back=WayBack(
            note="It is switched off.",
            operations=(Call(verb="disk/swap-off", args=(where(part),), by_hand=(f"swapoff {part.node}",)),),
        ),
    )


def _mount(part: LaidPartition) -> Action:
    return Action(
        id=f"disk.use-{part.name}",
        title=f"Mount {part.name} at {part.mount}",
        reason="It is wanted from now on, not only from the next start.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="disk/mount-by-table",
                args=(part.mount,),
                by_hand=(f"mkdir -p {part.mount}", f"mount {part.mount}"),
            ),
        ),
        needs=(finished_token(part), "file:/etc/fstab", "tool:mount"),
        guards=(
            conditions.holds(
                f"{part.mount} holds nothing that the mount would hide",
                "disk/point-is-free",
                part.mount,
                where(part),
                otherwise="Move what is there away; after the mount, move it back.",
            ),
        ),
        proofs=(
            conditions.holds(
                f"{part.name} is mounted at {part.mount}", "is-mounted", where(part), part.mount, early=False
            ),
        ),
        way_back=WayBack(
            note="It is unmounted.",
            operations=(Call(verb="disk/unmount", args=(part.mount,), by_hand=(f"umount {part.mount}",)),),
        ),
    )
