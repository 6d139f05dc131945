"""Mounts below the target, swap, the tables of file systems and containers, and the closing of the target.

Enters: section and layout. Leaves: actions of the stages `live` and `target`. `mounts_of` is the one list of mounts
that the mounting and the fstab are both made from.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from attrs import evolve, frozen

from bedplate import build, conditions
from bedplate.actions import TARGET, Action, Call, Does, InTarget, Milestone, Stage, Touch, WayBack
from bedplate.facts import Family, LaidPartition, Layout
from bedplate.identity import derive
from bedplate.spec import Machine
from bedplate.units import MIB
from bedplate_steps.disk import inspect
from bedplate_steps.disk.emit_filesystems import finished_token, where
from bedplate_steps.disk.emit_table import new_parts
from bedplate_steps.disk.model import DiskSection

NOT_NOW = ("nofail", "noauto", "auto")
"""Options that only mean something in the table of file systems."""


@frozen(kw_only=True)
class Mount:
    """One mount: what, where, how."""

    part: LaidPartition
    point: str
    options: tuple[str, ...]
    subvolume: str = ""

    @property
    def live_options(self) -> str:
        """Options for mount(8) on the live medium."""
        subvolume = (f"subvol={self.subvolume}",) if self.subvolume else ()
        now = [option for option in self.options if option not in NOT_NOW and not option.startswith("x-")]
        return ",".join((*subvolume, *now)) or "defaults"

    @property
    def table_options(self) -> str:
        """Options for fstab(5)."""
        subvolume = (f"subvol={self.subvolume}",) if self.subvolume else ()
        return ",".join((*subvolume, *self.options)) or "defaults"


def mounts_of(layout: Layout) -> list[Mount]:
    """Every mount of the new system, parents before children."""
    found: list[Mount] = []
    for part in layout.partitions:
        if part.subvolumes:
            found.extend(
                Mount(part=part, point=volume.mount, options=(*part.options, *volume.options), subvolume=volume.name)
                for volume in part.subvolumes
            )
        elif part.mount or part.later_mount:
            found.append(Mount(part=part, point=part.mount or part.later_mount, options=_options(part)))
    return sorted(found, key=lambda mount: [piece for piece in mount.point.split("/") if piece])


def _options(part: LaidPartition) -> tuple[str, ...]:
    """The options of the spec; a FAT partition of the loader's without any is for root's eyes only."""
    private = part.role == "esp" or (part.role == "xbootldr" and part.filesystem == "vfat")
    return part.options or (("umask=0077",) if private else ())


def mounted_now(layout: Layout) -> list[Mount]:
    """The mounts made during the installation."""
    return [mount for mount in mounts_of(layout) if mount.part.mount]


def mounting_actions(layout: Layout) -> Iterator[Action]:
    """Mounts and swap on the live medium."""
    yield _mount(layout)
    swaps = [part for part in new_parts(layout) if part.filesystem == "swap"]
    if swaps:
        yield _swap_on(swaps)


def _mount(layout: Layout) -> Action:
    mounts = mounted_now(layout)
    needs = [_needed(mount) for mount in mounts]
    return Action(
        id="disk.mount",
        title=f"Mount the new system's file systems at {TARGET}",
        reason="Everything that is installed goes through these mounts; parents come before what lies inside them.",
        stage=Stage.LIVE,
        operations=tuple(
            Call(
                verb="disk/mount-in-target",
                args=(
                    where(mount.part),
                    InTarget(mount.point),
                    mount.part.filesystem,
                    mount.live_options,
                    mount.subvolume,
                ),
                by_hand=(
                    f"mkdir -p {TARGET}{mount.point.rstrip('/')}",
                    f"mount -t {mount.part.filesystem} -o {mount.live_options} {mount.part.content_node} "
                    f"{TARGET}{mount.point.rstrip('/')}",
                ),
            )
            for mount in mounts
        ),
        needs=(*dict.fromkeys(needs), "tool:blockdev", *(("tool:fsck.fat",) if layout.esp else ())),
        gives=("target:mounted", *(f"mount:{mount.point}" for mount in mounts)),
        guards=tuple(
            conditions.holds(
                f"Nothing else is mounted at {TARGET}{mount.point.rstrip('/')}",
                "disk/mount-point-is-free",
                where(mount.part),
                InTarget(mount.point),
                mount.subvolume,
                by_hand=inspect.mount_point_is_free(mount.point),
                otherwise="Look what it is and whose, and unmount it; or start the live medium again.",
            )
            for mount in mounts
        ),
        proofs=tuple(
            conditions.holds(
                f"{mount.part.name} is mounted at {mount.point} of the target",
                "is-mounted",
                where(mount.part),
                InTarget(mount.point),
                mount.subvolume,
                early=False,
            )
            for mount in mounts
        ),
        audits=tuple(
            conditions.holds(
                f"{mount.point} is on {mount.part.name}",
                "is-mounted",
                where(mount.part),
                InTarget(mount.point),
                mount.subvolume,
                early=False,
            )
            for mount in mounts_of(layout)
            if not {"noauto", "nofail"} & set(mount.options)
        ),
        way_back=WayBack(
            note="They are unmounted, from the inside out.",
            operations=(Call(verb="disk/close-target", by_hand=(f"umount --recursive {TARGET}",)),),
        ),
        transient=True,
        touches=tuple(
            Touch(does=Does.WRITES, what=f"the mark on the kept partition {mount.part.name} that it is mounted")
            for mount in mounts
            if not mount.part.new
        ),
        peek=(
            Call(verb="disk/close-target"),
            *(
                Call(
                    verb="disk/look-in-target",
                    args=(where(mount.part), InTarget(mount.point), mount.part.filesystem, mount.subvolume),
                )
                for mount in mounts
            ),
        ),
        expected=f"findmnt --submounts {TARGET} lists {', '.join(mount.point for mount in mounts)}.",
    )


def _needed(mount: Mount) -> str:
    if not mount.part.new:
        return f"partition:{mount.part.name}"
    return finished_token(mount.part)


def _swap_on(swaps: list[LaidPartition]) -> Action:
    return Action(
        id="disk.swap-on",
        title="Use the new swap during the installation",
        reason="Unpacking packages takes memory, and a live medium keeps its own files in memory too.",
        stage=Stage.LIVE,
        operations=tuple(
            Call(verb="disk/swap-on", args=(where(part),), by_hand=(f"swapon {part.content_node}",)) for part in swaps
        ),
        needs=(*(finished_token(part) for part in swaps), "tool:swapon"),
        gives=tuple(f"swap:{part.name}" for part in swaps),
        proofs=tuple(
            conditions.holds(f"{part.name} is in use as swap", "disk/swap-is-on", where(part), early=False)
            for part in swaps
        ),
        audits=tuple(
            conditions.holds(f"{part.name} is in use as swap", "disk/swap-is-on", where(part), early=False)
            for part in swaps
        ),
        way_back=WayBack(
            note="It is switched off.",
            operations=(
                Call(
                    verb="disk/close-target",
                    args=tuple(f"swap:{where(part)}" for part in swaps),
                    by_hand=tuple(f"swapoff {part.content_node}" for part in swaps),
                ),
            ),
        ),
        transient=True,
    )


# --- in the target -------------------------------------------------------------------------------------------------


def fstab(layout: Layout, section: DiskSection) -> str:
    """The table of file systems, fstab(5). Swap and mounts by UUID; the root is checked first."""
    lines = ["# <file system> <mount point> <type> <options> <dump> <pass>"]
    for mount in mounts_of(layout):
        lines.append(_row(_source(mount.part), mount.point, _type(mount.part), mount.table_options, _pass(mount)))
    swaps = (_source(part) for part in new_parts(layout) if part.filesystem == "swap")
    lines.extend(_row(source, "none", "swap", "sw", 0) for source in swaps)
    if section.swap_file is not None:
        lines.append(_row(section.swap_file.path, "none", "swap", "sw", 0))
    return "\n".join(lines) + "\n"


def _row(source: str, point: str, kind: str, options: str, order: int) -> str:
    """One row: blanks, line ends and backslashes in a field are written as octal numbers, fstab(5)."""
    fields = (
        re.sub(r"[\x00-\x20\\\x7f]", lambda found: f"\\{ord(found[0]):03o}", field)
        for field in (source, point, kind, options)
    )
    return f"{' '.join(fields)} 0 {order}"


def _source(part: LaidPartition) -> str:
    return part.content_node if part.mapper else f"UUID={part.fs_uuid}"


def _type(part: LaidPartition) -> str:
    """The kernel's driver; the one for NTFS has another name than the volume (since Linux 5.15)."""
    return "ntfs3" if part.filesystem == "ntfs" else part.filesystem


def _pass(mount: Mount) -> int:
    """Order of checks at start: root first, then others; xfs and btrfs check themselves, foreign volumes never."""
    if mount.part.filesystem not in ("ext4", "vfat") or (not mount.part.new and mount.part.role != "esp"):
        return 0
    return 1 if mount.point == "/" else 2


def crypttab(layout: Layout) -> str:
    """The table of containers, crypttab(5): four fields, which every reader of it takes."""
    parts = [part for part in new_parts(layout) if part.mapper]
    rows = [f"{part.mapper} UUID={part.luks_uuid} none luks" for part in parts]
    return "\n".join(("# <name> <device> <key file> <options>", *rows)) + "\n"


def target_actions(section: DiskSection, machine: Machine, layout: Layout, family: Family) -> Iterator[Action]:
    """The files of the target that belong to the disk, and the swap file."""
    tools = family.tokens(*filesystem_needs(layout))
    yield _table("/etc/fstab", "table of file systems", fstab(layout, section), tools)
    if any(part.mapper for part in new_parts(layout)):
        yield _table("/etc/crypttab", "table of encrypted containers", crypttab(layout), family.tokens("encryption"))
    if section.swap_file is not None:
        yield _swap_file(section.swap_file.path, -(-section.swap_file.size.bytes // MIB), machine, layout)


def filesystem_needs(layout: Layout) -> tuple[str, ...]:
    """Generic needs of the new system for the file systems it mounts: without their tools, no check and no repair."""
    return tuple(dict.fromkeys(f"fs-{mount.part.filesystem}" for mount in mounts_of(layout)))


def _table(path: str, what: str, text: str, packages: tuple[str, ...]) -> Action:
    made = build.write_file(
        f"disk.{path.rsplit('/', 1)[-1]}",
        path,
        text,
        needs=(Milestone.ROOT_MOUNTED, *packages),
        title=f"Write the {what}, {path}",
        reason="It is written from the plan, not from what the live medium has mounted.",
    )
    return evolve(made, way_back=build.goes_with_root("The file goes with the root partition."))


def swap_uuid(path: str, machine: Machine, layout: Layout) -> str:
    """The UUID by which our own swap file is known, whatever its size."""
    return derive(machine.name, machine.generation, layout.serial or layout.disk_words, "swap-file", path)


def _swap_file(path: str, mib: int, machine: Machine, layout: Layout) -> Action:
    uuid = swap_uuid(path, machine, layout)
    return Action(
        id="disk.swap-file",
        title=f"Make the swap file {path}, {mib} MiB",
        reason="Memory may run out, and a file can be made larger later.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="disk/make-swap-file",
                args=(InTarget(path), str(mib), uuid),
                by_hand=(
                    f"(umask 077 && : > {TARGET}{path})",
                    f"chattr +C {TARGET}{path}   # on btrfs only",
                    f"dd if=/dev/zero of={TARGET}{path} bs=1M count={mib}",
                    f"mkswap -U {uuid} {TARGET}{path}",
                ),
            ),
        ),
        needs=("base", "tool:mkswap", "tool:dd", "tool:blkid"),
        gives=(f"swap:{path}",),
        guards=(
            conditions.holds(
                f"Nothing has the name {path} yet",
                "disk/swap-place-is-free",
                InTarget(path),
                by_hand=(f"none '^{TARGET}{path}$' find {TARGET} -maxdepth {path.count('/')}",),
                otherwise="It is not replaced. Move it away, or give the swap file another name in the spec.",
            ),
        ),
        proofs=(
            conditions.holds(
                f"{path} is a swap file of {mib} MiB, for root only",
                "disk/swap-file-is",
                InTarget(path),
                str(mib),
                uuid,
                early=False,
            ),
        ),
        audits=(conditions.holds(f"{path} is in use as swap", "disk/swap-file-is-on", path, early=False),),
        way_back=build.goes_with_root("The file goes with the root partition."),
    )


def close(layout: Layout) -> Action:
    """The last action on the live medium."""
    swaps = [part for part in new_parts(layout) if part.filesystem == "swap"]
    opened = [part for part in new_parts(layout) if part.mapper]
    esp = layout.esp
    args = (
        *(f"swap:{where(part)}" for part in swaps),
        *((f"esp:{esp.uuid}",) if esp else ()),
        *(f"container:{part.mapper}" for part in opened),
    )
    return Action(
        id="disk.close",
        title="Write everything out and unmount the new system",
        reason="What is still in memory when the machine is switched off is lost.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="disk/close-target",
                args=args,
                by_hand=(
                    "sync",
                    *(f"swapoff {part.content_node}" for part in swaps),
                    f"umount --recursive {TARGET}",
                    "findmnt /mnt/second && umount /mnt/second",
                    *((f"fsck.fat -n {esp.node}",) if esp else ()),
                    *(f"cryptsetup close {part.mapper}" for part in opened),
                ),
            ),
        ),
        needs=(
            "stage:target",
            "target:mounted",
            Milestone.API_UNMOUNTED,
            *(("tool:fsck.fat",) if esp else ()),
            *(() if layout.whole_disk else ("disk:kept",)),
        ),
        gives=(Milestone.TARGET_CLOSED,),
        proofs=(conditions.holds("Nothing is mounted at the target any more", "disk/target-is-closed", early=False),),
        transient=True,
        way_back=WayBack(note="Nothing to undo: run the script again to mount everything, or mount by hand as before."),
        cautions=("Do not switch the machine off before this is done.",),
        trouble="If something is busy, leave every shell that stands in the target, and run this again.",
    )
