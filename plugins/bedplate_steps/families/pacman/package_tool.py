"""The pacman family: one transaction into the target with pacman's own root option.

Names marked "from memory" were not looked up; the rest stand in the distribution's package pages or installation guide.
"""

from __future__ import annotations

from collections.abc import Iterable

from bedplate import conditions
from bedplate.actions import TARGET, Call, Check, Gathered, InTarget, Operation, Run, WriteFile
from bedplate.faults import Fault
from bedplate_steps.base.family import PackageChanges, PackageFamily, reachable
from bedplate_steps.base.model import Base

REPOSITORIES = ("core", "extra")
"""The repositories of a usual system (pacman.conf as the distribution ships it; from memory)."""

MIRRORS = "/etc/pacman.d/mirrorlist"

PACKAGES: dict[str, tuple[str, ...]] = {
    "base": ("base",),
    "initramfs": ("mkinitcpio",),  # from memory
    "boot-entries": ("efibootmgr",),
    "other-systems": ("os-prober",),  # from memory
    "network-networkd": ("systemd",),  # from memory, like all down to the file systems
    "network-resolved": ("systemd",),
    "network-networkmanager": ("networkmanager",),
    "wifi-iwd": ("iwd",),
    "wifi-wpa": ("wpa_supplicant",),
    "wifi-networkmanager": ("wpa_supplicant",),
    "time-sync-timesyncd": ("systemd",),
    "time-sync-chrony": ("chrony",),
    "sudo": ("sudo",),
    "locales": ("glibc",),
    "keymap": ("kbd",),
    "tzdata": ("tzdata",),
    "fs-ext4": ("e2fsprogs",),
    "fs-xfs": ("xfsprogs",),
    "fs-btrfs": ("btrfs-progs",),
    "fs-vfat": ("dosfstools",),
    "fs-ntfs": ("ntfs-3g",),
    "encryption": ("cryptsetup",),
    "lvm": ("lvm2",),
    "ssh-server": ("openssh",),
    "udev": ("systemd",),
    "dbus": ("dbus",),
    "firmware": ("linux-firmware", "sof-firmware"),
}

BY_ARCHITECTURE: dict[str, dict[str, tuple[str, ...]]] = {
    "amd64": {
        "kernel": ("linux",),
        "loader-grub": ("grub",),  # from memory
        "loader-systemd-boot": ("systemd",),  # from memory
    },
    "arm64": {  # from memory: the family's arm64 port is a distribution of its own
        "kernel": ("linux-aarch64",),
        "loader-grub": ("grub",),
        "loader-systemd-boot": ("systemd",),
    },
}


FIRMWARE_BY_DRIVER: dict[str, tuple[str, ...]] = {  # split off the general package; all but the last from memory
    "bnx2x": ("linux-firmware-bnx2x",),
    "liquidio": ("linux-firmware-liquidio",),
    "mlxsw": ("linux-firmware-mellanox",),
    "nfp": ("linux-firmware-nfp",),
    "qede": ("linux-firmware-qlogic",),
    "mwifiex": ("linux-firmware-marvell",),
}


def config(base: Base) -> str:
    """A pacman.conf(5) for the spec's own source; empty if the medium's is to be used."""
    if not base.source:
        return ""
    head = "[options]\nArchitecture = auto\nCheckSpace\nSigLevel = Required DatabaseOptional\n"
    repositories = [(name, base.source) for name in base.components or REPOSITORIES]
    repositories += [(more.name, more.url) for more in base.more_sources]
    return head + "".join(f"\n[{name}]\nServer = {url}\n" for name, url in repositories)


def _prepare(base: Base) -> Call:
    return Call(
        verb="base/pacman-prepare",
        by_hand=(
            f"mkdir -p -m 0755 {TARGET}/var/cache/pacman/pkg {TARGET}/var/lib/pacman {TARGET}/etc/pacman.d",
            f"cp -a /etc/pacman.d/gnupg {TARGET}/etc/pacman.d/",
        ),
    )


def _install(base: Base) -> Call:
    return Call(
        verb="base/pacman-install",
        args=(Gathered("package"),),
        stdin=(config(base),),
        by_hand=(
            (
                f"pacman --root {TARGET} --cachedir {TARGET}/var/cache/pacman/pkg "
                f"--hookdir {TARGET}/etc/pacman.d/hooks --noconfirm --needed -Sy ",
                Gathered("package"),
            ),
        ),
    )


def _sources(base: Base) -> tuple[tuple[Operation, ...], tuple[Check, ...]]:
    if not base.source:
        copy = Run(argv=("install", "-D", "-m", "0644", MIRRORS, InTarget(MIRRORS)))
        named = conditions.holds(f"{MIRRORS} names a server", "base/pacman-mirror-named", early=False)
        return (copy,), (named,)
    content = (f"Server = {base.source}\n",)
    return (WriteFile(path=InTarget(MIRRORS), content=content),), (conditions.file_is(MIRRORS, content),)


def _guards(base: Base) -> tuple[Check, ...]:
    keys = conditions.holds(
        "The medium has the keys that packages are signed with",
        "base/pacman-keyring",
        otherwise="Run pacman-key --init and pacman-key --populate on the medium.",
    )
    return (keys, *reachable("base/pacman-source-reachable", config(base)))


def _offers(base: Base) -> tuple[Check, ...]:
    return (
        Check(
            says="The repositories are whole, and have every package by its name",
            test=Call(verb="base/pacman-offers", args=(Gathered("package"),), stdin=(config(base),)),
            otherwise="Never switch signatures off. Log in where the network asks for it; correct a wrong name in the "
            "spec, and compile again.",
        ),
    )


def _check(base: Base) -> Iterable[Fault]:
    if base.release:
        yield Fault(
            code="release-not-used",
            message="a pacman base has no releases: it is always the newest",
            path=("release",),
            allowed="leave the key out",
        )
    if base.keyring:
        yield Fault(
            code="keyring-not-used",
            message="pacman keeps its keys in a folder, which is copied from the medium",
            path=("keyring",),
            allowed="leave the key out, and add the key on the medium with pacman-key",
        )


TOOL = PackageFamily(
    package_name=r"[A-Za-z0-9@_+][A-Za-z0-9@._+-]*",  # PKGBUILD(5), pkgname
    package_name_words="letters, digits and @ . _ + -; neither - nor . first",
    tools=("pacman",),
    packages=PACKAGES,
    by_architecture=BY_ARCHITECTURE,
    microcode={"intel": ("intel-ucode",), "amd": ("amd-ucode",)},
    firmware_by_driver=FIRMWARE_BY_DRIVER,
    rebuild_initramfs=("mkinitcpio", "-P"),
    room_mib=3584,
    prepare=_prepare,
    install=_install,
    installed=conditions.holds(
        "Every package is installed",
        "base/pacman-installed",
        Gathered("package"),
        early=False,
        # It prints what is not installed: that it looks at all it shows by naming what does not exist.
        by_hand=((f"chroot {TARGET} pacman -T no-such-package ", Gathered("package"), " | grep -c . | grep -x 1"),),
    ),
    sources=_sources,
    guards=_guards,
    offers=_offers,
    check=_check,
)

CHANGES = PackageChanges(
    add="base/pacman-add",
    take_back="base/pacman-take-back",
    drop="base/pacman-drop",
    known="base/pacman-known",
    there="base/pacman-installed",
    gone="base/pacman-gone",
    add_by_hand="pacman -S --needed",
    drop_by_hand="pacman -Rns",
    list_by_hand="pacman -Q",
)
