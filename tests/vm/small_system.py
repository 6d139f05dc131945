"""Systems of the bench without what costs time on an emulator and serves nobody there.

The initial RAM disk finds a root file system on a disk of the emulator, no more: each program that is started costs
some 40 ms, so hooks that serve other machines are left out. Units that no proof is about are masked.
"""

import shlex
from pathlib import Path

from .tools import call

_KEPT_HOOKS = ("kmod", "klibc-utils", "fsck")
_FILES = {
    "etc/initramfs-tools/conf.d/site": "MODULES=list\nBUSYBOX=n\nFSTYPE=ext4\nCOMPRESS=zstd\nCOMPRESSLEVEL=1\n",
    "etc/initramfs-tools/modules": "virtio_pci\nvirtio_blk\next4\n",
    # finds the root file system by UUID or label, without udev
    "etc/initramfs-tools/hooks/blkid": "#!/bin/sh\n"
    '[ "$1" = prereqs ] || { . /usr/share/initramfs-tools/hook-functions; copy_exec /sbin/blkid /sbin; }\n',
}
_MASKED = shlex.split(
    "apt-daily.timer apt-daily-upgrade.timer dpkg-db-backup.timer e2scrub_all.timer e2scrub_reap.service fstrim.timer "
    "dev-hugepages.mount dev-mqueue.mount sys-kernel-debug.mount sys-kernel-tracing.mount systemd-pstore.service "
    "systemd-journal-flush.service systemd-tmpfiles-clean.timer modprobe@drm.service modprobe@configfs.service "
    "modprobe@dm_mod.service modprobe@efi_pstore.service modprobe@fuse.service modprobe@loop.service"
)

RECIPE = Path(__file__).read_text()
"""Belongs to the recipe of whatever holds such a system."""


def make_small(root: Path) -> None:
    """Of a Debian root folder: mask the units, thin the hooks of the RAM disk (initramfs-tools(7)), build it anew."""
    call(["systemctl", f"--root={root}", "mask", *_MASKED])
    tools = root / "usr/share/initramfs-tools"
    for path in (*tools.glob("hooks/*"), *tools.glob("scripts/*/*"), *root.glob("etc/initramfs-tools/conf.d/*")):
        if path.name not in _KEPT_HOOKS:
            path.unlink()
    for name, text in _FILES.items():
        (root / name).write_text(text)
        (root / name).chmod(0o755 if "hooks" in name else 0o644)
    call(["chroot", root, "update-initramfs", "-u", "-k", "all"])
