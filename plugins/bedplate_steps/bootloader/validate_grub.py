"""What only GRUB can get wrong. Enters: section and context. Leaves: faults, paths relative to the section."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.facts import Family, Layout
from bedplate.faults import Fault, nearest, one_of, shown
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.kernel_parameters import holder
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.other_systems import fallback_files, folders_on

DNF_FOLDERS = ("almalinux", "centos", "fedora", "redhat", "rocky")
r"""Folders that packages of the dnf family put their loader into (from memory)."""
SIGNED_FOLDERS = ("debian", "ubuntu")
"""Folders that the signed image of the apt family looks for its settings in (from memory)."""


def faults(section: Bootloader, context: Context) -> Iterator[Fault]:
    """Folders that packages fix or write into, what cannot be remembered, a fallback that comes along."""
    layout, family = context.fact(Layout), context.fact(Family)
    yield from _fixed(section, family)
    yield from _remembers(section, layout)
    yield from _packaged_fallback(section, context, layout, family)
    yield from _updates(context, layout, family)


def _fixed(section: Bootloader, family: Family) -> Iterator[Fault]:
    signed = family.name == "apt" and section.secure_boot == "signed"
    fixed = DNF_FOLDERS if family.name == "dnf" else SIGNED_FOLDERS if signed else ()
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


def _packaged_fallback(section: Bootloader, context: Context, layout: Layout, family: Family) -> Iterator[Fault]:
    there = fallback_files(context.survey, layout)
    if family.name == "dnf" and section.secure_boot == "signed" and there and not section.fallback:
        yield Fault(
            code="fallback-taken",
            message=f"{there[0]} belongs to another system and is never overwritten",
            path=("secure_boot",),
            found=shown("signed"),
            allowed="off",
            notes=("Signed packages of the dnf family write \\EFI\\BOOT by themselves.",),
        )


def _updates(context: Context, layout: Layout, family: Family) -> Iterator[Fault]:
    # The script that Debian's grub-efi package runs when it is installed and updated (2.06-13+deb12u2) puts the loader
    # into /boot/efi/EFI/DISTRIBUTOR if that folder exists; the first time, DISTRIBUTOR is still the family's own name.
    if family.name != "apt" or layout.esp is None:
        return
    foreign = sorted(folders_on(context.survey, layout) & set(SIGNED_FOLDERS))
    if layout.esp.mount == "/boot/efi" and foreign:
        yield Fault(
            code="family-folder-taken",
            message=f"\\EFI\\{foreign[0]} belongs to another system, and the family's package would write into it",
            allowed='mount = "/efi" for the EFI system partition in the disk section: the package does not look there',
        )
    if layout.esp.mount != "/boot/efi":
        yield Fault(
            code="loader-not-updated",
            warning=True,
            message=f"updates of the apt family's package do not reach a loader on {layout.esp.mount}",
            notes=(
                "After an update of grub-efi run grub-install with the options of this installation, or mount the "
                "EFI system partition at /boot/efi.",
            ),
        )
