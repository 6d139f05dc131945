"""The local base archive: what a site would keep on a stick instead of a package mirror."""

import shlex
from pathlib import Path

from .cache import built
from .media import bootstrap_command
from .sources import PackageSource
from .tools import call

ARCHIVE_NAME = "base.tar.zst"

BASE_PACKAGES = shlex.split(
    "linux-image-amd64 initramfs-tools zstd systemd-sysv systemd-timesyncd systemd-resolved udev dbus kmod "
    "grub-efi-amd64 grub-efi-amd64-bin efibootmgr os-prober "
    "e2fsprogs dosfstools xfsprogs btrfs-progs ntfs-3g cryptsetup fdisk util-linux "
    "locales console-setup keyboard-configuration kbd console-data tzdata "
    "sudo login passwd libpam-systemd procps less vim-tiny iproute2 iputils-ping ca-certificates"
)
"""Packages of the archive; a run that needs more adds them with ``extra``."""

# What a site may set in an archive of its own: only the modules the machine needs, lightly compressed. With the
# family's usual settings compression takes eight minutes under software emulation; the case over the network has those.
INITRAMFS = "MODULES=dep\nCOMPRESS=zstd\nCOMPRESSLEVEL=1\n"
"""Settings of initramfs-tools (initramfs.conf(5)) in the archive."""

NETWORK_MANAGER = ("network-manager",)


def base_archive(source: PackageSource, *, extra: tuple[str, ...] = ()) -> Path:
    """A root file system as tar, compressed by zstd, built on first use; ToolError when that fails."""
    packages = [*BASE_PACKAGES, *extra]
    recipe = [Path(__file__).read_text(), repr(source), *packages]
    return built("base-archive", recipe, lambda place: _build(place, source, packages)) / ARCHIVE_NAME


def _build(folder: Path, source: PackageSource, packages: list[str]) -> None:
    plain = folder / "base.tar"
    settings = folder / "site"
    settings.write_text(INITRAMFS)
    command, *words = bootstrap_command(source, plain, packages)
    call([command, f"--customize-hook=copy-in {settings} /etc/initramfs-tools/conf.d", *words])
    call(["zstd", "-q", "--rm", "-T0", "-6", plain, "-o", folder / ARCHIVE_NAME])
