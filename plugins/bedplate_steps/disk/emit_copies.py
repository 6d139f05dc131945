"""The copies of the state before, on a second stick: the first thing that is done on the live medium.

Enters: machine and layout. Leaves: the action that makes them. sfdisk(8), tar(1), sha256sum(1), fsck.fat(8).
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import conditions
from bedplate.actions import Action, Call, Check, Does, Milestone, Stage, Touch, WayBack
from bedplate.facts import LaidPartition, Layout, copies_folder
from bedplate.spec import Machine

_TOOLS = ("sfdisk", "lsblk", "blkid", "findmnt", "mount", "umount", "dd", "df", "awk", "cmp", "find", "sha256sum")


def copies(machine: Machine, layout: Layout) -> Action:
    """Table, boot entries and kept EFI system partitions, before anything is changed."""
    esps = [part for part in layout.partitions if part.role == "esp" and not part.new]
    folder = copies_folder(machine.name)
    again = f"( cd {folder} && every ': OK$' sha256sum -c SHA256SUMS )"
    return Action(
        id="disk.copies",
        title="Copy the state before to the second stick",
        reason="Partition table, boot entries and the files of the EFI system partition can be put back from there, "
        "whatever goes wrong: the live medium forgets, and the disk is what is written to.",
        stage=Stage.LIVE,
        operations=(Call(verb="disk/make-copies", by_hand=tuple(_typed(folder, layout, esps))),),
        needs=(
            "disk:identified",
            *(f"tool:{tool}" for tool in _TOOLS),
            *(("tool:tar", "tool:fsck.fat") if esps else ()),
        ),
        gives=(Milestone.COPIES_SAVED,),
        guards=tuple(map(_whole, esps)),
        proofs=(
            conditions.holds(
                "The copies on the second stick are there and read back as they were written",
                "disk/copies-are-made",
                by_hand=(again,),
            ),
        ),
        way_back=WayBack(note="Nothing to undo: the copies lie on the second stick and disturb nobody."),
        leaves=(
            f"The state before: the folder bedplate-{machine.name}-1 of the second stick (by hand: "
            f"bedplate-{machine.name}; the highest number counts) with the partition table (table.dump; "
            "table-first.img and table-last.img are the first and the last MiB of the disk), the boot entries, and "
            "archive and list of the EFI system partition.",
        ),
        cautions=(
            "The copies are of this moment and cannot be made later: keep the stick until both systems have "
            "proved themselves.",
        ),
        expected="The look below says yes: every file reads back as it was written.",
        trouble="Without a second stick the script goes on only if `without copies` is typed. By hand: get one first.",
        touches=(Touch(does=Does.WRITES, what="the state before to the second stick, into a folder of its own"),),
        transient=True,
    )


def _whole(esp: LaidPartition) -> Check:
    return conditions.holds(
        f"The file system of {esp.name} is sound",
        "disk/fat-is-whole",
        esp.uuid,
        by_hand=(f"every . fsck.fat -n {esp.node}",),
        otherwise="Start the other system and have it check and mend that volume with its own tools: a repair from "
        "here could cut its loader short. Only the mark of a volume that was not unmounted (`Dirty bit is set`, and no "
        "other fault) may stay.",
    )


def _typed(folder: str, layout: Layout, esps: list[LaidPartition]) -> Iterator[str]:
    """The same by hand. Each kept EFI system partition has a name of its own among the copies: esp, esp2."""
    yield (
        "# Find the partition of the second stick by size and model, and put its name in place of `SECOND-STICK`, "
        "here and below:"
    )
    yield "lsblk -o PATH,SIZE,FSTYPE,LABEL,MODEL,TRAN,MOUNTPOINT"
    yield "mkdir -p /mnt/second && mount SECOND-STICK /mnt/second && findmnt /mnt/second"
    yield (
        "# If this says that the folder exists, its copies are of an earlier beginning, and they count: change "
        "nothing in it, and go on with the next action."
    )
    yield f"C={folder}; mkdir $C && echo new"
    if not layout.whole_disk or layout.before_table is not None:
        yield 'sfdisk --dump "$DISK" > $C/table.dump && [ -s $C/table.dump ] && echo yes'
    else:
        yield "echo none > $C/table.dump"
    yield 'head -c 1M "$DISK" > $C/table-first.img && cmp -n 1048576 $C/table-first.img "$DISK" && echo same'
    yield 'tail -c 1M "$DISK" > $C/table-last.img && [ -s $C/table-last.img ] && echo yes'
    yield "( cd /sys/firmware/efi/efivars && cp $(ls | grep -E '^Boot([0-9A-F]{4}|Order)-') $C/ && ls $C )"
    for number, esp in enumerate(esps, 1):
        name = f"$C/esp{number if number > 1 else ''}"
        yield f"mkdir -p /mnt/esp && mount -o ro {esp.node} /mnt/esp && findmnt /mnt/esp"
        yield f"( cd /mnt/esp && find . -type f -exec sha256sum {{}} + ) > {name}.sha256"
        yield f"tar -cf {name}.tar -C /mnt/esp . && tar -df {name}.tar -C /mnt/esp && echo yes"
        yield "umount /mnt/esp"
    yield "( cd $C && find . -type f ! -name SHA256SUMS -exec sha256sum {} + > SHA256SUMS )"
    yield "# Out to the stick, and read back from it. It stays mounted until the end, read-only:"
    yield "umount /mnt/second && mount -o ro SECOND-STICK /mnt/second && findmnt /mnt/second"
