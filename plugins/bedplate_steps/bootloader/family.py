"""What the loaders ask of the package family: one frozen type per concern, brought by the family (`initramfs` too)."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from attrs import field, frozen

from bedplate.actions import Argv, Check, Operation
from bedplate.faults import Fault
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.plan import Plan


def _no_faults(section: Bootloader, context: Context) -> Iterable[Fault]:
    return ()


def _no_upkeep(plan: Plan) -> tuple[str, ...]:
    return ()


@frozen(kw_only=True)
class Current:
    """What keeps a loader current and as planned through updates of its package."""

    files: dict[str, str] = field(factory=dict, hash=False)
    """Path and text of each settings file."""
    operations: tuple[Operation, ...] = ()
    """Work in the target, after the files."""
    proofs: tuple[Check, ...] = ()
    """Proofs of the operations."""


@frozen(kw_only=True)
class GrubFiles:
    """Where GRUB's files lie, and who brings its image."""

    settings: str
    """The file that grub-mkconfig sources."""
    menu: str
    make_menu: Argv
    """Command in the target that writes the menu."""
    ready: tuple[str, ...] = ()
    r"""Folders below \EFI: a package brings a ready-made image into one of them, which works only there; empty:
    grub-install makes the image."""
    signed: tuple[str, ...] = ()
    r"""The same of the signed image, where the other is made."""
    signed_writes_fallback: bool = False
    r"""Whether the signed packages write \EFI\BOOT by themselves."""
    kernels_listed: bool = False
    """Whether the menu takes its kernels from boot loader specification entries."""
    install_options: Callable[[bool], tuple[str, ...]] = lambda signed: ()
    """Further options of grub-install; told whether the signed chain is wanted."""
    current: Callable[[Plan, tuple[str, ...]], Current] = lambda plan, install: Current()
    """What keeps it current; told the command that puts the image in its place."""
    upkeep: Callable[[Plan], tuple[str, ...]] = _no_upkeep
    """For the hand-over sheet: what whoever keeps the machine does about this loader."""
    check: Callable[[Bootloader, Context], Iterable[Fault]] = _no_faults
    """Faults of the section that only this family knows; paths relative to the section."""


@frozen(kw_only=True)
class KernelEntries:
    """How kernels come to a loader that reads boot loader specification entries on FAT."""

    image: str = ""
    """Path of a kernel's image as kernel-install(8) is given it, with `$one` for the version; empty: kernels keep
    their names in /boot, where the loader has to find them, and the entries are written once."""
    images_by_entry: bool = False
    """Whether kernel-install has the initramfs built beside the loader; else it copies what lies in /boot."""
    renews_loader: bool = False
    """Whether the package copies a newer loader by itself; else systemd-boot-update.service(8) does."""
    links_kernels: bool = False
    """Whether the package tool makes links in /boot, so that it cannot be FAT."""
    architectures: tuple[str, ...] = ("amd64", "arm64")
    """Those for which it is known."""
    upkeep: str
    """For the hand-over sheet: what whoever keeps the machine does about kernels beside the loader."""
