"""Faults and warnings of the section that a schema cannot tell. Paths are relative to the section."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bedplate.facts import Family, LaidPartition, Layout
from bedplate.faults import Fault, nearest, one_of, shown
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.foreign import (
    backslashed,
    encrypted,
    firmware_menu_only,
    handovers,
    kept_esps,
    seen,
    surveyed,
)
from bedplate_steps.bootloader.model import Bootloader, Entry
from bedplate_steps.bootloader.parameters import COMPUTED, holder
from bedplate_steps.bootloader.plan import Loader

RESERVED = ("boot", "microsoft")
r"""Folders below \EFI that belong to the fallback path and to a factory system (UEFI 2.10, 13.3.1.3)."""
DNF_FOLDERS = ("almalinux", "centos", "fedora", "redhat", "rocky")
r"""Folders that packages of the dnf family put their loader into (from memory)."""
SIGNED_FOLDERS = ("debian", "ubuntu")
"""Folders that the signed image of the apt family looks for its settings in (from memory)."""
RAID_CONTROLLER = "0104"
"""PCI class of a RAID controller (PCI code and ID assignment)."""


def check(section: Bootloader, context: Context) -> Iterable[Fault]:
    """All faults of the section."""
    layout, family = context.fact(Layout), context.fact(Family)
    yield from _loader(section, context, family)
    yield from _name(section, context, layout, family)
    yield from _parameters(section)
    yield from _entries(section, context, layout)
    yield from _default(section, context, layout)
    yield from _secure_boot(section, context, layout, family)
    yield from _fallback(section, context, layout, family)
    yield from _updates(context, layout, family)
    yield from _firmware(context)
    yield from _elsewhere(context, layout)


def _loader(section: Bootloader, context: Context, family: Family) -> Iterator[Fault]:
    families = context.extensions(Loader)[section.loader].families
    if families and family.name not in families:
        yield Fault(
            code="loader-unfit",
            message=f"{section.loader} does not know where the {family.name} family keeps its files",
            path=("loader",), found=shown(section.loader), allowed=f"a package family among {one_of(families)}",
        )  # fmt: skip


def _name(section: Bootloader, context: Context, layout: Layout, family: Family) -> Iterator[Fault]:
    name = section.name.casefold()
    fixed = _fixed_names(section, family)
    if fixed and name not in fixed:
        yield Fault(
            code="folder-fixed",
            message=f"the loader of the {family.name} family comes ready-made and works only in its own folder",
            path=("name",), found=shown(section.name), allowed=one_of(fixed), nearest=nearest(name, fixed),
        )  # fmt: skip
    folders = {_folder(path) for esp in _used_esps(layout) for path in _files(context, esp)}
    if name in RESERVED or name in folders:
        yield Fault(
            code="folder-taken",
            message=f"\\EFI\\{section.name} belongs to another system",
            path=("name",), found=shown(section.name),
            allowed="a name that no folder below \\EFI has; taken are " + ", ".join(sorted({*RESERVED, *folders})),
            notes=("If an earlier run of this spec made that folder, compile with the survey from before it.",),
        )  # fmt: skip
    labels = [entry.label for entry in context.survey.firmware.entries] if context.survey else []
    if name not in folders and any(label.strip().casefold() == name for label in labels):
        yield Fault(
            code="label-taken",
            message=f"the firmware has a boot entry labelled {section.name} already; package updates would rewrite it",
            path=("name",), found=shown(section.name), allowed="a label that no boot entry has",
        )  # fmt: skip


def _fixed_names(section: Bootloader, family: Family) -> tuple[str, ...]:
    if family.name == "dnf":
        return DNF_FOLDERS
    return SIGNED_FOLDERS if family.name == "apt" and section.secure_boot == "signed" else ()


def _parameters(section: Bootloader) -> Iterator[Fault]:
    for index, word in enumerate(section.kernel_parameters):
        key = word.split("=", 1)[0]
        if key in COMPUTED or key.startswith("rd.luks."):
            yield Fault(
                code="parameter-computed", message=f"{key} follows from the disk section and must not be set by hand",
                path=("kernel_parameters", index), found=shown(word), allowed="other kernel parameters",
            )  # fmt: skip
        if key == "console" and section.terminal != "screen":
            yield Fault(
                code="parameter-computed", message="console= follows from terminal and must not be set by hand",
                path=("kernel_parameters", index), found=shown(word), allowed='console= only with terminal = "screen"',
            )  # fmt: skip


def _entries(section: Bootloader, context: Context, layout: Layout) -> Iterator[Fault]:
    names: set[str] = set()
    for index, entry in enumerate(section.entries):
        if entry.name in names or entry.name in ("new", "last"):
            yield Fault(
                code="entry-name-taken", message=f"the name {entry.name} is used already, or has a meaning of its own",
                path=("entries", index, "name"), found=shown(entry.name), allowed="each name once; not new, not last",
            )  # fmt: skip
        names.add(entry.name)
        yield from _entry(index, entry, context, layout)
    for item in handovers(section, layout, context.survey):
        if not item.partition.fs_uuid:
            yield Fault(
                code="esp-without-id",
                message=f"the menu finds {item.title} by the UUID of the file system on {item.partition.name}, "
                "and the survey has none",
                path=("entries",), allowed="a survey that was taken as root",
            )  # fmt: skip
    yield from _without_entry(section, context, layout)


def _without_entry(section: Bootloader, context: Context, layout: Layout) -> Iterator[Fault]:
    names = {entry.name for entry in section.entries}
    esps = [esp.name for esp in kept_esps(layout)]
    if firmware_menu_only(layout):
        left = [name for name in layout.other_systems if name not in names]
        if left:
            yield Fault(
                code="firmware-menu-only", message=f"{one_of(left)} gets no entry in the loader's menu",
                path=("entries",), warning=True,
                notes=("It is, or may be, encrypted, and the disk section says that it is started from the firmware's "
                       "menu: started another way it would ask for its recovery key.",),
            )  # fmt: skip
        return
    found = {item.name for item in handovers(section, layout, context.survey)}
    shared = len(layout.other_systems) > 1 and found
    for name in layout.other_systems:
        if name not in found and not shared and name not in names:
            yield Fault(
                code="loader-not-found", message=f"the survey shows no loader of {name}; it gets no menu entry",
                path=("entries",), warning=True,
                notes=(f"Name it with [[bootloader.entries]] name = \"{name}\", loader = '\\EFI\\...\\x.efi', "
                       f"partition = {one_of(esps) or 'an EFI system partition'}, "
                       "or start it from the firmware's boot menu.",),
            )  # fmt: skip


def _entry(index: int, entry: Entry, context: Context, layout: Layout) -> Iterator[Fault]:
    esps = [esp.name for esp in kept_esps(layout)]
    if entry.partition and entry.partition not in esps:
        yield Fault(
            code="unknown-partition", message="the loader of a kept system lies on a kept EFI system partition",
            path=("entries", index, "partition"), found=shown(entry.partition),
            allowed=one_of(esps) or "none: no EFI system partition is kept", nearest=nearest(entry.partition, esps),
        )  # fmt: skip
        return
    if entry.loader and not esps:
        yield Fault(
            code="unknown-partition", message="no EFI system partition is kept that could hold this loader",
            path=("entries", index, "loader"), found=shown(entry.loader), allowed="a kept EFI system partition",
        )  # fmt: skip
        return
    if not entry.loader and entry.name not in layout.other_systems:
        yield Fault(
            code="unknown-system", message="this is no kept system; a further entry needs its loader",
            path=("entries", index, "name"), found=shown(entry.name),
            allowed=(one_of(layout.other_systems) + ", or " if layout.other_systems else "") + "a loader beside it",
            nearest=nearest(entry.name, layout.other_systems),
        )  # fmt: skip
    known = [item.loader for item in seen(layout, context.survey)]
    if entry.loader and backslashed(entry.loader).lower() not in [path.lower() for path in known]:
        yield Fault(
            code="loader-not-seen", message="the survey does not show this loader",
            path=("entries", index, "loader"), found=shown(entry.loader), allowed=one_of(known) or None,
            nearest=nearest(backslashed(entry.loader), known), warning=True,
        )  # fmt: skip


def _default(section: Bootloader, context: Context, layout: Layout) -> Iterator[Fault]:
    names = ["new", "last", *(item.name for item in handovers(section, layout, context.survey))]
    if section.default not in names:
        yield Fault(
            code="unknown-default", message="the default is none of the menu's entries",
            path=("default",), found=shown(section.default), allowed=one_of(names),
            nearest=nearest(section.default, names),
        )  # fmt: skip
    boot = holder(layout, "/boot")
    if section.default == "last" and boot is not None and boot.filesystem == "btrfs":
        yield Fault(
            code="cannot-remember", message="GRUB cannot write on btrfs, where /boot lies: it cannot remember",
            path=("default",), found=shown("last"), allowed="new, an entry's name, or /boot on another file system",
        )  # fmt: skip


def _secure_boot(section: Bootloader, context: Context, layout: Layout, family: Family) -> Iterator[Fault]:
    if section.secure_boot == "signed" and "secure-boot" not in family.packages:
        yield Fault(
            code="no-signed-chain", message=f"the {family.name} family has no signed chain in its main archive",
            path=("secure_boot",), found=shown("signed"), allowed="off",
        )  # fmt: skip
    if context.survey is None or context.survey.firmware.secure_boot != "on" or section.secure_boot == "signed":
        return
    keys = " The other system may be encrypted: have its recovery key on paper first." if encrypted(layout) else ""
    signed = "secure-boot" in family.packages
    yield Fault(
        code="secure-boot-on",
        message="Secure Boot is on, and the loader this spec installs is not signed for it",
        path=("secure_boot",), found=shown(section.secure_boot), warning=True,
        notes=(
            "Either switch Secure Boot off in the firmware's setup before the live medium is started; the script "
            "refuses to begin otherwise." + keys,
            'Or set secure_boot = "signed": the family\'s signed chain is installed and Secure Boot stays on.' if signed
            else f"The {family.name} family has no signed chain in its main archive, so the other choice is not there.",
            "Never delete or replace the firmware's keys for this.",
        ),
    )  # fmt: skip


def _fallback(section: Bootloader, context: Context, layout: Layout, family: Family) -> Iterator[Fault]:
    writes = section.fallback or (family.name == "dnf" and section.secure_boot == "signed")
    there = sorted(path for esp in _used_esps(layout) for path in _files(context, esp) if _folder(path) == "boot")
    if writes and there:
        yield Fault(
            code="fallback-taken", message=f"{there[0]} belongs to another system and is never overwritten",
            path=("fallback",) if section.fallback else ("secure_boot",),
            found=shown("true" if section.fallback else "signed"), allowed="false" if section.fallback else "off",
            notes=() if section.fallback else ("Signed packages of the dnf family write \\EFI\\BOOT by themselves.",),
        )  # fmt: skip


def _updates(context: Context, layout: Layout, family: Family) -> Iterator[Fault]:
    # The script that Debian's grub-efi package runs when it is installed and updated (2.06-13+deb12u2) puts the loader
    # into /boot/efi/EFI/DISTRIBUTOR if that folder exists; the first time, DISTRIBUTOR is still the family's own name.
    if family.name != "apt" or layout.esp is None:
        return
    folders = {_folder(path) for esp in _used_esps(layout) for path in _files(context, esp)}
    foreign = sorted(folders & set(SIGNED_FOLDERS))
    if layout.esp.mount == "/boot/efi" and foreign:
        yield Fault(
            code="family-folder-taken",
            message=f"\\EFI\\{foreign[0]} belongs to another system, and the family's package would write into it",
            allowed='mount = "/efi" for the EFI system partition in the disk section: the package does not look there',
        )  # fmt: skip
    if layout.esp.mount != "/boot/efi":
        yield Fault(
            code="loader-not-updated", warning=True,
            message=f"updates of the apt family's package do not reach a loader on {layout.esp.mount}",
            notes=("After an update of grub-efi run grub-install with the options of this installation, or mount the "
                   "EFI system partition at /boot/efi.",),
        )  # fmt: skip


def _firmware(context: Context) -> Iterator[Fault]:
    survey = context.survey
    if survey is None:
        return
    if survey.firmware.mode != "uefi":
        yield Fault(
            code="legacy-firmware", message="the survey was taken on a machine started in legacy mode",
            allowed="a survey from a live medium that UEFI started",
        )  # fmt: skip
    elif survey.firmware.bits != 64:
        yield Fault(
            code="firmware-width", message=f"the firmware has {survey.firmware.bits} bits, and the loader is for 64",
            allowed="a machine with 64-bit firmware",
        )  # fmt: skip
    if any(item.startswith(RAID_CONTROLLER) for item in survey.machine.pci):
        yield Fault(
            code="storage-raid-mode", message="a storage controller is in RAID mode (vendors call it RST or VMD)",
            warning=True,
            notes=("Leave the mode as it is: a system installed with it does not start after a switch.",
                   "If the disk is not visible in the live system, prepare the other system for AHCI first, by its "
                   "vendor's own instructions."),
        )  # fmt: skip


def _elsewhere(context: Context, layout: Layout) -> Iterator[Fault]:
    """Systems on another fixed disk: this loader's menu does not list them."""
    own = {part.uuid.upper() for part in (*layout.before, *layout.partitions)}
    for disk in context.survey.disks if context.survey else ():
        rows = () if disk.removable or disk.transport == "usb" else disk.partitions
        loaders = [path for row in rows if row.uuid.upper() not in own for path in row.files if _folder(path) != "boot"]
        if loaders:
            yield Fault(
                code="system-on-another-disk", warning=True,
                message=f"another disk ({disk.model or disk.path}) has a loader of its own; this menu does not list it",
                path=("entries",), found=shown(loaders[0]),
                notes=("Start that system from the firmware's boot menu. Never copy its loader to this disk.",),
            )  # fmt: skip


def _used_esps(layout: Layout) -> tuple[LaidPartition, ...]:
    return tuple(esp for esp in kept_esps(layout) if esp.mount)


def _files(context: Context, esp: LaidPartition) -> tuple[str, ...]:
    row = surveyed(context.survey, esp)
    entries = context.survey.firmware.entries if context.survey else ()
    stored = (item.loader for item in entries if item.loader and item.partition.upper() == esp.uuid.upper())
    return (*(backslashed(path) for path in (row.files if row else ())), *stored)


def _folder(path: str) -> str:
    parts = backslashed(path).casefold().split("\\")
    return parts[2] if len(parts) > 3 and parts[1] == "efi" else ""
