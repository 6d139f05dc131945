"""The `[bootloader]` step: what the firmware starts, what its menu offers, and the manual parts around it.

Enters: the section, the layout and the package family as facts, the survey. Leaves: actions that save the firmware's
boot entries and the files of the EFI system partition, rebuild the initramfs, install and configure the loader, add
one boot entry and prove that everything foreign is as it was; and the work for people: medium, firmware settings,
first boots. Gives the fact `KernelParameters`.

    [bootloader]
    name = "kelp"                       # folder below \\EFI and label of the boot entry
    loader = "grub"                     # or "systemd-boot"
    menu_time = 5                       # seconds
    default = "new"                     # or "last", or the name of an entry
    kernel_parameters = ["quiet"]

    [[bootloader.entries]]              # only to change the entry a kept system gets by itself
    name = "factory"
    title = "Factory system"
    loader = '\\EFI\\Microsoft\\Boot\\bootmgfw.efi'

    [bootloader.firmware]
    boot_menu_key = "F12"
"""

from __future__ import annotations

from bedplate.facts import KernelParameters
from bedplate.functions import Folder
from bedplate.hookspecs import Extension, Step, hookimpl, later
from bedplate_steps.bootloader.emit import emit
from bedplate_steps.bootloader.facts import kernel_parameters
from bedplate_steps.bootloader.grub import GRUB
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.plan import Loader
from bedplate_steps.bootloader.systemd_boot import SYSTEMD_BOOT
from bedplate_steps.bootloader.validate import validate

__all__ = ["bedplate_contract", "bedplate_extensions", "bedplate_steps"]


bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The boot loader step."""
    return [
        Step(
            section="bootloader",
            title="Boot loader, its menu and boot entry, medium, firmware settings and first boots",
            model=Bootloader,
            emit=emit,
            functions=Folder(__name__),
            changes=later("bedplate_steps.bootloader.changes:changes"),
            validate=validate,
            facts={KernelParameters: kernel_parameters},
            concerns=(Initramfs,),
            draft=later("bedplate_steps.bootloader.draft:draft"),
            draft_rank=70,
            required=True,
            points={"loader": Loader},
        )
    ]


@hookimpl
def bedplate_extensions() -> list[Extension]:
    """The boot loaders that come with Bedplate."""
    return [
        Extension(point="bootloader.loader", name="grub", value=GRUB),
        Extension(point="bootloader.loader", name="systemd-boot", value=SYSTEMD_BOOT),
    ]
