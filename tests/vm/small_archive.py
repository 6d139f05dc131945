"""A base archive for cases with many installations: the usual one without what an installation does not look at."""

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from .cache import built
from .small_system import RECIPE, make_small
from .sources import PackageSource
from .tools import call

_KEPT_MODULES = (
    "fs/ext4",
    "fs/jbd2",
    "fs/mbcache.ko",
    "fs/fat",
    "fs/nls",
    "fs/efivarfs",
    "fs/autofs",
    "fs/configfs",
    "fs/fuse",
    "fs/binfmt_misc.ko",
    "fs/9p",
    "fs/netfs",
    "fs/fscache",
    "net/9p",
    "net/core",
    "net/packet",
    "net/ipv6",
    "drivers/net/virtio_net.ko",
    "drivers/net/net_failover.ko",
    "drivers/block",
    "drivers/virtio",
    "drivers/char",
    "drivers/rtc",
    "crypto",
    "lib/crc*",
    "arch/x86/crypto",
)
_LEFT_OUT = (
    "usr/share/doc",
    "usr/share/man",
    "usr/share/locale",
    "usr/share/info",
    "usr/share/bug",
    "usr/share/lintian",
    "usr/share/bash-completion",
    "usr/share/zsh",
    "usr/share/perl/*.*.*/pod",
    "usr/share/perl/*.*.*/unicore/lib",
    "usr/share/i18n/locales",
    "usr/share/i18n/charmaps",
    "usr/share/zoneinfo/[A-DF-TV-Z]*",
    "usr/share/zoneinfo/posix",
    "usr/share/zoneinfo/right",
    "usr/share/consolefonts/[!U]*",
    "usr/lib/python3*",
    "usr/bin/python3*",
    "usr/lib/os-probes",
    "usr/lib/udev/hwdb*",
    "usr/lib/grub/*/monolithic",
    "usr/lib/x86_64-linux-gnu/libicu*",
    "usr/lib/x86_64-linux-gnu/perl/*.*.*/CORE",
    "usr/lib/x86_64-linux-gnu/perl/*.*.*/auto/Encode/[CJKT]*",
    "usr/sbin/xfs_scrub",
    "var/cache/apt",
    "var/lib/apt/lists",
    "etc/grub.d/05_*",
    "etc/grub.d/2*",
    "etc/grub.d/3*",
    "etc/grub.d/4*",
)


def small_archive(source: PackageSource, whole: Path) -> Path:
    """The base archive without what an installation does not look at, so that a run takes minutes on an emulator."""
    recipe = [Path(__file__).read_text(), RECIPE, str(whole), repr(source)]
    return built("campaign-archive", recipe, lambda folder: _pack(folder, whole)) / "base.tar.zst"


def _pack(folder: Path, whole: Path) -> None:
    with TemporaryDirectory(prefix="campaign.", dir=folder.parent) as scratch:
        root = Path(scratch) / "root"
        root.mkdir()
        call(["tar", "-C", root, "--numeric-owner", "--xattrs", "--xattrs-include=*", "-xpf", whole])
        _leave_out(root)
        for kernel in (root / "usr/lib/modules").glob("*/kernel"):
            _thin(kernel)
            call(["chroot", root, "depmod", kernel.parent.name])
        make_small(root)
        names = sorted(item.name for item in root.iterdir())
        words = ["tar", "-C", root, "--numeric-owner", "--xattrs", "--xattrs-include=*"]
        call([*words, "-cf", folder / "base.tar", *names])
    call(["zstd", "-q", "--rm", "-T0", "-3", folder / "base.tar", "-o", folder / "base.tar.zst"])


def _leave_out(root: Path) -> None:
    for path in [path for pattern in _LEFT_OUT for path in root.glob(pattern)]:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def _thin(kernel: Path) -> None:
    kept = {path for name in _KEPT_MODULES for path in kernel.glob(name)}
    for path in sorted(kernel.rglob("*.ko*")):
        if kept.isdisjoint((path, *path.parents)):
            path.unlink()
