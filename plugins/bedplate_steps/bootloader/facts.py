"""What the boot loader step tells other steps: the kernel's command line. Leaves: `KernelParameters`."""

from __future__ import annotations

from bedplate.facts import KernelParameters, Layout
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.bootloader.kernel_parameters import parameters
from bedplate_steps.bootloader.model import Bootloader


def kernel_parameters(section: Bootloader, context: Context) -> KernelParameters:
    """The fact: all words beyond root=, in order."""
    return KernelParameters(words=parameters(section, context.fact(Layout), context.of_family(Initramfs)))
