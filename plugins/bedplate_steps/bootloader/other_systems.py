"""How kept systems are started. Enters: the section, the layout, the survey. Leaves: one `Handover` per menu entry."""

from __future__ import annotations

from collections.abc import Iterable

from attrs import frozen

from bedplate.facts import LaidPartition, Layout
from bedplate.survey import Survey, SurveyedPartition
from bedplate_steps.bootloader.model import Bootloader, Entry

BOOT_MANAGER = r"\efi\microsoft\boot\bootmgfw.efi"
"""The loader of a factory system on NTFS, in lower case: FAT names are compared without case."""

FACTORY_FILE_SYSTEMS = ("ntfs", "bitlocker")
"""What blkid calls the volume of such a system, in lower case; the second means that it is encrypted."""


@frozen(kw_only=True)
class Seen:
    """A loader that the survey shows on a kept EFI system partition; `label` is that of its boot entry, or empty."""

    partition: LaidPartition
    loader: str
    label: str = ""
    with_entry: bool = False


@frozen(kw_only=True)
class Handover:
    """A menu entry that hands over to `loader` (with backslashes) on `partition`."""

    name: str
    title: str
    loader: str
    partition: LaidPartition
    with_entry: bool = False
    """Whether the firmware had a boot entry for it on the day of the survey."""

    @property
    def identifier(self) -> str:
        """The menu entry's own id, which the default may name."""
        return f"kept-{self.name}"


def backslashed(path: str) -> str:
    r"""A loader path as firmware writes it: `\EFI\...`."""
    return path.replace("/", "\\")


def kept_esps(layout: Layout) -> tuple[LaidPartition, ...]:
    """EFI system partitions that were there before."""
    return tuple(part for part in layout.partitions if part.role == "esp" and not part.new)


def surveyed(survey: Survey | None, part: LaidPartition) -> SurveyedPartition | None:
    """The survey's row of a kept partition."""
    rows = (row for disk in (survey.disks if survey else ()) for row in disk.partitions)
    return next((row for row in rows if row.uuid.upper() == part.uuid.upper()), None)


def seen(layout: Layout, survey: Survey | None) -> tuple[Seen, ...]:
    """Every loader on the kept EFI system partitions: those with a boot entry first, each path once."""
    found: dict[tuple[str, str], Seen] = {}
    for part in kept_esps(layout):
        for item in (*_by_entries(part, survey), *_by_files(part, survey)):
            found.setdefault((part.uuid, item.loader.lower()), item)
    return tuple(found.values())


def handovers(section: Bootloader, layout: Layout, survey: Survey | None) -> tuple[Handover, ...]:
    """The entries of the menu for kept systems: one by itself for each, changed or added to by the section."""
    loaders = seen(layout, survey)
    chosen = {entry.name: entry for entry in section.entries}
    names = dict.fromkeys((*(() if firmware_menu_only(layout) else layout.other_systems), *chosen))
    made: dict[tuple[str, str], Handover] = {}
    for name in names:
        entry = chosen.get(name, Entry(name=name))
        taken = {key[1] for key in made}
        handover = _handover(entry, layout, tuple(item for item in loaders if item.loader.lower() not in taken))
        if handover is not None:
            made.setdefault((handover.partition.uuid, handover.loader.lower()), handover)
    return tuple(made.values())


def firmware_menu_only(layout: Layout) -> bool:
    """Whether a menu entry would be a trap: an encrypted system that is to be started from the firmware's menu asks for
    its recovery key whenever it is started another way."""
    return encrypted(layout) and layout.other_start_by == "firmware-menu"


def _by_entries(part: LaidPartition, survey: Survey | None) -> Iterable[Seen]:
    for entry in survey.firmware.entries if survey else ():
        if entry.loader and entry.partition.upper() == part.uuid.upper():
            yield Seen(partition=part, loader=backslashed(entry.loader), label=entry.label, with_entry=entry.active)


def _by_files(part: LaidPartition, survey: Survey | None) -> Iterable[Seen]:
    row = surveyed(survey, part)
    for path in row.files if row else ():
        yield Seen(partition=part, loader=backslashed(path))


def _handover(entry: Entry, layout: Layout, loaders: tuple[Seen, ...]) -> Handover | None:
    part = next((part for part in kept_esps(layout) if part.name == entry.partition), None)
    if entry.partition:
        loaders = tuple(item for item in loaders if item.partition is part)
    item = _explicit(entry, layout, loaders, part) if entry.loader else _guess(entry.name, layout, loaders)
    if item is None:
        return None
    label = "".join(character for character in item.label if character.isprintable()).strip()
    title = entry.title or label or f"Other system ({entry.name})"
    return Handover(
        name=entry.name, title=title, loader=item.loader, partition=item.partition, with_entry=item.with_entry
    )


def _explicit(entry: Entry, layout: Layout, loaders: tuple[Seen, ...], part: LaidPartition | None) -> Seen | None:
    path = backslashed(entry.loader)
    known = next((item for item in loaders if item.loader.lower() == path.lower()), None)
    if known is not None:
        return known
    if part is None and not entry.partition:
        part = next(iter(kept_esps(layout)), None)
    return Seen(partition=part, loader=path) if part is not None else None


def _guess(name: str, layout: Layout, loaders: tuple[Seen, ...]) -> Seen | None:
    part = next((part for part in layout.partitions if part.name == name), None)
    factory = part is not None and part.filesystem.lower() in FACTORY_FILE_SYSTEMS
    if part is None or name not in layout.other_systems:
        return None
    for item in loaders:
        path = item.loader.lower()
        if (path == BOOT_MANAGER) == factory and not path.startswith("\\efi\\boot\\") and (factory or item.with_entry):
            return item
    return None


def encrypted(layout: Layout) -> bool:
    """Whether a kept system's volume is, or may be, encrypted by that system, as the spec says or blkid saw."""
    systems = [part.filesystem.lower() for part in layout.partitions if part.name in layout.other_systems]
    factory = not systems or any(kind in ("", "ntfs", "bitlocker") for kind in systems)
    if layout.other_encryption not in ("", "none") and factory:
        return True
    return any(part.filesystem.lower() == "bitlocker" for part in layout.partitions if not part.new)


def files_on(survey: Survey | None, layout: Layout) -> tuple[str, ...]:
    """Paths of everything foreign on the kept EFI system partitions that the new system mounts, files and what boot
    entries name."""
    used = [esp for esp in kept_esps(layout) if esp.mount]
    rows = [row for esp in used if (row := surveyed(survey, esp)) is not None]
    entries = survey.firmware.entries if survey else ()
    guids = {esp.uuid.upper() for esp in used}
    stored = (item.loader for item in entries if item.loader and item.partition.upper() in guids)
    return (*(backslashed(path) for row in rows for path in row.files), *map(backslashed, stored))


def folders_on(survey: Survey | None, layout: Layout) -> set[str]:
    r"""Folders below \EFI of those, in lower case."""
    return {folder_of(path) for path in files_on(survey, layout)}


def fallback_files(survey: Survey | None, layout: Layout) -> list[str]:
    """What of another system lies on the fallback path, sorted."""
    return sorted(path for path in files_on(survey, layout) if folder_of(path) == "boot")


def folder_of(path: str) -> str:
    r"""The folder below \EFI that a loader lies in, in lower case; empty if none."""
    parts = backslashed(path).casefold().split("\\")
    return parts[2] if len(parts) > 3 and parts[1] == "efi" else ""
