"""Faults and warnings of the section that a schema cannot tell. Paths are relative to the section."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from attrs import evolve

from bedplate.facts import Family, Layout
from bedplate.faults import Fault, Rejected, nearest, one_of, shown
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.kernel_parameters import COMPUTED
from bedplate_steps.bootloader.model import Bootloader, Entry
from bedplate_steps.bootloader.other_systems import (
    backslashed,
    encrypted,
    fallback_files,
    firmware_menu_only,
    folder_of,
    folders_on,
    handovers,
    kept_esps,
    seen,
)
from bedplate_steps.bootloader.plan import Loader, reached

RESERVED = ("boot", "microsoft")
r"""Folders below \EFI that belong to the fallback path and to a factory system (UEFI 2.10, 13.3.1.3)."""
EARLIER_RUN = "If an earlier run of this spec made that folder, compile with the survey from before it."
RAID_CONTROLLER = "0104"
"""PCI class of a RAID controller (PCI code and ID assignment)."""


def validate(section: Bootloader, context: Context) -> Iterable[Fault]:
    """All faults of the section."""
    layout = context.fact(Layout)
    loader = context.extensions(Loader)[section.loader]
    lacking = tuple(_lacking(section, loader, context))
    yield from lacking
    yield from _name(section, context, layout, loader)
    yield from _parameters(section)
    yield from _entries(section, context, layout)
    yield from _reach(section, context, layout, loader)
    yield from _default(section, context, layout, loader)
    yield from _secure_boot(section, context, layout, loader)
    yield from _fallback(section, context, layout)
    if not lacking:
        yield from loader.check(section, context)
    yield from _firmware(context)
    yield from _elsewhere(context, layout)


def _lacking(section: Bootloader, loader: Loader, context: Context) -> Iterator[Fault]:
    """What the loader asks the package family for in vain."""
    for kind in loader.concerns:
        try:
            context.of_family(kind)
        except Rejected as lacking:
            yield from (evolve(fault, path=("loader",), found=shown(section.loader)) for fault in lacking.faults)


def _name(section: Bootloader, context: Context, layout: Layout, loader: Loader) -> Iterator[Fault]:
    name, folder = section.name.casefold(), loader.folder(section).casefold()
    folders = folders_on(context.survey, layout)
    if folder == name and (name in RESERVED or name in folders):
        yield Fault(
            code="folder-taken",
            message=f"\\EFI\\{section.name} belongs to another system",
            path=("name",),
            found=shown(section.name),
            allowed="a name that no folder below \\EFI has; taken are " + ", ".join(sorted({*RESERVED, *folders})),
            notes=(EARLIER_RUN,),
        )
    elif folder in folders:
        yield Fault(
            code="folder-taken",
            message=f"\\EFI\\{folder}, which {section.loader} wants, belongs to another system",
            path=("loader",),
            found=shown(section.loader),
            allowed="another loader, or an EFI system partition of its own",
            notes=(EARLIER_RUN,),
        )
    labels = [entry.label for entry in context.survey.firmware.entries] if context.survey else []
    if name not in folders and any(label.strip().casefold() == name for label in labels):
        yield Fault(
            code="label-taken",
            message=f"the firmware has a boot entry labelled {section.name} already; package updates would rewrite it",
            path=("name",),
            found=shown(section.name),
            allowed="a label that no boot entry has",
        )


def _parameters(section: Bootloader) -> Iterator[Fault]:
    for index, word in enumerate(section.kernel_parameters):
        key = word.split("=", 1)[0]
        if key in COMPUTED or key.startswith("rd.luks."):
            yield Fault(
                code="parameter-computed",
                message=f"{key} follows from the disk section and must not be set by hand",
                path=("kernel_parameters", index),
                found=shown(word),
                allowed="other kernel parameters",
            )
        if key == "console" and section.terminal != "screen":
            yield Fault(
                code="parameter-computed",
                message="console= follows from terminal and must not be set by hand",
                path=("kernel_parameters", index),
                found=shown(word),
                allowed='console= only with terminal = "screen"',
            )


def _entries(section: Bootloader, context: Context, layout: Layout) -> Iterator[Fault]:
    names: set[str] = set()
    for index, entry in enumerate(section.entries):
        if entry.name in names or entry.name in ("new", "last"):
            yield Fault(
                code="entry-name-taken",
                message=f"the name {entry.name} is used already, or has a meaning of its own",
                path=("entries", index, "name"),
                found=shown(entry.name),
                allowed="each name once; not new, not last",
            )
        names.add(entry.name)
        yield from _entry(index, entry, context, layout)
    for item in handovers(section, layout, context.survey):
        if not item.partition.fs_uuid:
            yield Fault(
                code="esp-without-id",
                message=f"the menu finds {item.title} by the UUID of the file system on {item.partition.name}, "
                "and the survey has none",
                path=("entries",),
                allowed="a survey that was taken as root",
            )
    yield from _without_entry(section, context, layout)


def _without_entry(section: Bootloader, context: Context, layout: Layout) -> Iterator[Fault]:
    names = {entry.name for entry in section.entries}
    esps = [esp.name for esp in kept_esps(layout)]
    if firmware_menu_only(layout):
        left = [name for name in layout.other_systems if name not in names]
        if left:
            yield Fault(
                code="firmware-menu-only",
                message=f"{one_of(left)} gets no entry in the loader's menu",
                path=("entries",),
                warning=True,
                notes=(
                    "It is, or may be, encrypted, and the disk section says that it is started from the firmware's "
                    "menu: started another way it would ask for its recovery key.",
                ),
            )
        return
    found = {item.name for item in handovers(section, layout, context.survey)}
    shared = len(layout.other_systems) > 1 and found
    for name in layout.other_systems:
        if name not in found and not shared and name not in names:
            yield Fault(
                code="loader-not-found",
                message=f"the survey shows no loader of {name}; it gets no menu entry",
                path=("entries",),
                warning=True,
                notes=(
                    f"Name it with [[bootloader.entries]] name = \"{name}\", loader = '\\EFI\\...\\x.efi', "
                    f"partition = {one_of(esps) or 'an EFI system partition'}, "
                    "or start it from the firmware's boot menu.",
                ),
            )


def _entry(index: int, entry: Entry, context: Context, layout: Layout) -> Iterator[Fault]:
    esps = [esp.name for esp in kept_esps(layout)]
    if entry.partition and entry.partition not in esps:
        yield Fault(
            code="unknown-partition",
            message="the loader of a kept system lies on a kept EFI system partition",
            path=("entries", index, "partition"),
            found=shown(entry.partition),
            allowed=one_of(esps) or "none: no EFI system partition is kept",
            nearest=nearest(entry.partition, esps),
        )
        return
    if entry.loader and not esps:
        yield Fault(
            code="unknown-partition",
            message="no EFI system partition is kept that could hold this loader",
            path=("entries", index, "loader"),
            found=shown(entry.loader),
            allowed="a kept EFI system partition",
        )
        return
    if not entry.loader and entry.name not in layout.other_systems:
        yield Fault(
            code="unknown-system",
            message="this is no kept system; a further entry needs its loader",
            path=("entries", index, "name"),
            found=shown(entry.name),
            allowed=(one_of(layout.other_systems) + ", or " if layout.other_systems else "") + "a loader beside it",
            nearest=nearest(entry.name, layout.other_systems),
        )
    known = [item.loader for item in seen(layout, context.survey)]
    if entry.loader and backslashed(entry.loader).lower() not in [path.lower() for path in known]:
        yield Fault(
            code="loader-not-seen",
            message="the survey does not show this loader",
            path=("entries", index, "loader"),
            found=shown(entry.loader),
            allowed=one_of(known) or None,
            nearest=nearest(backslashed(entry.loader), known),
            warning=True,
        )


def _reach(section: Bootloader, context: Context, layout: Layout, loader: Loader) -> Iterator[Fault]:
    for item in handovers(section, layout, context.survey):
        if reached(loader, item, layout):
            continue
        index = next((index for index, entry in enumerate(section.entries) if entry.name == item.name), None)
        asked = index is not None or layout.other_start_by == "chain-load"
        yield Fault(
            code="loader-out-of-reach",
            warning=not asked,
            message=f"{section.loader} starts only what lies on its own EFI system partition, and the loader of "
            f"{item.name} lies on {item.partition.name}",
            path=("entries",) if index is None else ("entries", index),
            found=shown(item.loader),
            allowed="another loader, the same EFI system partition for both, or the "
            "firmware's boot menu for that system",
        )


def _default(section: Bootloader, context: Context, layout: Layout, loader: Loader) -> Iterator[Fault]:
    found = handovers(section, layout, context.survey)
    names = ["new", "last", *(item.name for item in found if reached(loader, item, layout))]
    if section.default not in names:
        yield Fault(
            code="unknown-default",
            message="the default is none of the menu's entries",
            path=("default",),
            found=shown(section.default),
            allowed=one_of(names),
            nearest=nearest(section.default, names),
        )


def _secure_boot(section: Bootloader, context: Context, layout: Layout, loader: Loader) -> Iterator[Fault]:
    family = context.fact(Family)
    signed = loader.chain in family.packages
    without = f"the {family.name} family has no signed chain with {section.loader} in its main archive"
    if section.secure_boot == "signed" and not signed:
        yield Fault(
            code="no-signed-chain", message=without, path=("secure_boot",), found=shown("signed"), allowed="off"
        )
    if context.survey is None or context.survey.firmware.secure_boot != "on" or section.secure_boot == "signed":
        return
    keys = " The other system may be encrypted: have its recovery key on paper first." if encrypted(layout) else ""
    yield Fault(
        code="secure-boot-on",
        message="Secure Boot is on, and the loader this spec installs is not signed for it",
        path=("secure_boot",),
        found=shown(section.secure_boot),
        warning=True,
        notes=(
            "Either switch Secure Boot off in the firmware's setup before the live medium is started; the script "
            "refuses to begin otherwise." + keys,
            'Or set secure_boot = "signed": the family\'s signed chain is installed and Secure Boot stays on.'
            if signed
            else f"{without[0].upper()}{without[1:]}, so the other choice is not there.",
            "Never delete or replace the firmware's keys for this.",
        ),
    )


def _fallback(section: Bootloader, context: Context, layout: Layout) -> Iterator[Fault]:
    there = fallback_files(context.survey, layout)
    if section.fallback and there:
        yield Fault(
            code="fallback-taken",
            message=f"{there[0]} belongs to another system and is never overwritten",
            path=("fallback",),
            found=shown("true"),
            allowed="false",
        )


def _firmware(context: Context) -> Iterator[Fault]:
    survey = context.survey
    if survey is None:
        return
    if survey.firmware.mode != "uefi":
        yield Fault(
            code="legacy-firmware",
            message="the survey was taken on a machine started in legacy mode",
            allowed="a survey from a live medium that UEFI started",
        )
    elif survey.firmware.bits != 64:
        yield Fault(
            code="firmware-width",
            message=f"the firmware has {survey.firmware.bits} bits, and the loader is for 64",
            allowed="a machine with 64-bit firmware",
        )
    if any(item.startswith(RAID_CONTROLLER) for item in survey.machine.pci):
        yield Fault(
            code="storage-raid-mode",
            message="a storage controller is in RAID mode (vendors call it RST or VMD)",
            warning=True,
            notes=(
                "Leave the mode as it is: a system installed with it does not start after a switch.",
                "If the disk is not visible in the live system, prepare the other system for AHCI first, by its "
                "vendor's own instructions.",
            ),
        )


def _elsewhere(context: Context, layout: Layout) -> Iterator[Fault]:
    """Systems on another fixed disk: this loader's menu does not list them."""
    own = {part.uuid.upper() for part in (*layout.before, *layout.partitions)}
    for disk in context.survey.disks if context.survey else ():
        rows = () if disk.removable or disk.transport == "usb" else disk.partitions
        files = [path for row in rows if row.uuid.upper() not in own for path in row.files]
        loaders = [path for path in files if folder_of(path) != "boot"]
        if loaders:
            yield Fault(
                code="system-on-another-disk",
                warning=True,
                message=f"another disk ({disk.model or disk.path}) has a loader of its own; this menu does not list it",
                path=("entries",),
                found=shown(loaders[0]),
                notes=("Start that system from the firmware's boot menu. Never copy its loader to this disk.",),
            )
