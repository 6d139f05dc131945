"""From section and survey to the disk as it will be: the `Layout` other steps ask for.

Enters: the section, the machine and its survey. Leaves: a `Layout`, or Rejected with every fault. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator

from attrs import evolve

from bedplate.facts import LaidPartition, Layout, Subvolume
from bedplate.faults import Fault, Rejected
from bedplate.hookspecs import Context
from bedplate.identity import derive, fat_volume_id
from bedplate.layout import Placed, Room, Wanted, new_table, place
from bedplate.regions import free_regions
from bedplate.spec import Machine
from bedplate.survey import PartitionTable, SurveyedDisk, SurveyedPartition
from bedplate.units import in_gib
from bedplate_steps.disk.erasures import disk_contents
from bedplate_steps.disk.model import DiskSection, Keep, New
from bedplate_steps.disk.partition_types import role_of, type_of
from bedplate_steps.disk.shrink import planned_shrink
from bedplate_steps.disk.validate_combinations import rule_faults
from bedplate_steps.disk.validate_layers import label_faults, layer_faults, twin_faults
from bedplate_steps.disk.validate_partitions import comfort_faults, image_faults, request_faults, size_faults
from bedplate_steps.disk.validate_survey import disk_faults, disk_of, identity_faults, keep_faults, row_of


def all_faults(section: DiskSection, context: Context) -> Iterator[Fault]:
    """Every fault and warning that can be found before anything is placed."""
    yield from identity_faults(section)
    yield from request_faults(section)
    yield from comfort_faults(section)
    survey = context.survey
    if survey is None:
        message = "disks are planned from a survey, and the spec names none"
        yield Fault(code="survey-missing", message=message, allowed='survey = "..." in [machine]')
        return
    if any(identity_faults(section)):
        return
    yield from disk_faults(section, survey)
    yield from twin_faults(survey)
    disk = disk_of(section, survey)
    if disk is not None and not disk.unread and _decided(section, disk):
        yield from layer_faults(section, disk)
        yield from label_faults(section, disk, survey)
        yield from keep_faults(section, disk)
        yield from rule_faults(section, disk, survey)


def _decided(section: DiskSection, disk: SurveyedDisk) -> bool:
    """Whether there is anything to compare with: a table that is kept, or a word that none is."""
    return section.whole_disk or (bool(section.table) and disk.table is not None)


def plan(section: DiskSection, context: Context) -> Layout:
    """The disk as it will be. Raises Rejected."""
    faults = [fault for fault in all_faults(section, context) if not fault.warning]
    if faults:
        raise Rejected(faults)
    survey = context.survey
    disk = disk_of(section, survey) if survey else None
    assert survey is not None and disk is not None
    table = _table(section, disk, context.machine)
    kept = [_kept(keep, disk) for keep in section.keep]
    placed = _placed(section, disk, table)
    sizes = [spot.size * disk.sector_size for spot in placed]
    memory = survey.machine.memory_bytes
    faults = [*size_faults(section, sizes, disk.sector_size), *image_faults(section, sizes, memory)]
    if faults:
        raise Rejected(faults)
    made = [_made(new, spot, disk, context.machine) for new, spot in zip(section.new, placed, strict=True)]
    return _layout(section, disk, table, kept + made)


def _layout(section: DiskSection, disk: SurveyedDisk, table: PartitionTable, parts: list[LaidPartition]) -> Layout:
    return Layout(
        disk_words=words_for(disk),
        serial=disk.serial,
        by_id=section.by_id,
        model=disk.model,
        size_bytes=disk.size_bytes,
        sector_size=disk.sector_size,
        table_id=table.id.upper(),
        whole_disk=section.whole_disk,
        first_lba=table.first_lba,
        last_lba=table.last_lba,
        partitions=tuple(sorted(parts, key=lambda part: part.start)),
        before=tuple(sorted(_before(section, disk), key=lambda part: part.start)),
        before_table=disk.table,
        before_contents=disk_contents(disk),
        removable=section.removable,
        swap_file=section.swap_file.path if section.swap_file else "",
        hibernate=section.hibernate,
        resume=_resume(parts) if section.hibernate else (),
        other_encryption=section.other_system.encryption if section.other_system else "",
        other_start_by=section.other_system.start_by if section.other_system else "",
        other_systems=tuple(keep.name for keep in section.keep if keep.role == "system"),
    )


def words_for(disk: SurveyedDisk) -> str:
    """The disk for people: `Example 512, 476.94 GiB, serial SM-NVME-0217`."""
    words = [disk.model, in_gib(disk.size_bytes), f"serial {disk.serial}" if disk.serial else ""]
    return ", ".join(word for word in words if word)


def identity_of(disk: SurveyedDisk) -> str:
    """What stands for the disk in derived UUIDs; the same however the spec names it."""
    return disk.serial or next(iter(disk.by_id), "") or f"{disk.model} {disk.size_bytes}"


def _table(section: DiskSection, disk: SurveyedDisk, machine: Machine) -> PartitionTable:
    if not section.whole_disk and disk.table is not None:
        return disk.table
    first, last = new_table(disk.size_bytes, disk.sector_size)
    made = derive(machine.name, machine.generation, identity_of(disk), "disk", "table")
    return PartitionTable(label="gpt", id=made.upper(), first_lba=first, last_lba=last)


def _placed(section: DiskSection, disk: SurveyedDisk, table: PartitionTable) -> tuple[Placed, ...]:
    rows = [] if section.whole_disk else [_after(part, section, disk) for part in disk.partitions]
    room = Room(
        sector_size=disk.sector_size,
        regions=free_regions(table, rows, disk.sector_size),
        numbers=frozenset(part.number for part in rows),
        length=table.length,
        shrunk=any(keep.shrink_to is not None for keep in section.keep),
    )
    return place([Wanted(name=new.name, request=new.size) for new in section.new], room)


def _after(part: SurveyedPartition, section: DiskSection, disk: SurveyedDisk) -> SurveyedPartition:
    """A surveyed row as it will be once the person has shrunk it."""
    keep = next(keep for keep in section.keep if keep.partition.upper() == part.uuid.upper())
    return evolve(part, size=planned_shrink(keep, part, disk.sector_size).size)  # type: ignore[misc]


def _kept(keep: Keep, disk: SurveyedDisk) -> LaidPartition:
    row = row_of(keep, disk)
    assert row is not None
    size = planned_shrink(keep, row, disk.sector_size).size
    shrunk_from = row.size if size != row.size else 0
    laid = evolve(_as_found(row, keep.name), size=size, shrunk_from=shrunk_from, role=keep.role)
    # Mounting alone changes a file system: kept data waits for the first boot.
    now, later = (keep.mount, "") if keep.role == "esp" else ("", keep.mount)
    return evolve(laid, mount=now, later_mount=later, options=_kept_options(keep))


def _as_found(row: SurveyedPartition, name: str) -> LaidPartition:
    inside = row.filesystem
    return LaidPartition(
        name=name,
        new=False,
        number=row.number,
        start=row.start,
        size=row.size,
        type=row.type.upper(),
        uuid=row.uuid.upper(),
        gpt_name=row.name,
        role="other",
        filesystem=inside.type if inside else "",
        fs_uuid=inside.uuid if inside else "",
        fs_label=inside.label if inside else "",
    )


def _kept_options(keep: Keep) -> tuple[str, ...]:
    """A missing or unclean foreign volume must not stop the start of the new system."""
    if not keep.mount or keep.role == "esp":
        return keep.options
    return tuple(dict.fromkeys((*keep.options, "nofail", "x-systemd.device-timeout=10s")))


def _before(section: DiskSection, disk: SurveyedDisk) -> Iterator[LaidPartition]:
    keeps = {keep.partition.upper(): keep for keep in section.keep}
    for row in disk.partitions:
        keep = keeps.get(row.uuid.upper())
        laid = _as_found(row, keep.name if keep else f"partition-{row.number}")
        yield evolve(laid, role=keep.role) if keep else laid


def _made(new: New, spot: Placed, disk: SurveyedDisk, machine: Machine) -> LaidPartition:
    def derived(purpose: str) -> str:
        return derive(machine.name, machine.generation, identity_of(disk), purpose, new.name)

    role = role_of(new.filesystem, new.mounts, new.type)
    uuid = derived("filesystem")
    return LaidPartition(
        name=new.name,
        new=True,
        number=spot.number,
        start=spot.start,
        size=spot.size,
        type=type_of(role, machine.architecture, new.encrypt),
        uuid=derived("partition").upper(),
        gpt_name=new.name,
        role=role,
        filesystem=new.filesystem,
        fs_uuid=fat_volume_id(uuid) if new.filesystem == "vfat" else uuid,
        fs_label=new.label,
        mount=min(new.mounts, key=len, default=""),
        options=new.options,
        subvolumes=tuple(Subvolume(name=v.name, mount=v.mount, options=v.options) for v in new.subvolumes),
        mapper=_mapper(new.name, role) if new.encrypt else "",
        luks_uuid=derived("luks") if new.encrypt else "",
    )


def _mapper(name: str, role: str) -> str:
    """The name of an opened container. Discoverable types must be mapped under the name of their role (Discoverable
    Partitions Specification 1.0)."""
    return role if role in ("root", "home", "srv", "var", "usr", "swap") else name


def _resume(parts: list[LaidPartition]) -> tuple[str, ...]:
    swap = next(part for part in parts if part.new and part.filesystem == "swap")
    return (f"resume=/dev/mapper/{swap.mapper}" if swap.mapper else f"resume=UUID={swap.fs_uuid}",)
