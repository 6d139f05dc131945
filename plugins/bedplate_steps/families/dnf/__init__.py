"""The dnf family: where its system keeps its settings, what its base brings, and how its packages keep kernels and
loaders. From memory, but for what names its source."""

from __future__ import annotations

from bedplate_steps.bootloader.family import GrubFiles, KernelEntries
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.families.dnf.package_tool import CHANGES, TOOL
from bedplate_steps.locale.family import VCONSOLE, LocaleFiles
from bedplate_steps.network.family import OwnName
from bedplate_steps.users.family import BaseGroups, SshServer

_GROUPS = """root adm audio bin cdrom daemon dbus dialout disk floppy ftp games kmem lock lp mail man mem nobody sys
tape tty users utmp video wheel"""

CONCERNS: tuple[object, ...] = (
    TOOL,
    CHANGES,
    ZoneName(),
    Chrony(unit="chronyd.service", settings="/etc/chrony.conf"),
    LocaleFiles(pack="glibc-langpack-{language}"),
    VCONSOLE,
    OwnName(),
    BaseGroups(administrators="wheel", present=frozenset(_GROUPS.split())),
    SshServer(unit="sshd.service"),
    Initramfs(
        settings="/etc/dracut.conf.d/bedplate.conf", content=lambda encrypted: 'hostonly="no"\n'
    ),  # dracut.conf(5)
    GrubFiles(
        settings="/etc/default/grub",
        menu="/boot/grub2/grub.cfg",
        make_menu=("grub2-mkconfig", "-o", "/boot/grub2/grub.cfg"),
        ready=("almalinux", "centos", "fedora", "redhat", "rocky"),
        signed_writes_fallback=True,
        kernels_listed=True,
    ),
    # Kernels bring an image beside their modules, and kernel-install has dracut build the initramfs in $BOOT itself.
    KernelEntries(
        image="/lib/modules/$one/vmlinuz",
        images_by_entry=True,
        upkeep="Kernels take room beside the loader: `installonly_limit` in `/etc/dnf/dnf.conf` says how many stay.",
    ),
)
