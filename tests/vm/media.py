"""The live medium: a plain Debian root with what a technician's stick usually has, and no Python.

It is one ext4 volume on a disk of its own, started by kernel and initial RAM disk that QEMU hands
to the UEFI firmware; the kernel's EFI stub is loaded by the firmware like any boot program, so
boot services, variables and tables are those a stick would see (common practice, no source).
"""

import shlex
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from attrs import frozen

from .cache import built
from .disks import Disk
from .small_system import RECIPE, make_small
from .sources import HOST_CA_BUNDLE, PackageSource
from .tools import call

LIVE_SERIAL = "BENCHLIVE"
LIVE_LABEL = "BENCHLIVE"
LIVE_HOST_NAME = "live"

_PACKAGES = shlex.split(
    # a system that boots and can be logged in to
    "linux-image-amd64 initramfs-tools systemd-sysv udev dbus kmod login passwd procps less vim-tiny "
    # disks and file systems
    "fdisk gdisk parted e2fsprogs dosfstools xfsprogs btrfs-progs ntfs-3g cryptsetup-bin lvm2 "
    # firmware and hardware
    "efibootmgr pciutils usbutils dmidecode "
    # network
    "iproute2 iputils-ping ca-certificates curl wget openssh-client "
    # bootstrap
    "mmdebstrap debootstrap arch-install-scripts debian-archive-keyring zstd xz-utils "
    # console, language, zone, secrets
    "kbd console-data console-setup locales tzdata openssl whois"
)

# What is left out of the root to keep the medium small.
_LEFT_OUT = ("/usr/share/man/*", "/usr/share/doc/*", "/usr/share/locale/*", "/usr/share/info/*")

# Services that no install needs, beside those of every system of the bench.
_MASKED = shlex.split(
    "systemd-networkd-wait-online.service systemd-timesyncd.service getty@tty1.service console-setup.service "
    "keyboard-setup.service lvm2-monitor.service systemd-random-seed.service sys-kernel-config.mount "
    "sys-fs-fuse-connections.mount systemd-logind.service systemd-binfmt.service systemd-update-utmp.service "
    "systemd-update-utmp-runlevel.service"
)

# Python comes along as a dependency of a few helpers (xfs_scrub_all(8) and others). It is taken away
# again, so that a script that needs it fails here and not on a technician's stick.
_TAKEN_AWAY = ("usr/bin/python3*", "usr/lib/python3*", "usr/bin/py3*")

_AUTOLOGIN = """[Service]
ExecStart=
ExecStart=-/sbin/agetty --autologin root --noclear --keep-baud 115200 ttyS0 vt220
"""

_FILES = {
    "etc/hostname": f"{LIVE_HOST_NAME}\n",
    "etc/hosts": f"127.0.0.1 localhost {LIVE_HOST_NAME}\n::1 localhost\n",
    "etc/fstab": f"LABEL={LIVE_LABEL} / ext4 defaults,noatime 0 0\n",
    # the resolver of QEMU's user-mode network (QEMU manual, "Using the user mode network stack")
    "etc/resolv.conf": "nameserver 10.0.2.3\n",
    "etc/systemd/network/80-wired.network": "[Match]\nName=en* eth*\n\n[Network]\nDHCP=ipv4\n",
    "etc/systemd/system/serial-getty@ttyS0.service.d/autologin.conf": _AUTOLOGIN,
}

# The emulator keeps translated code by its virtual address: where each program finds the same libraries at the same
# addresses, it starts four times as fast (measured: 60 starts of true(1) 6.8 s with, 1.6 s without randomisation).
KERNEL_PARAMETERS = (
    f"root=LABEL={LIVE_LABEL} rw rootfstype=ext4 console=ttyS0,115200 quiet loglevel=3 "
    "systemd.show_status=false mitigations=off nowatchdog apparmor=0 audit=0 init_on_alloc=0 rcupdate.rcu_expedited=1 "
    "norandmaps modprobe.blacklist=cfg80211,iTCO_wdt,i2c_i801,lpc_ich,pcspkr,psmouse,powernow_k8"
)


@frozen(kw_only=True)
class LiveMedium:
    """A medium ready to boot; its disk is only read, changes go to a throw-away layer."""

    kernel: Path
    initrd: Path
    disk: Disk


def live_medium(source: PackageSource) -> LiveMedium:
    """The live medium, built on first use; ToolError when a package or tool is missing."""
    recipe = (Path(__file__).read_text(), RECIPE, repr(source))
    folder = built("live-medium", recipe, lambda place: _build(place, source))
    disk = Disk(path=folder / "medium.ext4", serial=LIVE_SERIAL, format="raw", read_only=True)
    return LiveMedium(kernel=folder / "vmlinuz", initrd=folder / "initrd.img", disk=disk)


def _build(folder: Path, source: PackageSource) -> None:
    with TemporaryDirectory(prefix="medium.", dir=folder.parent) as scratch:
        root = Path(scratch) / "root"
        call(bootstrap_command(source, root, _PACKAGES, left_out=_LEFT_OUT))
        make_small(root)
        _configure(root, source)
        (folder / "vmlinuz").write_bytes((root / "vmlinuz").resolve().read_bytes())
        (folder / "initrd.img").write_bytes((root / "initrd.img").resolve().read_bytes())
        _pack(root, folder / "medium.ext4")


def bootstrap_command(
    source: PackageSource, target: Path, packages: list[str], *, left_out: tuple[str, ...] = ()
) -> list[str]:
    """Argument vector of mmdebstrap(1) for a root folder or an archive."""
    words = ["mmdebstrap", "--mode=root", "--variant=minbase", f"--include={','.join(packages)}"]
    words += [f"--aptopt={line}" for line in source.settings.splitlines()]
    words += [f"--dpkgopt=path-exclude={pattern}" for pattern in left_out]
    return [*words, source.suite, str(target), *source.sources_list.splitlines()]


def _write_files(root: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        path.write_text(text)


def _configure(root: Path, source: PackageSource) -> None:
    apt = {"etc/apt/sources.list": source.sources_list, "etc/apt/apt.conf.d/80source": source.settings}
    _write_files(root, {**_FILES, **apt})
    if source.needs_ca_bundle:
        (root / "etc/ssl/certs/ca-certificates.crt").write_bytes(HOST_CA_BUNDLE.read_bytes())
    for path in [path for pattern in _TAKEN_AWAY for path in root.glob(pattern)]:
        shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()
    call(["systemctl", f"--root={root}", "mask", *_MASKED])
    call(["systemctl", f"--root={root}", "enable", "systemd-networkd.service"])
    call(["chroot", root, "passwd", "--delete", "root"])


def _pack(root: Path, image: Path) -> None:
    used_kib = int(call(["du", "-sk", root]).split()[0])
    call(["truncate", "-s", f"{used_kib * 3 // 2}K", image])
    call(["mke2fs", "-q", "-t", "ext4", "-O", "^has_journal", "-L", LIVE_LABEL, "-d", root, image])
