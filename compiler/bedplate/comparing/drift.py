"""Drift: what a new survey finds different from the survey a spec was compiled against.

Enters: the spec's graph and the new survey. Leaves: sentences. What the spec itself planned is no drift.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.facts import LaidPartition, Layout
from bedplate.install_graph import InstallGraph
from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate.units import in_gib


def drift(graph: InstallGraph, new: Survey) -> tuple[str, ...]:
    """One sentence for each thing that is not as the spec's survey and plan say. Empty: no drift."""
    return (*_firmware(graph.survey, new), *_disk(graph, new), *_links(graph.survey, new))


def _firmware(old: Survey | None, new: Survey) -> Iterator[str]:
    if old is None:
        return
    for what, one, other in (
        ("firmware mode", old.firmware.mode, new.firmware.mode),
        ("Secure Boot", old.firmware.secure_boot, new.firmware.secure_boot),
    ):
        if one != other:
            yield f"{what} is {other}, was {one}"
    after = {(entry.label, entry.loader.lower()) for entry in new.firmware.entries}
    for entry in old.firmware.entries:
        if (entry.label, entry.loader.lower()) not in after:
            yield f'the boot entry "{entry.label}" is gone'


def _disk(graph: InstallGraph, new: Survey) -> Iterator[str]:
    layout = graph.fact(Layout)
    if layout is None:
        return
    disk = next((disk for disk in new.disks if _same(disk, layout)), None)
    if disk is None:
        yield f"the disk is not there: {layout.disk_words}"
        return
    if disk.size_bytes != layout.size_bytes:
        yield f"the disk has {in_gib(disk.size_bytes)}, had {in_gib(layout.size_bytes)}"
    if disk.sector_size != layout.sector_size:
        yield f"the disk has sectors of {disk.sector_size} bytes, had {layout.sector_size}"
        return
    if disk.table is not None and disk.table.id != layout.table_id:
        known = {part.id for surveyed in (graph.survey.disks if graph.survey else ()) if (part := surveyed.table)}
        if disk.table.id not in known:
            yield f"the partition table is another one: {disk.table.id}"
    yield from _partitions(layout, disk)


def _same(disk: SurveyedDisk, layout: Layout) -> bool:
    if layout.serial:
        return disk.serial == layout.serial
    return layout.by_id in disk.by_id if layout.by_id else disk.model == layout.model


def _partitions(layout: Layout, disk: SurveyedDisk) -> Iterator[str]:
    found = {part.uuid: part for part in disk.partitions}
    installed = any(part.new and part.uuid in found for part in layout.partitions)
    planned = {part.uuid: part for part in layout.partitions}
    before = {part.uuid: part for part in layout.before}
    for uuid, part in (planned if installed else before).items():
        seen = found.get(uuid)
        if seen is None:
            yield f"the partition {part.name} is gone"
        else:
            yield from _partition(part, before.get(uuid), seen, layout.sector_size)
    for uuid, seen in found.items():
        if uuid not in planned and uuid not in before:
            kind = f", {seen.filesystem.type}" if seen.filesystem else ""
            yield f"there is a new partition {seen.number} ({in_gib(seen.size * layout.sector_size)}{kind})"


def _partition(
    part: LaidPartition, before: LaidPartition | None, seen: SurveyedPartition, sector: int
) -> Iterator[str]:
    starts = {part.start, *((before.start,) if before else ())}
    sizes = {part.size, *((before.size,) if before else ())}
    if seen.start not in starts:
        yield f"the partition {part.name} begins at sector {seen.start}, was {part.start}"
    if seen.size not in sizes:
        how = "grew" if seen.size > part.size else "shrank"
        yield f"the partition {part.name} {how} from {in_gib(part.size * sector)} to {in_gib(seen.size * sector)}"
    if seen.type != part.type:
        yield f"the partition {part.name} has the type {seen.type}, had {part.type}"
    kind = seen.filesystem.type if seen.filesystem else ""
    wanted = "crypto_LUKS" if part.mapper else part.filesystem
    if wanted and kind.lower() != wanted.lower():
        yield f"the partition {part.name} holds {kind or 'nothing'}, held {wanted}"


def _links(old: Survey | None, new: Survey) -> Iterator[str]:
    if old is None:
        return
    before, after = {link.mac: link for link in old.links}, {link.mac: link for link in new.links}
    for mac, link in before.items():
        if mac not in after:
            yield f"the network card {link.name} ({mac}) is gone"
    for mac, link in after.items():
        if mac not in before:
            yield f"there is a new network card {link.name} ({mac})"
