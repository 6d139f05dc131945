"""Everything a loader module needs to know, settled once. Enters: the section and the context. Leaves: a `Plan`."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from attrs import field, frozen

from bedplate.actions import Action, InTarget
from bedplate.facts import Family, LaidPartition, Layout
from bedplate.faults import Fault
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.bootloader.kernel_parameters import holder, parameters
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.other_systems import Handover, handovers

IMAGE_TYPES = {"amd64": ("x64", "6486"), "arm64": ("aa64", "64aa")}
"""By architecture: the image type in loader file names, and the PE machine value, low byte first (UEFI 2.10, 2.1.1
and 3.5.1.1)."""


@frozen(kw_only=True)
class Plan:
    """What is to be installed where."""

    section: Bootloader
    folder: str
    r"""Folder below \EFI that the loader lives in."""
    layout: Layout
    family: Family
    esp: LaidPartition
    root: LaidPartition
    boot: LaidPartition
    """The partition that holds /boot."""
    handovers: tuple[Handover, ...]
    words: tuple[str, ...]
    """Kernel parameters beyond root=."""
    initramfs: Initramfs
    context: Context = field(eq=False, repr=False)
    """For what only one loader asks of the package family: `context.of_family`."""

    @property
    def suffix(self) -> str:
        """`x64` or `aa64`."""
        return IMAGE_TYPES[self.family.architecture][0]

    @property
    def machine(self) -> str:
        """PE machine value, low byte first."""
        return IMAGE_TYPES[self.family.architecture][1]

    @property
    def signed(self) -> bool:
        """Whether the family's signed chain is installed."""
        return self.section.secure_boot == "signed"

    @property
    def foreign_first(self) -> tuple[str, ...]:
        """What whoever writes on the EFI system partition needs: what the packages did there was looked at."""
        return () if self.esp.new else ("loader:foreign",)

    @property
    def esp_root(self) -> InTarget:
        """The mount point of the EFI system partition."""
        return InTarget(self.esp.mount)

    @property
    def roots(self) -> tuple[str, ...]:
        """Values of root= that lead to the root file system, the one we write ourselves first.

        An initramfs looks inside opened containers for a UUID, too: grub-mkconfig writes that wherever
        /dev/disk/by-uuid has it (its 10_linux), else the node.
        """
        inner = f"UUID={self.root.fs_uuid}"
        if self.root.mapper:
            return (f"/dev/mapper/{self.root.mapper}", inner)
        return (inner, f"PARTUUID={self.root.uuid.lower()}", f"PARTUUID={self.root.uuid.upper()}")

    @property
    def root_flags(self) -> str:
        """The value of rootflags=; empty where none is needed."""
        return "".join(f"subvol={volume.name}" for volume in self.root.subvolumes if volume.mount == "/")

    @property
    def command_line(self) -> str:
        """All kernel parameters, as one line."""
        flags = (f"rootflags={self.root_flags}",) if self.root_flags else ()
        return " ".join((f"root={self.roots[0]}", "ro", *flags, *self.words))

    def on_esp(self, path: str) -> InTarget:
        """A path on the EFI system partition, given below its root."""
        return InTarget(f"{self.esp.mount.rstrip('/')}/{path}")


def _named(section: Bootloader) -> str:
    return section.name


def _with_boot(plan: Plan) -> bool:
    return plan.esp.mount == "/boot"


def _never(plan: Plan) -> bool:
    return False


def _no_paths(plan: Plan) -> tuple[str, ...]:
    return ()


def _boot_folder(plan: Plan) -> str:
    return "/boot"


def _no_faults(section: Bootloader, context: Context) -> Iterable[Fault]:
    return ()


@frozen(kw_only=True)
class Loader:
    """What sets one boot loader apart: the value of the point `bootloader.loader`. All callables are pure."""

    concerns: tuple[type[Any], ...] = ()
    """Types that it asks the package family for, see `Context.of_family`; empty: it works with any family."""
    folder: Callable[[Bootloader], str] = _named
    r"""The folder below \EFI that it lives in."""
    ready: Callable[[Plan], bool] = _never
    """Whether the family's package brings that folder, with the image in it."""
    chain: str = ""
    """The generic need of the family's signed chain with this loader; empty: there is none."""
    image: Callable[[Plan], str]
    r"""File name in \EFI\FOLDER of what the firmware starts."""
    files: Callable[[Plan], tuple[str, ...]]
    r"""Further files in \EFI\FOLDER that the image cannot do without, for the fallback path."""
    own: Callable[[Plan], tuple[str, ...]] = _no_paths
    """Paths on the EFI system partition that must be free before this loader comes; they are its own afterwards."""
    reaches_everything: bool = True
    """False: its menu starts only what lies on its own EFI system partition."""
    kernels_on_esp: Callable[[Plan], bool] = _with_boot
    """Whether kernels lie on the EFI system partition."""
    images_by_menu: Callable[[Plan], bool] = _never
    """Whether initramfs images come into being with the menu entries, beside the loader."""
    images: Callable[[Plan], str] = _boot_folder
    """The folder of the target that holds kernels and initramfs images, or their folders by version."""
    check: Callable[[Bootloader, Context], Iterable[Fault]] = _no_faults
    """Faults of the section that only this loader knows; paths relative to the section."""
    configure: Callable[[Plan], Action]
    """Writes the settings; gives no token of its own beside `file:` ones."""
    install: Callable[[Plan], Action]
    """Puts the image on the EFI system partition; needs the loader's packages, gives `loader:installed`."""
    menu: Callable[[Plan], Action]
    """Writes the menu; gives `loader:configured`."""
    upkeep: Callable[[Plan], tuple[str, ...]] = _no_paths
    """For the hand-over sheet: what whoever keeps the machine does about this loader."""
    no_menu: str
    """What a person sees at the first start when the menu is missing, one sentence."""


def settle(section: Bootloader, context: Context) -> Plan | None:
    """The plan, or None if the layout mounts no EFI system partition (the disk step reports that)."""
    layout, family = context.fact(Layout), context.fact(Family)
    root, boot = holder(layout, "/"), holder(layout, "/boot")
    if layout.esp is None or root is None or boot is None:
        return None
    loader = context.extensions(Loader)[section.loader]
    found, initramfs = handovers(section, layout, context.survey), context.of_family(Initramfs)
    return Plan(
        section=section,
        folder=loader.folder(section),
        layout=layout,
        family=family,
        esp=layout.esp,
        root=root,
        boot=boot,
        handovers=tuple(item for item in found if reached(loader, item, layout)),
        words=parameters(section, layout, initramfs),
        initramfs=initramfs,
        context=context,
    )


def reached(loader: Loader, item: Handover, layout: Layout) -> bool:
    """Whether the loader's menu can hand over to it."""
    return loader.reaches_everything or item.partition == layout.esp
