"""The package family `sedge`: the station's own small distribution, whose packages are put together by `sedge-get`.

A family is one value for each concern of a step, and needs no step of its own. What its tool does is common to such
tools, and made up for this example.
"""

from __future__ import annotations

from collections.abc import Iterable

from bedplate import Extension, Fault, conditions, hookimpl
from bedplate.actions import Check, Gathered, InTarget, Operation, Run, WriteFile
from bedplate.functions import Folder
from bedplate_steps.base.family import PackageChanges, PackageFamily
from bedplate_steps.base.model import Base
from bedplate_steps.bootloader.family import GrubFiles, KernelEntries
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.locale.family import ConsoleKeymap, LocaleFiles
from bedplate_steps.locale.model import Locale
from bedplate_steps.network.family import OwnName
from bedplate_steps.users.family import BaseGroups, SshServer

bedplate_contract = 1

ROOT = InTarget("/")
SOURCES = "/etc/sedge/sources"

PACKAGES = {
    "base": ("sedge-base",),
    "initramfs": ("dracut",),
    "kernel": ("linux",),
    "firmware": ("firmware",),
    "boot-entries": ("efibootmgr",),
    "loader-grub": ("grub",),
    "loader-systemd-boot": ("systemd-boot",),
    "other-systems": ("os-prober",),
    **{f"network-{name}": (name,) for name in ("networkd", "resolved", "networkmanager")},
    **{f"wifi-{name}": (name,) for name in ("iwd", "wpa", "networkmanager")},
    **{f"time-sync-{name}": (name,) for name in ("timesyncd", "chrony")},
    **{f"fs-{name}": (f"{name}-tools",) for name in ("ext4", "xfs", "btrfs", "vfat", "ntfs")},
    **{
        name: (name,)
        for name in ("sudo", "locales", "keymap", "tzdata", "encryption", "lvm", "ssh-server", "udev", "dbus")
    },
}


def prepare(base: Base) -> Operation:
    """The folders that the tool wants."""
    return Run(argv=("sedge-get", "--root", ROOT, "begin"))


def install(base: Base) -> Operation:
    """The one transaction."""
    return Run(argv=("sedge-get", "--root", ROOT, "install", Gathered("package")))


def sources(base: Base) -> tuple[tuple[Operation, ...], tuple[Check, ...]]:
    """The target's own list; without a source of its own, the tool copies the medium's."""
    if not base.source:
        return (), ()
    content = (f"{base.source}\n",)
    return (WriteFile(path=InTarget(SOURCES), content=content),), (conditions.file_is(SOURCES, content),)


def guards(base: Base) -> tuple[Check, ...]:
    """The source answers."""
    return (conditions.succeeds("The package source answers", "sedge-get", "ping", base.source or "medium"),)


def check(base: Base) -> Iterable[Fault]:
    """A rolling distribution."""
    if base.release:
        yield Fault(code="release-not-used", message="sedge has no releases", path=("release",), allowed="leave it out")


def console(locale: Locale) -> dict[str, str]:
    """Keymap and font in one line."""
    return {"/etc/sedge/console": f"{locale.keymap} {locale.font or 'default'}\n"}


CONCERNS: tuple[object, ...] = (
    PackageFamily(
        package_name=r"[a-z][a-z0-9-]*",
        package_name_words="lower-case letters, digits and hyphens",
        tools=("sedge-get",),
        packages=PACKAGES,
        by_architecture={"amd64": {}, "arm64": {}},
        microcode={"intel": ("microcode",), "amd": ("microcode",)},
        rebuild_initramfs=("dracut", "--regenerate-all", "--force"),
        room_mib=1024,
        prepare=prepare,
        install=install,
        installed=conditions.succeeds(
            "Every package is installed", "sedge-get", "--root", ROOT, "verify", Gathered("package"), early=False
        ),
        sources=sources,
        guards=guards,
        check=check,
    ),
    PackageChanges(
        add="base/sedge-add",
        take_back="base/sedge-take-back",
        drop="base/sedge-drop",
        known="base/sedge-known",
        there="base/sedge-there",
        gone="base/sedge-gone",
        add_by_hand="sedge-get install",
        drop_by_hand="sedge-get remove",
        list_by_hand="sedge-get find",
    ),
    ZoneName(file="/etc/sedge/zone"),
    Chrony(unit="tide-clock.service", settings="/etc/sedge/chrony.conf"),
    LocaleFiles(language=("/etc/locale.conf", "/etc/sedge/language")),
    ConsoleKeymap(files=console, units=("sedge-console.service",)),
    OwnName(),
    BaseGroups(administrators="keepers", present=frozenset(("root", "keepers", "gauges"))),
    SshServer(unit="sedge-ssh.service"),
    Initramfs(settings="/etc/dracut.conf.d/sedge.conf", content=lambda encrypted: 'hostonly="no"\n'),
    GrubFiles(
        settings="/etc/sedge/grub", menu="/boot/grub/grub.cfg", make_menu=("grub-mkconfig", "-o", "/boot/grub/grub.cfg")
    ),
    KernelEntries(
        image="/boot/vmlinuz-$one",
        upkeep="Kernels that are no longer used take room: `sedge-get tidy` takes them away.",
    ),
)


@hookimpl
def bedplate_extensions() -> list[Extension]:
    """The family: its shell functions come with the first value, which says how packages are had."""
    first, *further = CONCERNS
    return [
        Extension(point="base.family", name="sedge", value=first, functions=Folder(__name__)),
        *(Extension(point="base.family", name="sedge", value=value) for value in further),
    ]
