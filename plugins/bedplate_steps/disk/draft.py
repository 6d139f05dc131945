"""A first `[disk]` section for a surveyed machine, with comments that say why.

Enters: a survey, and the disk a person asked for. Leaves: TOML text that erases nothing: every partition found is
kept. Where only erasing would make room, the words for it stand as comments, for a person to take over. Sizes of swap
follow the handbook table of one enterprise distribution (twice the memory below 2 GiB, the memory up to 8 GiB, at
least 4 GiB above).
"""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Iterator

import tomli_w

from bedplate.duplicates import labels
from bedplate.other_systems import LOCAL_TIME, VOLUMES, elsewhere, system_of, unpluggable
from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.units import GIB, MIB, in_gib
from bedplate_steps.disk.draft_disk import (
    OUT,
    SMALLEST_ROOT,
    Candidate,
    candidates,
    chosen,
    free_room,
    held,
    judged,
    keeps,
    shrinkable,
)
from bedplate_steps.disk.erasures import BLANK, seen, written
from bedplate_steps.disk.kept_linux import root_of
from bedplate_steps.disk.partition_types import RECOVERY, RESERVED, TYPES
from bedplate_steps.disk.validate_combinations import LOADER_ROOM


def draft(survey: Survey, asked: SurveyedDisk | None = None) -> str:
    """The section as commented TOML, for the disk that was asked for, or for the one that suits best."""
    one = chosen(survey) if asked is None else judged(asked, survey)
    if one is None:
        return "\n".join(_choose(survey))
    disk = one.disk
    if (one.rank == OUT and not unpluggable(disk)) or disk.unread:
        return "\n".join(_left_alone(one))
    keep = keeps(disk)
    lines = [*_head(survey, one, keep), *_kept(disk, keep), *_new(survey, disk, keep), *_other(survey, disk, keep)]
    return "\n".join(lines)


def _choose(survey: Survey) -> Iterator[str]:
    yield "[disk]"
    if not survey.disks:
        yield "# The survey has no disk.\n"
        return
    if any(not disk.unread for disk in survey.disks):
        yield _said(
            "Nothing is planned: no disk of this machine suits better than every other. Choose one, and draft "
            "again with --disk SERIAL:"
        )
    else:
        yield _said(
            "Nothing is planned: no disk was read, so nobody knows what is on it. Make the survey again, as root:"
        )
    yield from _listed(candidates(survey))
    yield ""


def _listed(several: tuple[Candidate, ...]) -> Iterator[str]:
    for one in several:
        name = one.disk.serial or next(iter(one.disk.by_id), one.disk.path)
        yield _said(f"- {_plain(name)}: {_words(one.disk)}: {one.why}.")


def _left_alone(one: Candidate) -> Iterator[str]:
    """No plan: whatever stood here could be taken for one."""
    disk = one.disk
    if disk.unread:
        yield _said(
            f"{_words(disk)}: it was NOT READ during the survey, so nobody knows what is on it. Nothing is "
            "planned. Run the collector as root on that machine, make a new survey, draft again."
        )
    else:
        yield _said(f"{_words(disk)}: {one.why}, so nothing is planned on it.")
    yield "[disk]"
    yield _named(disk) + "\n"


def _toml(**values: object) -> str:
    return tomli_w.dumps(values).rstrip("\n")


def _head(survey: Survey, one: Candidate, keep: bool) -> Iterator[str]:
    disk = one.disk
    yield "[disk]"
    yield _said(f"{_words(disk)}: {one.why}.")
    others = tuple(other for other in candidates(survey) if other.disk.path != disk.path)
    if others:
        yield "# The other disks are left alone; `bedplate draft SURVEY --disk SERIAL` plans for one of them:"
        yield from _listed(others)
    yield _named(disk)
    if unpluggable(disk):
        yield "# It can be unplugged. Make sure that it is neither the live medium nor a backup; then take the # away:"
        yield "# removable = true"
    if keep:
        yield "# Everything that is on the disk stays; new partitions are appended."
        yield _toml(table="keep")
        if disk.partitions and max(free_room(disk), shrinkable(disk)[1]) < SMALLEST_ROOT:
            yield _said(
                "There is too little room. If everything on this disk may be LOST instead, these lines replace "
                'table = "keep" and every [[disk.keep]]:'
            )
            yield from (f"# {line}" for line in written(disk))
        return
    if seen(disk) == (BLANK,):
        yield _said("Nothing is decided yet. If the new system may have the whole disk, take the # away:")
    else:
        yield _said(
            f"Only a person erases, and nothing is decided yet: this disk holds {_plain(held(disk))}. If all "
            "of it may be LOST, take the # away from these lines:"
        )
    yield from (f"# {line}" for line in written(disk))


def _said(text: str) -> str:
    """A comment, wrapped."""
    return "\n".join(f"# {line}" for line in textwrap.wrap(text, 116, break_long_words=False, break_on_hyphens=False))


def _plain(text: str) -> str:
    return "".join(sign for sign in text if sign.isprintable())


def _words(disk: SurveyedDisk) -> str:
    model = " ".join(word for word in disk.model.split() if word.isprintable())
    return f"{model or 'The disk'}, {in_gib(disk.size_bytes)}, sectors of {disk.sector_size} bytes"


def _named(disk: SurveyedDisk) -> str:
    if disk.serial:
        return _toml(serial=disk.serial)
    if disk.by_id:
        return _toml(by_id=disk.by_id[0])
    if disk.model:
        return _toml(model=disk.model, size=f"{disk.size_bytes} B")
    return "# This disk has no serial number, no by-id name and no model: it cannot be told apart from another one."


# --- kept ----------------------------------------------------------------------------------------------------


def _kept(disk: SurveyedDisk, keep: bool) -> Iterator[str]:
    shared = _shared_esp(disk)
    shrunk, amount = shrinkable(disk)
    names: list[str] = []
    for part in disk.partitions if keep else ():
        role = _role(part, disk)
        linux = root_of(disk)
        names.append("older-system" if part is linux[0] else _name(role, part, names))
        yield f"\n[[disk.keep]]\n# Partition {part.number}: {_what(part, disk)}"
        if part is linux[0]:
            yield _said(f"The root of another Linux: {_plain(linux[1])}.")
        yield _toml(name=names[-1], partition=part.uuid.upper(), role=role)
        if part is shared:
            yield "# Shared with what is there: it is mounted and never formatted."
            yield _toml(mount="/boot/efi")
        if part is shrunk:
            yield _said(
                f"By hand, in that system itself, before the live medium is started: {amount // MIB} MiB less, half of "
                "what is free. First ask it with diskpart how much it can give (`shrink querymax`): if that is less, "
                "write a larger size here. A survey taken after the shrink shows the new size: this line goes then."
            )
            yield _toml(shrink_to=f"{(part.size * disk.sector_size - amount) // MIB}MiB")
        elif _may_shrink(part, disk):
            yield _said(
                "There is too little room, and this volume may give some: only its own system can tell how "
                "much. Ask it with diskpart (`shrink querymax`), and write what it is to keep:"
            )
            yield '# shrink_to = "...GiB"'


def _what(part: SurveyedPartition, disk: SurveyedDisk) -> str:
    inside = part.filesystem
    label = "".join(sign for sign in (inside.label if inside else "") if sign.isprintable())
    used = inside.used_bytes if inside else None
    words = [in_gib(part.size * disk.sector_size), inside.type if inside else "unknown content"]
    words += [f"labelled {label}"] if label else []
    words += [f"{in_gib(used)} used"] if used is not None else []
    return ", ".join(words)


def _may_shrink(part: SurveyedPartition, disk: SurveyedDisk) -> bool:
    """Whether its own system may make it smaller, though the survey does not know by how much."""
    inside = part.filesystem
    if inside is None or inside.type not in LOCAL_TIME or inside.used_bytes is not None:
        return False
    return part is system_of(disk) and free_room(disk) < SMALLEST_ROOT


def _role(part: SurveyedPartition, disk: SurveyedDisk) -> str:
    known = {TYPES["esp"]: "esp", RESERVED: "reserved", RECOVERY: "recovery"}
    if part.type.upper() in known:
        return known[part.type.upper()]
    if part in (system_of(disk), root_of(disk)[0]):
        return "system"
    return "data" if part.filesystem and part.filesystem.type in VOLUMES else "other"


def _name(role: str, part: SurveyedPartition, taken: list[str]) -> str:
    name = role if role == "esp" else f"factory-{role}"
    return f"{name}-{part.number}" if name in taken else name


def _shared_esp(disk: SurveyedDisk) -> SurveyedPartition | None:
    """The first EFI system partition that a boot loader fits on, as far as the survey knows."""
    for part in disk.partitions:
        inside = part.filesystem
        room = inside.free_bytes if inside else None
        fat = inside is None or inside.type == "vfat"
        if part.type.upper() == TYPES["esp"] and fat and (room is None or room >= LOADER_ROOM):
            return part
    return None


# --- new ----------------------------------------------------------------------------------------------------


def _new(survey: Survey, disk: SurveyedDisk, keep: bool) -> Iterator[str]:
    room = max(free_room(disk), shrinkable(disk)[1]) if keep else disk.size_bytes
    if not keep or _shared_esp(disk) is None:
        yield "\n[[disk.new]]\n# The firmware starts systems from here. 1 GiB leaves room for kernels and updates."
        yield _toml(name="esp", size="1GiB", filesystem="vfat", label=_label(survey, "ESP"), mount="/boot/efi")
    yield f"\n[[disk.new]]\n# What is left of the largest free region ({in_gib(room)})."
    if room < SMALLEST_ROOT:
        yield _said(
            f"That is little: the new system wants {in_gib(SMALLEST_ROOT)} or more. Make room in what is "
            "there, with its own tools and after a backup, and survey again; or take another one."
        )
    yield _toml(name="root", size="rest", filesystem="ext4", label=_label(survey, "root"), mount="/")
    yield "# encrypt = true  # asks for a passphrase at each start; swap needs it then too, and a /boot beside it"
    memory = survey.machine.memory_bytes
    swap = _swap(memory)
    if room >= SMALLEST_ROOT + swap:
        yield f"\n[[disk.new]]\n# For {in_gib(memory)} of memory. To hibernate, make it at least that large."
        yield _toml(name="swap", size=f"{swap // MIB}MiB", filesystem="swap", label=_label(survey, "swap"))
    else:
        yield '\n# Room is short, so there is no swap partition. A swap file in [disk]: swap_file = { size = "1GiB" }'


def _label(survey: Survey, wanted: str) -> str:
    """The label, or the first of its kind that nothing on the machine has."""
    taken = {label.casefold() for disk in survey.disks for label, _, _ in labels(disk)}
    tried = itertools.chain([wanted], (f"{wanted}-{number}" for number in itertools.count(2)))
    return next(label for label in tried if label.casefold() not in taken)


def _swap(memory: int) -> int:
    whole = -(-memory // GIB) * GIB
    if memory < 2 * GIB:
        return max(2 * whole, GIB)
    return whole if memory <= 8 * GIB else 4 * GIB


def _other(survey: Survey, disk: SurveyedDisk, keep: bool) -> Iterator[str]:
    own = system_of(disk) if keep else None
    there = [(other, part) for other, part in elsewhere(disk, survey)]
    inside = [part.filesystem for part in (own, *(part for _, part in there)) if part]
    if not inside:
        if keep and root_of(disk)[0] is not None:
            yield "\n[disk.other_system]"
            yield "# Only a Linux is kept: no recovery key comes in; an encrypted one asks for its passphrase as ever."
            yield _toml(encryption="none")
        yield ""
        return
    yield "\n[disk.other_system]"
    for other, part in there:
        yield _said(
            f"A system lies on another disk, {_words(other)}: partition {part.number}, {_what(part, other)}. Nothing "
            "is written there, but boot order and firmware settings change: its backup and its key matter as well."
        )
    encrypted = any(filesystem and filesystem.type == "BitLocker" for filesystem in inside)
    if encrypted:
        yield "# The survey found an encrypted volume."
        yield _toml(encryption="on", start_by="firmware-menu")
    else:
        yield "# No encrypted volume was seen from here, but many machines come encrypted: look in that system itself."
        yield '# Until you say "none", "suspended" or "on", the steps for its recovery key stay in the plan.'
        yield _toml(encryption="unknown")
    yield "# Say where its recovery key is kept (the place, never the key), and take the # away:"
    yield '# recovery_key_place = "..."\n'
