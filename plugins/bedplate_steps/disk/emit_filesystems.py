"""What goes on the new partitions: encrypted containers, file systems, subvolumes.

Enters: the layout. Leaves: actions of the stage `live`. A kept partition never comes near these.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bedplate import conditions
from bedplate.actions import Action, Call, Check, Does, Milestone, Secret, SecretRef, Stage, Touch, WayBack
from bedplate.facts import LaidPartition, Layout
from bedplate.units import in_gib
from bedplate_steps.disk import inspect
from bedplate_steps.disk.emit_table import new_parts
from bedplate_steps.disk.partition_types import FILESYSTEMS, LUKS_LABEL

PASSPHRASE = Secret(name="disk-passphrase", prompt="Passphrase of the encrypted partitions", min_length=8)
"""One for all containers, so that it is typed once at every start (systemd keeps it for the next container)."""


def gone(part: LaidPartition) -> WayBack:
    """The way back of whatever lies on a new partition only."""
    note = "It goes with the partition: the way back of the partition table deletes it."
    return WayBack(note=note, goes_with=f"partition:{part.name}")


def content_actions(layout: Layout) -> Iterator[Action]:
    """For each new partition: container, file system, subvolumes. Swap first: what follows once the root is mounted,
    the packages before all, is to have its memory already."""
    made = sorted(new_parts(layout), key=lambda part: part.filesystem != "swap")
    for part in made:
        if part.mapper:
            yield _container(part, layout)
            yield _open(part)
        yield _filesystem(part, layout)
        if part.subvolumes:
            yield _subvolumes(part)
    if made:
        yield finish("disk.finish-partitions", new_parts(layout))


def where(part: LaidPartition) -> str:
    """How the runtime verbs find what holds the file system: by partition GUID, or the opened container."""
    return f"/dev/mapper/{part.mapper}" if part.mapper else part.uuid


def tokens(part: LaidPartition) -> tuple[str, ...]:
    """The `filesystem:` tokens of a partition: by mount point, or by name for swap and what is mounted nowhere."""
    points = [volume.mount for volume in part.subvolumes] or ([part.mount] if part.mount else [])
    return tuple(f"filesystem:{point}" for point in points) or (f"filesystem:{part.name}",)


def ready_token(part: LaidPartition) -> str:
    """The token of an opened container, in the step's own kind."""
    return f"disk:open-{part.name}"


def container_label(part: LaidPartition) -> str:
    """Label of the container: the partition's name, never more than the header holds."""
    return part.name[:LUKS_LABEL]


def _own_guards(part: LaidPartition, layout: Layout, inside: bool = False) -> tuple[Check, ...]:
    """The disk's identity once more, the row of the table, and the kernel's own idea of that partition. `inside`: the
    work is done in the opened container."""
    numbers = (layout.serial, str(layout.size_bytes), str(layout.sector_size))
    return (
        conditions.holds(
            f"The disk is still {layout.disk_words}",
            "disk/disk-is",
            *numbers,
            early=False,
            by_hand=inspect.the_disk(layout),
            otherwise="Stop: the disk of the plan is not there any more. Take no other one for it.",
        ),
        conditions.holds(
            f"{part.name} is our own partition, where planned",
            "disk/partition-is",
            part.uuid,
            str(part.start),
            str(part.size),
            part.type,
            early=False,
            by_hand=inspect.row(part),
            otherwise="Stop: the table is not as planned.",
        ),
        conditions.holds(
            f"The kernel has {part.name} where the table has it, and nothing uses it",
            "disk/partition-is-idle",
            part.uuid,
            *((part.mapper,) if inside else ()),
            early=False,
            by_hand=inspect.idle(part, layout.sector_size),
            otherwise="If it is mounted or held by another layer, end that. If the kernel still has an older table, "
            "start the live medium again, and begin again with its first action (the script: run it again).",
        ),
    )


def _unfinished(part: LaidPartition, on: str, kind: str, uuid: str, label: str) -> Check:
    """Tried before the first write. Finished is finished: a changed wish is a change, and no reason to make it anew."""
    return conditions.holds(
        f"{part.name} is not finished yet: its row still has the name {part.mark}",
        "disk/is-unfinished",
        part.uuid,
        part.mark,
        on,
        kind,
        uuid,
        label,
        by_hand=inspect.named(part, part.mark),
        otherwise="Stop: what has once been finished is never made anew by a rerun. Nothing there may be formatted.",
    )


def _empty_guard(part: LaidPartition, on: str, kind: str, uuid: str) -> Check:
    return conditions.holds(
        f"{part.name} is unfinished, and holds nothing, or only what is to be made there",
        "disk/may-format",
        on,
        kind,
        uuid,
        part.uuid,
        part.mark,
        early=False,
        by_hand=inspect.blank(part, on),
        otherwise="Stop: something else lies there. Look at it with `blkid -p` and `wipefs` before anything else.",
    )


def _container(part: LaidPartition, layout: Layout) -> Action:
    label = container_label(part)
    return Action(
        id=f"disk.encrypt-{part.name}",
        title=f"Make the encrypted container on {part.name}",
        reason="What is on this partition shall be readable only with the passphrase.",
        stage=Stage.LIVE,
        operations=(
            Call(
                verb="disk/make-container",
                args=(part.uuid, part.luks_uuid, label),
                stdin=(SecretRef(PASSPHRASE.name),),
                by_hand=(
                    "# It asks for YES in capital letters, then twice for the passphrase: the same one on every "
                    "encrypted partition of this machine.",
                    f"cryptsetup luksFormat --type luks2 --uuid {part.luks_uuid} --label {label} {part.node}",
                ),
            ),
        ),
        needs=(
            f"partition:{part.name}",
            Milestone.KEYMAP_LOADED,
            "tool:cryptsetup",
            "tool:blkid",
            "tool:wipefs",
            "tool:lsblk",
        ),
        gives=(f"disk:container-{part.name}",),
        guards=(
            _unfinished(part, part.uuid, "crypto_LUKS", part.luks_uuid, label),
            *_own_guards(part, layout),
            _empty_guard(part, part.uuid, "crypto_LUKS", part.luks_uuid),
        ),
        proofs=(
            conditions.holds(
                f"{part.name} is an encrypted container with its own UUID",
                "disk/filesystem-is",
                part.uuid,
                "crypto_LUKS",
                part.luks_uuid,
                label,
                early=False,
            ),
        ),
        way_back=gone(part),
        secrets=(PASSPHRASE,),
        cautions=("Without the passphrase everything on this partition is lost. Keep it where you keep such things.",),
        touches=(_formats(part, layout, "an encrypted container"),),
    )


def _open(part: LaidPartition) -> Action:
    opening = Call(
        verb="disk/open-container",
        args=(part.uuid, part.mapper),
        stdin=(SecretRef(PASSPHRASE.name),),
        by_hand=(f"cryptsetup open {part.node} {part.mapper}",),
    )
    return Action(
        id=f"disk.open-{part.name}",
        title=f"Open the encrypted container on {part.name}",
        reason="What is kept on this partition lies inside it.",
        stage=Stage.LIVE,
        operations=(opening,),
        needs=(f"disk:container-{part.name}", "tool:cryptsetup"),
        gives=(ready_token(part),),
        proofs=(
            conditions.holds(
                f"The container on {part.name} is open as /dev/mapper/{part.mapper}",
                "disk/container-is-open",
                part.uuid,
                part.mapper,
                early=False,
            ),
        ),
        way_back=WayBack(
            note="It is closed when nothing inside it is mounted any more.",
            operations=(
                Call(
                    verb="disk/close-target",
                    args=(f"container:{part.mapper}",),
                    by_hand=(f"cryptsetup close {part.mapper}",),
                ),
            ),
        ),
        secrets=(PASSPHRASE,),
        transient=True,
        peek=(opening,),
        trouble="If the passphrase is refused, it was typed on another keyboard layout: check the keymap.",
    )


def _filesystem(part: LaidPartition, layout: Layout) -> Action:
    kind = part.filesystem
    what = "swap area" if kind == "swap" else f"{kind} file system"
    tools = (FILESYSTEMS[kind].tool, FILESYSTEMS[kind].namer, "blkid", "wipefs", "lsblk")
    return Action(
        id=f"disk.format-{part.name}",
        title=f"Make the {what} on {part.name}",
        reason=f"{part.name} ({in_gib(part.size * layout.sector_size)}) is new. Its UUID is computed, so that the "
        "table of file systems and the boot loader can name it already.",
        stage=Stage.LIVE,
        operations=(
            Call(
                verb="disk/make-filesystem",
                args=(where(part), kind, part.fs_uuid, part.fs_label),
                by_hand=(by_hand(part),),
            ),
        ),
        needs=(ready_token(part) if part.mapper else f"partition:{part.name}", *(f"tool:{tool}" for tool in tools)),
        gives=tokens(part),
        guards=(
            _unfinished(part, where(part), kind, part.fs_uuid, part.fs_label),
            *_own_guards(part, layout, inside=bool(part.mapper)),
            _empty_guard(part, where(part), kind, part.fs_uuid),
        ),
        proofs=(
            conditions.holds(
                f"{part.name} holds {kind} with UUID {part.fs_uuid}" + f", label {part.fs_label}" * bool(part.fs_label),
                "disk/filesystem-is",
                where(part),
                kind,
                part.fs_uuid,
                part.fs_label,
                early=False,
            ),
        ),
        way_back=gone(part),
        touches=(_formats(part, layout, what),),
    )


def _formats(part: LaidPartition, layout: Layout, what: str) -> Touch:
    size = in_gib(part.size * layout.sector_size)
    where_it_is = f"the inside of {part.mapper}, " if part.mapper and "container" not in what else ""
    return Touch(does=Does.FORMATS, what=f"{where_it_is}the new partition {part.name} ({size}): {what}")


def by_hand(part: LaidPartition) -> str:
    """The command a person types to make the file system."""
    label, uuid, node = part.fs_label, part.fs_uuid, part.content_node
    option = {"vfat": "-n", "swap": "-L"}.get(part.filesystem, "-L")
    named = f" {option} '{label}'" if label else ""
    commands = {
        # Later tools than those of the new system may set more: its checker and its loader would stop there.
        "ext4": f"mkfs.ext4 -O ^metadata_csum_seed,^orphan_file -U {uuid}{named} {node}",
        "xfs": f"mkfs.xfs -m uuid={uuid}{named} {node}",
        "btrfs": f"mkfs.btrfs -U {uuid}{named} {node}",
        "vfat": f"mkfs.fat -F 32 -i {uuid.replace('-', '')}{named} {node}",
        "swap": f"mkswap -U {uuid}{named} {node}",
    }
    return commands[part.filesystem]


def _subvolumes(part: LaidPartition) -> Action:
    names = tuple(volume.name for volume in part.subvolumes)
    return Action(
        id=f"disk.subvolumes-{part.name}",
        title=f"Make the subvolumes {', '.join(names)} on {part.name}",
        reason="Each is mounted at a place of its own and can be snapshotted by itself.",
        stage=Stage.LIVE,
        operations=(
            Call(
                verb="disk/make-subvolumes",
                args=(where(part), *names),
                by_hand=(
                    f"mount -o subvolid=5 {part.content_node} /mnt",
                    *(f"btrfs subvolume create /mnt/{name}" for name in names),
                    "umount /mnt",
                ),
            ),
        ),
        needs=(*tokens(part), "tool:btrfs"),
        gives=(f"disk:subvolumes-{part.name}",),
        guards=(_unfinished(part, where(part), part.filesystem, part.fs_uuid, part.fs_label),),
        proofs=(
            conditions.holds(
                f"{part.name} has its subvolumes", "disk/subvolumes-are", where(part), *names, early=False
            ),
        ),
        way_back=gone(part),
    )


def finished_token(part: LaidPartition) -> str:
    """The token of a partition on which everything is made and proved, in the step's own kind."""
    return f"disk:finished-{part.name}"


def finish(name: str, made: Sequence[LaidPartition], stage: Stage = Stage.LIVE) -> Action:
    """The rows get their planned names. From then on no script makes anything on these partitions again."""
    words = " and ".join(part.name for part in made) if len(made) < 3 else f"the {len(made)} new partitions"
    contents = [f"disk:subvolumes-{part.name}" for part in made if part.subvolumes]
    return Action(
        id=name,
        title=f"Mark {words} as finished",
        reason="Until now their rows were called unfinished. Under its planned name a partition is never formatted, "
        "encrypted or emptied again, neither by a rerun nor by a newer script.",
        stage=stage,
        operations=(
            Call(
                verb="disk/finish-partitions",
                args=tuple(word for part in made for word in (part.uuid, part.mark, part.gpt_name)),
                by_hand=tuple(
                    f"sfdisk --no-reread --part-label \"$DISK\" {part.number} '{part.gpt_name}'" for part in made
                ),
            ),
        ),
        needs=(
            *(token for part in made for token in tokens(part)),
            *contents,
            "tool:sfdisk",
            "tool:partx",
            "tool:lsblk",
        ),
        gives=tuple(finished_token(part) for part in made),
        guards=tuple(
            conditions.holds(
                f"The row of {part.name} has the name that it was made with, or its planned one",
                "disk/row-is-ours",
                part.uuid,
                part.mark,
                part.gpt_name,
                by_hand=inspect.named(part, part.mark, part.gpt_name),
                otherwise=f"Somebody renamed the row. If it is {part.name} all the same, name it back: "
                f"sfdisk --part-label, the number of the partition, {part.gpt_name}.",
            )
            for part in made
        ),
        proofs=tuple(
            conditions.holds(
                f"The row of {part.name} is as planned, and named {part.gpt_name}",
                "disk/partition-is",
                part.uuid,
                str(part.start),
                str(part.size),
                part.type,
                part.gpt_name,
                early=False,
                by_hand=inspect.named(part, part.gpt_name),
            )
            for part in made
        ),
        touches=(Touch(does=Does.WRITES, what=f"the final name of {words} into the partition table"),),
        way_back=WayBack(note="The names go with the rows of the table.", goes_with=f"partition:{made[0].name}"),
    )
