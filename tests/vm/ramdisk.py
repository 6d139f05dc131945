"""A small initial RAM disk for systems of the bench: it finds a root file system on a disk of the emulator, no more.

Under emulation each program that is started costs some 40 ms, so hooks that serve other machines are left out.
"""

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


RECIPE = Path(__file__).read_text()
"""Belongs to the recipe of whatever holds such a RAM disk."""


def make_small(root: Path) -> None:
    """Leave out of a Debian root folder what its RAM disk can do without (initramfs-tools(7)), and build it anew."""
    tools = root / "usr/share/initramfs-tools"
    for path in (*tools.glob("hooks/*"), *tools.glob("scripts/*/*"), *root.glob("etc/initramfs-tools/conf.d/*")):
        if path.name not in _KEPT_HOOKS:
            path.unlink()
    for name, text in _FILES.items():
        (root / name).write_text(text)
        (root / name).chmod(0o755 if "hooks" in name else 0o644)
    call(["chroot", root, "update-initramfs", "-u", "-k", "all"])
