"""What only GRUB can get wrong. Enters: section and context. Leaves: faults, paths relative to the section."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.facts import Family, Layout
from bedplate.faults import Fault, nearest, one_of, shown
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.family import GrubFiles
from bedplate_steps.bootloader.kernel_parameters import holder
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.other_systems import fallback_files


def faults(section: Bootloader, context: Context) -> Iterator[Fault]:
    """Folders that packages fix or write into, what cannot be remembered, a fallback that comes along."""
    layout, family = context.fact(Layout), context.fact(Family)
    own = context.of_family(GrubFiles)
    yield from _fixed(section, family, own)
    yield from _remembers(section, layout)
    yield from _packaged_fallback(section, context, layout, family, own)
    yield from own.check(section, context)


def _fixed(section: Bootloader, family: Family, own: GrubFiles) -> Iterator[Fault]:
    fixed = own.ready or (own.signed if section.secure_boot == "signed" else ())
    if fixed and section.name.casefold() not in fixed:
        yield Fault(
            code="folder-fixed",
            message=f"the loader of the {family.name} family comes ready-made and works only in its own folder",
            path=("name",),
            found=shown(section.name),
            allowed=one_of(fixed),
            nearest=nearest(section.name.casefold(), fixed),
        )


def _remembers(section: Bootloader, layout: Layout) -> Iterator[Fault]:
    boot = holder(layout, "/boot")
    if section.default == "last" and boot is not None and boot.filesystem == "btrfs":
        yield Fault(
            code="cannot-remember",
            message="GRUB cannot write on btrfs, where /boot lies: it cannot remember",
            path=("default",),
            found=shown("last"),
            allowed="new, an entry's name, or /boot on another file system",
        )


def _packaged_fallback(
    section: Bootloader, context: Context, layout: Layout, family: Family, own: GrubFiles
) -> Iterator[Fault]:
    there = fallback_files(context.survey, layout)
    if own.signed_writes_fallback and section.secure_boot == "signed" and there and not section.fallback:
        yield Fault(
            code="fallback-taken",
            message=f"{there[0]} belongs to another system and is never overwritten",
            path=("secure_boot",),
            found=shown("signed"),
            allowed="off",
            notes=(f"Signed packages of the {family.name} family write \\EFI\\BOOT by themselves.",),
        )
