"""Where the dnf family's system keeps its settings, what its base brings, and how its packages keep kernels and
loaders. From memory, but for what names its source."""

from __future__ import annotations

from bedplate_steps.bootloader.family import GrubFiles, KernelEntries
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.locale.family import VCONSOLE, LocaleFiles
from bedplate_steps.network.family import OwnName
from bedplate_steps.users.family import BaseGroups, SshServer

ZONE = ZoneName()
CHRONY = Chrony(unit="chronyd.service", settings="/etc/chrony.conf")
LOCALES = LocaleFiles(pack="glibc-langpack-{language}")
CONSOLE = VCONSOLE
OWN_NAME = OwnName()
SSH = SshServer(unit="sshd.service")
_GROUPS = """root adm audio bin cdrom daemon dbus dialout disk floppy ftp games kmem lock lp mail man mem nobody sys
tape tty users utmp video wheel"""
GROUPS = BaseGroups(administrators="wheel", present=frozenset(_GROUPS.split()))

INITRAMFS = Initramfs(  # dracut.conf(5)
    settings="/etc/dracut.conf.d/bedplate.conf", content=lambda encrypted: 'hostonly="no"\n'
)

GRUB = GrubFiles(
    settings="/etc/default/grub",
    menu="/boot/grub2/grub.cfg",
    make_menu=("grub2-mkconfig", "-o", "/boot/grub2/grub.cfg"),
    ready=("almalinux", "centos", "fedora", "redhat", "rocky"),
    signed_writes_fallback=True,
    kernels_listed=True,
)

# Kernels bring an image beside their modules, and kernel-install has dracut build the initramfs in $BOOT itself.
ENTRIES = KernelEntries(
    image="/lib/modules/$one/vmlinuz",
    images_by_entry=True,
    upkeep="Kernels take room beside the loader: `installonly_limit` in `/etc/dnf/dnf.conf` says how many stay.",
)
