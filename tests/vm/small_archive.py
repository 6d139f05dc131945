"""A base archive for cases with many installations: the usual one without what an installation does not look at."""

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from .cache import built
from .sources import PackageSource
from .tools import call

_KEPT_MODULES = (
    "fs/ext4", "fs/jbd2", "fs/mbcache.ko", "fs/fat", "fs/nls", "fs/efivarfs", "fs/autofs", "fs/configfs", "fs/fuse",
    "fs/binfmt_misc.ko", "fs/9p", "fs/netfs", "fs/fscache", "net/9p", "net/core", "net/packet", "net/ipv6",
    "drivers/net/virtio_net.ko", "drivers/net/net_failover.ko", "drivers/block", "drivers/virtio", "drivers/char",
    "drivers/rtc", "crypto", "lib", "arch",
)  # fmt: skip
_LEFT_OUT = ("usr/share/doc", "usr/share/man", "usr/share/locale", "usr/share/info", "var/cache/apt",
             "var/lib/apt/lists")  # fmt: skip
_RAMDISK = {
    "etc/initramfs-tools/conf.d/campaign": "MODULES=list\nCOMPRESS=zstd\nCOMPRESSLEVEL=1\n",
    "etc/initramfs-tools/modules": "virtio_pci\nvirtio_blk\next4\n",
}


def small_archive(source: PackageSource, whole: Path) -> Path:
    """The base archive without what an installation does not look at, so that a run takes minutes on an emulator."""
    recipe = [repr((_KEPT_MODULES, _LEFT_OUT, _RAMDISK)), str(whole), repr(source)]
    return built("campaign-archive", recipe, lambda folder: _pack(folder, whole)) / "base.tar.zst"


def _pack(folder: Path, whole: Path) -> None:
    with TemporaryDirectory(prefix="campaign.", dir=folder.parent) as scratch:
        root = Path(scratch) / "root"
        root.mkdir()
        call(["tar", "-C", root, "--numeric-owner", "--xattrs", "--xattrs-include=*", "-xpf", whole])
        for name in _LEFT_OUT:
            shutil.rmtree(root / name, ignore_errors=True)
        for name, text in _RAMDISK.items():
            (root / name).write_text(text)
        for kernel in (root / "usr/lib/modules").glob("*/kernel"):
            _thin(kernel)
            call(["chroot", root, "depmod", kernel.parent.name])
        names = sorted(item.name for item in root.iterdir())
        words = ["tar", "-C", root, "--numeric-owner", "--xattrs", "--xattrs-include=*"]
        call([*words, "-cf", folder / "base.tar", *names])
    call(["zstd", "-q", "--rm", "-T0", "-3", folder / "base.tar", "-o", folder / "base.tar.zst"])


def _thin(kernel: Path) -> None:
    kept = [kernel / name for name in _KEPT_MODULES]
    for path in sorted(kernel.rglob("*.ko*")):
        if not any(path == one or one in path.parents for one in kept):
            path.unlink()
