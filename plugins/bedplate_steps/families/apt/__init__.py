"""The apt family: where its system keeps its settings, what its base brings, and how its packages keep kernels and
loaders. Debian 12, but for what names another source."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import conditions
from bedplate.actions import Run, Where
from bedplate.facts import Layout
from bedplate.faults import Fault
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.family import Current, GrubFiles, KernelEntries
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.other_systems import folders_on
from bedplate_steps.bootloader.plan import Plan
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.families.apt.package_tool import CHANGES, TOOL
from bedplate_steps.locale.family import ConsoleKeymap, LocaleFiles
from bedplate_steps.locale.keymaps import keyboard
from bedplate_steps.locale.model import Locale
from bedplate_steps.network.family import OwnName
from bedplate_steps.users.family import BaseGroups, SshServer

_GROUPS = """root daemon bin sys adm tty disk lp mail news uucp man proxy kmem dialout fax voice cdrom floppy tape sudo
audio dip www-data backup operator list irc src shadow utmp video sasl plugdev staff games users nogroup
messagebus"""
"""Debian's base-passwd, /usr/share/base-passwd/group.master; the last by the package dbus."""
SIGNED_FOLDERS = ("debian", "ubuntu")
"""Folders that the signed image looks for its settings in (from memory)."""


def _console_setup(locale: Locale) -> dict[str, str]:
    """keyboard(5), and with a font console-setup(5)."""
    board = keyboard(locale)
    rows = {
        "XKBMODEL": board.model,
        "XKBLAYOUT": board.layout,
        "XKBVARIANT": board.variant,
        "XKBOPTIONS": board.options,
        "BACKSPACE": "guess",
    }
    files = {"/etc/default/keyboard": "".join(f'{key}="{value}"\n' for key, value in rows.items())}
    if locale.font:
        files["/etc/default/console-setup"] = (
            f'ACTIVE_CONSOLES="/dev/tty[1-6]"\nCHARMAP="UTF-8"\nCODESET="guess"\nFONT="{locale.font}.psf.gz"\n'
        )
    return files


def _current(plan: Plan, install: tuple[str, ...]) -> Current:
    """What the package is to do at its own updates: its debconf questions."""
    package = f"grub-efi-{plan.family.architecture}"
    last = {"grub2/update_nvram": "false"} if plan.section.boot_entry_position == "last" else {}
    lines = {**last, **({"grub2/force_efi_extra_removable": "true"} if plan.section.fallback else {})}
    if not lines:
        return Current()
    text = "".join(f"{package} {name} boolean {value}\n" for name, value in lines.items())
    return Current(
        operations=(Run(argv=("debconf-set-selections",), where=Where.TARGET, stdin=(text,)),),
        proofs=tuple(
            conditions.outputs(
                f"Package updates know {name} = {value}",
                f"* {name}: {value}",
                "debconf-show",
                package,
                exactly=False,
                where=Where.TARGET,
                early=False,
            )
            for name, value in lines.items()
        ),
    )


def _upkeep(plan: Plan) -> tuple[str, ...]:
    if plan.esp.mount == "/boot/efi":
        return ()
    return (
        "After an update of the boot loader's package: run `grub-install` again, with the options of this "
        "installation; the package does not look at this mount point.",
    )


def _updates(section: Bootloader, context: Context) -> Iterator[Fault]:
    # The script that Debian's grub-efi package runs when it is installed and updated (2.06-13+deb12u2) puts the loader
    # into /boot/efi/EFI/DISTRIBUTOR if that folder exists; the first time, DISTRIBUTOR is still the family's own name.
    layout = context.fact(Layout)
    if layout.esp is None:
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


CONCERNS: tuple[object, ...] = (
    TOOL,
    CHANGES,
    ZoneName(file="/etc/timezone"),  # postinst of tzdata
    Chrony(unit="chrony.service", settings="/etc/chrony/chrony.conf"),
    LocaleFiles(language=("/etc/locale.conf", "/etc/default/locale")),  # the second one is what PAM reads
    ConsoleKeymap(
        files=_console_setup,
        units=("keyboard-setup.service", "console-setup.service"),
        prepare=("setupcon", "--save-only"),  # what the console and the initramfs load at boot (setupcon(1))
        prepared=(
            conditions.holds("The console's keymap is ready for the start", "base/console-is-cached", early=False),
        ),
        by_layout=True,
    ),
    OwnName(address="127.0.1.1"),  # Debian Reference 5.1.1
    BaseGroups(administrators="sudo", present=frozenset(_GROUPS.split())),
    SshServer(unit="ssh.service"),
    Initramfs(reads_crypttab=True),  # complete already: MODULES=most, initramfs.conf(5)
    GrubFiles(
        settings="/etc/default/grub.d/10-bedplate.cfg",  # read last, so that the package's own file stays as it came
        menu="/boot/grub/grub.cfg",
        make_menu=("update-grub",),
        signed=SIGNED_FOLDERS,
        install_options=lambda signed: ("--uefi-secure-boot" if signed else "--no-uefi-secure-boot",),
        current=_current,
        upkeep=_upkeep,
        check=_updates,
    ),
    # The scripts of systemd-boot 252 copy a newer loader, and have kernel-install bring every kernel and initramfs to
    # $BOOT. dpkg links the old file aside before it puts the new one in its place.
    KernelEntries(
        image="/boot/vmlinuz-$one",
        renews_loader=True,
        links_kernels=True,
        upkeep="Kernels that are no longer used take room beside the loader: `apt-get autoremove` takes both away.",
    ),
)
