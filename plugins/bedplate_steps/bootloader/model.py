"""The `[bootloader]` section as frozen types. Field names are the spec's keys."""

from __future__ import annotations

from attrs import field, frozen


@frozen(kw_only=True)
class Entry:
    """`[[bootloader.entries]]`: a menu entry that hands over to a kept system's own loader."""

    name: str
    """Name of the kept partition that holds the system, or a free name for a further entry."""
    title: str = ""
    """What the menu shows; empty: the label of the firmware's boot entry."""
    loader: str = ""
    r"""Path of its loader, `\EFI\...\x.efi`; empty: taken from the survey."""
    partition: str = ""
    """Name of the kept EFI system partition that holds the loader; empty: the one that was found to hold it."""


@frozen(kw_only=True)
class Medium:
    """`[bootloader.medium]`: file names for the commands that verify and write the live medium."""

    image: str = "live.iso"
    checksums: str = "SHA256SUMS"
    signature: str = "SHA256SUMS.gpg"
    keyring: str = "keyring.gpg"


@frozen(kw_only=True)
class FirmwareKeys:
    """`[bootloader.firmware]`: the keys a person presses on this machine; empty if not known."""

    boot_menu_key: str = ""
    setup_key: str = ""


@frozen(kw_only=True)
class Bootloader:
    """The `[bootloader]` section."""

    name: str
    r"""Folder below \EFI and label of the boot entry."""
    loader: str = "grub"
    menu_time: int = 5
    """Seconds the menu waits."""
    default: str = "new"
    """`new`, `last` or the name of an entry."""
    kernel_parameters: tuple[str, ...] = ()
    terminal: str = "screen"
    """`screen`, `serial` or `both`: where loader and kernel speak."""
    serial_port: str = "ttyS0"
    serial_speed: int = 115200
    """Bits per second."""
    entries: tuple[Entry, ...] = ()
    fallback: bool = False
    r"""Also write \EFI\BOOT, which firmware starts when it has no entry."""
    secure_boot: str = "off"
    """`off` (switched off in the firmware) or `signed` (the family's signed chain)."""
    boot_entry_position: str = "first"
    """`first` or `last` in the firmware's boot order."""
    entry_path: str = "short"
    """`short` (partition and file) or `full` (from the PCI root) device path in the boot entry."""
    medium: Medium = field(factory=Medium)
    firmware: FirmwareKeys = field(factory=FirmwareKeys)
