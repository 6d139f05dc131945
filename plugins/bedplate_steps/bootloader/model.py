"""The `[bootloader]` section: what the firmware starts, and what its menu offers."""

from typing import Literal

from bedplate.schema import INVISIBLE, Keywords, key, table

ENTRY_NAME = Keywords(pattern="^[A-Za-z0-9][A-Za-z0-9_.-]*$", maxLength=64)
FILE_NAME = Keywords(pattern="^[A-Za-z0-9_][A-Za-z0-9._+~-]*$", maxLength=128)
VISIBLE = f"^[^{INVISIBLE}]*$"


@table
class Entry:
    """One menu entry that hands over to a kept system's own loader."""

    name: str = key("Name of the kept partition that holds the system, or a free name for a further entry.", ENTRY_NAME)
    title: str = key(
        "What the menu shows. One line of free text, without signs that do not show.",
        pattern=VISIBLE,
        maxLength=80,
        default="",
    )
    loader: str = key(
        r"Path of the system's loader on the EFI system partition, such as \EFI\Microsoft\Boot\bootmgfw.efi (a "
        "TOML literal string in single quotes saves doubling the backslashes).",
        title="Loader path",
        pattern=r"^([\\/][A-Za-z0-9 ._+()~-]*[A-Za-z0-9_+()~-])+\.[Ee][Ff][Ii]$",
        maxLength=200,
        default="",
    )
    partition: str = key("Name of the kept EFI system partition that holds the loader.", ENTRY_NAME, default="")


@table(title="Live medium")
class Medium:
    """File names for the commands that verify and write the live medium."""

    image: str = key("File name of the medium's image.", FILE_NAME, default="live.iso")
    checksums: str = key("File with the SHA-256 sums of the images.", FILE_NAME, default="SHA256SUMS")
    signature: str = key("Detached signature of the checksum file.", FILE_NAME, default="SHA256SUMS.gpg")
    keyring: str = key(
        "Key file of the publisher, obtained another way than the image.",
        pattern="^[A-Za-z0-9_./][A-Za-z0-9._+~/-]*$",
        maxLength=200,
        default="keyring.gpg",
    )


@table
class FirmwareKeys:
    """The keys a person presses on this machine while it starts."""

    boot_menu_key: str = key(
        "Key for the firmware's one-time boot menu, such as F12.", pattern=VISIBLE, maxLength=24, default=""
    )
    setup_key: str = key("Key for the firmware's setup, such as F2.", pattern=VISIBLE, maxLength=24, default="")


@table(title="Boot loader")
class Bootloader:
    """What the firmware starts, what its menu offers, and names for the manual work around it."""

    name: str = key(
        r"Label of the firmware's boot entry, lower case. With grub also the folder below \EFI, which no other "
        "system may have; packages that bring a ready-made loader fix it: dnf (fedora, ...) and the signed chain "
        "of apt (debian, ubuntu). With systemd-boot also the name of its entries and of the folder with its "
        "kernels.",
        pattern="^[a-z0-9][a-z0-9_-]*$",
        maxLength=32,
    )
    loader: str = key(
        "Which boot loader is installed: grub, or systemd-boot (kernels are copied to the EFI system partition "
        'or to an extended boot partition, disk.new type = "xbootldr").',
        default="grub",
    )
    menu_time: int = key(
        "Seconds the menu waits before it starts the default; 0 starts at once.", minimum=0, maximum=900, default=5
    )
    default: str = key(
        "What starts when nobody chooses: new (the system installed here), last (what was started last) or the "
        "name of an entry.",
        ENTRY_NAME,
        default="new",
    )
    kernel_parameters: tuple[str, ...] = key(
        "Words for the kernel's command line. root=, resume= and what unlocks the root are computed and must not "
        "stand here.",
        maxItems=64,
        uniqueItems=True,
        items=Keywords(
            title="Kernel parameter",
            description="One word without blanks, quotes or characters that the loader's language would act on.",
            pattern="^[A-Za-z0-9_][A-Za-z0-9_.,:=+@%/~!-]*$",
            maxLength=256,
        ),
        default=(),
    )
    terminal: Literal["screen", "serial", "both"] = key(
        "Where loader and kernel speak: the screen, a serial port, or both. systemd-boot speaks where the "
        "firmware does, so with it this is about the kernel.",
        default="screen",
    )
    serial_port: Literal["ttyS0", "ttyS1", "ttyS2", "ttyS3", "ttyAMA0"] = key(
        "Kernel name of the serial port, used when terminal is serial or both.", default="ttyS0"
    )
    serial_speed: Literal[9600, 19200, 38400, 57600, 115200] = key(
        "Bits per second of the serial port.", default=115200
    )
    entries: tuple[Entry, ...] = key(
        "Menu entries for kept systems. Each kept system gets one by itself from the survey; an entry here "
        "changes it or adds another.",
        maxItems=16,
        default=(),
    )
    fallback: bool = key(
        r"Also write the loader to \EFI\BOOT, which firmware starts when it has no entry left. Refused where "
        "another system has its loader there. Updates of systemd-boot write it by themselves where no other "
        "system has.",
        title="Fallback path",
        default=False,
    )
    secure_boot: Literal["off", "signed"] = key(
        "off: it is switched off in the firmware's setup, and the script refuses to start otherwise. signed: the "
        "family's signed chain is installed.",
        title="Secure Boot",
        default="off",
    )
    boot_entry_position: Literal["first", "last"] = key(
        "Where the new entry stands in the firmware's boot order.", default="first"
    )
    entry_path: Literal["short", "full"] = key(
        "short names partition and file; full begins at the PCI root, for firmware that ignores short entries.",
        default="short",
    )
    medium: Medium = Medium()
    firmware: FirmwareKeys = FirmwareKeys()
