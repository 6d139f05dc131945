"""What only systemd-boot can get wrong. Enters: section and context. Leaves: faults, paths relative to the section."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.facts import Family, LaidPartition, Layout
from bedplate.faults import Fault, one_of, shown
from bedplate.hookspecs import Context
from bedplate.units import MIB, in_gib
from bedplate_steps.bootloader.emit_firmware import KERNEL_ROOM_KIB
from bedplate_steps.bootloader.family import KernelEntries
from bedplate_steps.bootloader.kernel_parameters import holder
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.other_systems import surveyed

FOLDER = "systemd"
r"""The loader's folder below \EFI; bootctl(1) looks nowhere else, nor do the scripts that copy new kernels."""
XBOOTLDR = "BC13C2FF-59E6-4262-A352-B275FD6F7172"
"""GPT type of an extended boot partition (Discoverable Partitions Specification; Boot Loader Specification)."""
RESERVED = ("efi", "loader")
"""Folders at the root of $BOOT that have a meaning (Boot Loader Specification)."""
ADVISED = 1024 * MIB
"""Bytes from which the Boot Loader Specification takes an existing EFI system partition to be big enough."""


def boot_partition(layout: Layout) -> LaidPartition | None:
    """$BOOT of the Boot Loader Specification: the extended boot partition, else the EFI system partition."""
    extended = layout.role("xbootldr")
    return extended if extended is not None and extended.mount else layout.esp


def faults(section: Bootloader, context: Context) -> Iterator[Fault]:
    """Names with a meaning, a $BOOT the family cannot use, too little room for kernels."""
    layout, family = context.fact(Layout), context.fact(Family)
    boot = boot_partition(layout)
    if section.name in RESERVED:
        yield Fault(
            code="folder-taken",
            message=f"a folder called {section.name} has a meaning for the loader",
            path=("name",),
            found=shown(section.name),
            allowed=f"a name other than {one_of(RESERVED)}",
        )
    if boot is None:
        return
    yield from _place(family, context.of_family(KernelEntries), layout, boot)
    yield from _extended(layout, boot)
    yield from _room(context, layout, boot)


def _place(family: Family, way: KernelEntries, layout: Layout, boot: LaidPartition) -> Iterator[Fault]:
    if boot.filesystem != "vfat":
        yield Fault(
            code="kernels-not-on-fat",
            message=f"kernels would lie on {boot.name}, and the loader reads FAT only",
            path=("loader",),
            found=f"{boot.filesystem} at {boot.mount}",
            allowed="vfat",
        )
    under = holder(layout, "/boot")
    if way.links_kernels and under is not None and under.filesystem == "vfat":
        yield Fault(
            code="boot-on-fat",
            message=f"{under.name} puts /boot on FAT, and the {family.name} family's package tool cannot replace "
            "a kernel there",
            path=("loader",),
            found=shown(under.mount),
            allowed="/xbootldr for an extended boot partition, /efi or /boot/efi for the EFI system partition",
            notes=(
                "It links the old file aside before it puts the new one in its place, and FAT has no links "
                "(link(2): EPERM). Kernels are copied to FAT from /boot, which stays on the root.",
            ),
        )
    if not way.image and boot.mount != "/boot":
        yield Fault(
            code="boot-elsewhere",
            message=f"the {family.name} family leaves its kernels in /boot, where the loader has to find them",
            path=("loader",),
            found=f"{boot.name} at {boot.mount}",
            allowed='mount = "/boot" for the extended boot partition, or else for the EFI system partition',
        )
    if family.architecture not in way.architectures:
        yield Fault(
            code="loader-unfit",
            message=f"the names of this family's kernels are known for {one_of(way.architectures)} only",
            path=("loader",),
            found=family.architecture,
            allowed="grub",
        )


def _extended(layout: Layout, boot: LaidPartition) -> Iterator[Fault]:
    there = next((part for part in layout.partitions if part.type.upper() == XBOOTLDR and part != boot), None)
    if there is not None and boot.type.upper() == XBOOTLDR:
        yield Fault(
            code="second-xbootldr",
            message=f"{there.name} is an extended boot partition already; the loader looks at the first one only",
            path=("loader",),
            found=there.name,
            allowed="one on each disk (Boot Loader Specification, The Partitions)",
        )


def _room(context: Context, layout: Layout, boot: LaidPartition) -> Iterator[Fault]:
    need = KERNEL_ROOM_KIB * 1024
    size = boot.size * layout.sector_size
    row = surveyed(context.survey, boot) if not boot.new else None
    free = row.filesystem.free_bytes if row is not None and row.filesystem is not None else None
    room = min(size, free) if free is not None else size
    if room < need:
        cure = (
            "a larger one"
            if boot.new
            else 'a new partition with type = "xbootldr", filesystem = "vfat" and 1 GiB, mounted at /xbootldr (apt) or '
            "/boot, beside it"
        )
        yield Fault(
            code="no-room-for-kernels",
            message=f"{boot.name} has {in_gib(room)} for kernels and their initramfs, they may need {in_gib(need)}",
            path=("loader",),
            found=boot.name,
            allowed=cure,
            notes=(
                "Two kernels of 150 MiB each with their initramfs, and room to replace one (common practice, no "
                "source).",
            ),
        )
    elif not boot.new and boot.type.upper() != XBOOTLDR and size < ADVISED:
        yield Fault(
            code="kernels-crowded",
            warning=True,
            message=f"{boot.name} is smaller than the {in_gib(ADVISED)} from which kernels are sure to fit",
            path=("loader",),
            found=in_gib(size),
            notes=(
                "source: Boot Loader Specification, Creating These Partitions; otherwise an extended boot "
                "partition is made.",
            ),
        )
