"""The dnf family: one transaction into the target with dnf's own root option.

Names marked "from memory" were not looked up; the rest stand in the distribution's package pages.
"""

from __future__ import annotations

from collections.abc import Iterable

from bedplate import conditions
from bedplate.actions import TARGET, Call, Check, Gathered, InTarget, Operation, Run, WriteFile
from bedplate.faults import Fault
from bedplate_steps.base.family import PackageChanges, PackageFamily, reachable
from bedplate_steps.base.model import Base

REPOSITORY = "/etc/yum.repos.d/base-source.repo"
KEYRING = "/etc/pki/rpm-gpg/base-source.asc"
"""Where the spec's own source and its keys go in the target."""

PACKAGES: dict[str, tuple[str, ...]] = {
    # From memory: enough for a system that starts, logs people in and can install more. system-release is whichever
    # release package the source offers; where it offers several, the spec's `packages` names the right one.
    "base": (
        "system-release",
        "basesystem",
        "systemd",
        "systemd-udev",
        "bash",
        "coreutils",
        "util-linux",
        "dnf",
        "rpm",
        "passwd",
        "shadow-utils",
        "rootfiles",
        "iproute",
        "iputils",
        "procps-ng",
        "less",
        "vim-minimal",
    ),
    "initramfs": ("dracut",),  # from memory
    "boot-entries": ("efibootmgr",),  # from memory
    "other-systems": ("os-prober",),  # from memory
    "network-networkd": ("systemd-networkd",),  # from memory
    "network-resolved": ("systemd-resolved",),  # from memory
    "network-networkmanager": ("NetworkManager",),  # from memory
    "wifi-iwd": ("iwd",),  # from memory
    "wifi-wpa": ("wpa_supplicant",),  # from memory
    "wifi-networkmanager": ("NetworkManager-wifi",),
    "time-sync-timesyncd": ("systemd-udev",),  # from memory: the service lies in this part of systemd
    "time-sync-chrony": ("chrony",),  # from memory
    "sudo": ("sudo",),  # from memory, like all that follow
    "locales": ("glibc-common",),
    "keymap": ("kbd",),
    "tzdata": ("tzdata",),
    "fs-ext4": ("e2fsprogs",),
    "fs-xfs": ("xfsprogs",),
    "fs-btrfs": ("btrfs-progs",),
    "fs-vfat": ("dosfstools",),
    "fs-ntfs": ("ntfsprogs",),
    "encryption": ("cryptsetup",),
    "lvm": ("lvm2",),
    "ssh-server": ("openssh-server",),
    "udev": ("systemd-udev",),
    "dbus": ("dbus",),
    "firmware": ("linux-firmware",),
}

BY_ARCHITECTURE: dict[str, dict[str, tuple[str, ...]]] = {
    "amd64": {
        "kernel": ("kernel",),  # from memory
        "loader-grub": ("grub2-efi-x64", "grub2-efi-x64-modules", "grub2-common", "grub2-tools"),  # two from memory
        "loader-systemd-boot": ("systemd-boot-unsigned", "sdubby"),
        "secure-boot": ("shim-x64", "grub2-efi-x64"),
    },
    "arm64": {  # from memory
        "kernel": ("kernel",),
        "loader-grub": ("grub2-efi-aa64", "grub2-efi-aa64-modules", "grub2-common", "grub2-tools"),
        "loader-systemd-boot": ("systemd-boot-unsigned", "sdubby"),
        "secure-boot": ("shim-aa64", "grub2-efi-aa64"),
    },
}


def repository(base: Base, keyring: str) -> str:
    """Repository file (dnf.conf(5), repo options) of the spec's own sources; empty if the medium's are to be used."""
    if not base.source:
        return ""
    rows = [("base-source", base.source), *((more.name, more.url) for more in base.more_sources)]
    return "\n".join(
        f"[{name}]\nname={name}\nbaseurl={url}\nenabled=1\ngpgcheck=1\ngpgkey=file://{keyring}\n" for name, url in rows
    )


def _prepare(base: Base) -> Call:
    return Call(verb="base/dnf-prepare", by_hand=(f"mkdir -p -m 0755 {TARGET}/etc {TARGET}/var",))


def _install(base: Base) -> Call:
    weak = "yes" if base.recommended else "no"
    return Call(
        verb="base/dnf-install",
        args=(base.release, weak, Gathered("package")),
        stdin=(repository(base, base.keyring),),
        by_hand=(
            (
                f"dnf --installroot={TARGET} --releasever={base.release} "
                f"--setopt=install_weak_deps={base.recommended} -y install ",
                Gathered("package"),
            ),
        ),
    )


def _sources(base: Base) -> tuple[tuple[Operation, ...], tuple[Check, ...]]:
    if not base.source:
        return (), ()  # the release package brings the distribution's own repository files
    content = (repository(base, KEYRING),)
    copy = Run(argv=("install", "-D", "-m", "0644", base.keyring, InTarget(KEYRING)))
    write = WriteFile(path=InTarget(REPOSITORY), content=content)
    return (copy, write), (conditions.file_is(REPOSITORY, content), conditions.file_mode_is(KEYRING, 0o644))


def _guards(base: Base) -> tuple[Check, ...]:
    return reachable("base/dnf-source-reachable", repository(base, base.keyring), base.release)


def _offers(base: Base) -> tuple[Check, ...]:
    listed = repository(base, base.keyring)
    return (
        Check(
            says="The repositories have every package, by its name",
            test=Call(verb="base/dnf-offers", args=(base.release, Gathered("package")), stdin=(listed,)),
            otherwise="Correct the name in the spec, or name the source that has it; compile again.",
        ),
    )


def _check(base: Base) -> Iterable[Fault]:
    if not base.release and (not base.archive or base.source):
        yield Fault(
            code="release-missing",
            message="a dnf base needs the number of its release",
            path=("release",),
            allowed='the version as the distribution counts it, such as "42"',
        )
    if base.source and not base.keyring:
        yield Fault(
            code="keyring-missing",
            message="a source of your own needs the keys its packages are signed with",
            path=("source",),
            allowed="keyring: the path of a key file on the live medium",
        )


TOOL = PackageFamily(
    package_name=r"[A-Za-z0-9][A-Za-z0-9+._-]*",  # rpm-spec(5): alphanumerics, -, ., _ and +
    package_name_words="letters, digits and + . _ -; a letter or digit first",
    tools=("dnf", "rpm"),
    packages=PACKAGES,
    by_architecture=BY_ARCHITECTURE,
    microcode={"intel": ("microcode_ctl",), "amd": ("amd-ucode-firmware",)},  # from memory
    firmware_by_driver={"iwlwifi": ("iwlwifi-mvm-firmware", "iwlwifi-dvm-firmware")},
    writes_esp=dict.fromkeys(("shim-x64", "shim-ia32", "shim-aa64"), "\\EFI\\BOOT"),  # from memory
    trims=True,  # the distribution's presets; from memory
    rebuild_initramfs=("dracut", "--regenerate-all", "--force"),
    room_mib=3072,
    prepare=_prepare,
    install=_install,
    installed=conditions.holds(
        "Every package is installed",
        "base/rpm-installed",
        Gathered("package"),
        early=False,
        by_hand=((f"every . chroot {TARGET} rpm -q --whatprovides ", Gathered("package")),),
    ),
    sources=_sources,
    guards=_guards,
    offers=_offers,
    check=_check,
)

CHANGES = PackageChanges(
    add="base/dnf-add",
    take_back="base/dnf-take-back",
    drop="base/dnf-drop",
    known="base/dnf-known",
    there="base/rpm-installed",
    gone="base/dnf-gone",
    add_by_hand="dnf install",
    drop_by_hand="dnf remove",
    list_by_hand="rpm -q",
)
