"""Everything a loader module needs to know, settled once. Enters: the section and the context. Leaves: a `Plan`."""

from __future__ import annotations

from collections.abc import Callable

from attrs import frozen

from bedplate.actions import Action, InTarget
from bedplate.facts import Family, LaidPartition, Layout
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.foreign import Handover, handovers
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.parameters import holder, words

IMAGE_TYPES = {"amd64": ("x64", "6486"), "arm64": ("aa64", "64aa")}
"""By architecture: the image type in loader file names, and the PE machine value, low byte first (UEFI 2.10, 2.1.1
and 3.5.1.1)."""


@frozen(kw_only=True)
class Plan:
    """What is to be installed where."""

    section: Bootloader
    layout: Layout
    family: Family
    esp: LaidPartition
    root: LaidPartition
    boot: LaidPartition
    """The partition that holds /boot."""
    handovers: tuple[Handover, ...]
    words: tuple[str, ...]
    """Kernel parameters beyond root=."""

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
    def esp_root(self) -> InTarget:
        """The mount point of the EFI system partition."""
        return InTarget(self.esp.mount)

    @property
    def root_word(self) -> str:
        """The root= parameter the menu must have."""
        return f"root=/dev/mapper/{self.root.mapper}" if self.root.mapper else f"root=UUID={self.root.fs_uuid}"

    def on_esp(self, path: str) -> InTarget:
        """A path on the EFI system partition, given below its root."""
        return InTarget(f"{self.esp.mount.rstrip('/')}/{path}")


@frozen(kw_only=True)
class Loader:
    """What sets one boot loader apart: the value of the point `bootloader.loader`. All callables are pure."""

    families: tuple[str, ...] = ()
    """The package families it knows its files of; empty: it works with any."""
    image: Callable[[Plan], str]
    r"""File name in \EFI\NAME of what the firmware starts."""
    files: Callable[[Plan], tuple[str, ...]]
    r"""Further files in \EFI\NAME that the image cannot do without, for the fallback path."""
    configure: Callable[[Plan], Action]
    """Writes the settings; gives no token of its own beside `file:` ones."""
    install: Callable[[Plan], Action]
    """Puts the image on the EFI system partition; needs the loader's packages, gives `loader:installed`."""
    menu: Callable[[Plan], Action]
    """Writes the menu; gives `loader:configured`."""


def settle(section: Bootloader, context: Context) -> Plan | None:
    """The plan, or None if the layout mounts no EFI system partition (the disk step reports that)."""
    layout, family = context.fact(Layout), context.fact(Family)
    root, boot = holder(layout, "/"), holder(layout, "/boot")
    if layout.esp is None or root is None or boot is None:
        return None
    return Plan(
        section=section,
        layout=layout,
        family=family,
        esp=layout.esp,
        root=root,
        boot=boot,
        handovers=handovers(section, layout, context.survey),
        words=words(section, layout, family),
    )
