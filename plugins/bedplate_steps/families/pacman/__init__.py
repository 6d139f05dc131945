"""The pacman family: where its system keeps its settings, what its base brings, and how its packages keep kernels and
loaders. From memory, but for what names its source."""

from __future__ import annotations

from bedplate_steps.bootloader.family import Current, GrubFiles, KernelEntries
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.bootloader.plan import Plan
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.families.pacman.package_tool import CHANGES, TOOL
from bedplate_steps.locale.family import VCONSOLE, LocaleFiles
from bedplate_steps.network.family import OwnName
from bedplate_steps.users.family import BaseGroups, SshServer

_GROUPS = """root adm audio bin daemon dbus disk floppy ftp games http kmem log lp mail mem nobody optical proc rfkill
scanner storage sys tty users utmp uucp video wheel"""


def _hooks(encrypted: bool) -> str:
    """mkinitcpio.conf(5). No `autodetect`: it looks at the machine it runs on, which is right only as long as the disk
    stays in it. The systemd set knows rd.luks.name."""
    unlock = " sd-encrypt" if encrypted else ""
    return f"HOOKS=(base systemd microcode modconf kms keyboard sd-vconsole block{unlock} filesystems fsck)\n"


def _current(plan: Plan, install: tuple[str, ...]) -> Current:
    """alpm-hooks(5): an updated package brings new modules, and the image must match them."""
    text = (
        "[Trigger]\nOperation = Upgrade\nType = Package\nTarget = grub\n\n"
        "[Action]\nDescription = Installing the updated boot loader...\nWhen = PostTransaction\n"
        f"Exec = /usr/bin/{' '.join(install)}\n"
    )
    return Current(files={"/etc/pacman.d/hooks/60-boot-loader.hook": text})


CONCERNS: tuple[object, ...] = (
    TOOL,
    CHANGES,
    ZoneName(),
    Chrony(unit="chronyd.service", settings="/etc/chrony.conf"),
    LocaleFiles(),
    VCONSOLE,
    OwnName(),
    BaseGroups(administrators="wheel", present=frozenset(_GROUPS.split())),
    SshServer(unit="sshd.service"),
    Initramfs(settings="/etc/mkinitcpio.conf.d/bedplate.conf", content=_hooks),
    GrubFiles(
        settings="/etc/default/grub",
        menu="/boot/grub/grub.cfg",
        make_menu=("grub-mkconfig", "-o", "/boot/grub/grub.cfg"),
        current=_current,
    ),
    KernelEntries(  # mkinitcpio leaves kernel and initramfs under names that stay, so that written entries hold
        architectures=("amd64",),
        upkeep="For a further kernel package: write an entry of its own beside the first, in `loader/entries`.",
    ),
)
