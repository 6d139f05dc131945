"""The apt family: a minimal system by mmdebstrap or debootstrap, then one apt-get transaction inside it.

Package names are those of Debian 12 (main, and non-free-firmware for firmware and microcode), read in its package
lists; "from memory" marks the rest.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterable

from bedplate import conditions
from bedplate.actions import TARGET, Call, Check, Gathered, InTarget, Operation, Run, WriteFile
from bedplate.faults import Fault, shown
from bedplate_steps.base.family import PackageChanges, PackageFamily, reachable
from bedplate_steps.base.model import Base, Source

FIRMWARE_COMPONENT = "non-free-firmware"
COMPONENTS = ("main", FIRMWARE_COMPONENT)
"""Debian 12 and later keep firmware and microcode in a component of their own (release notes of Debian 12, 2.2)."""

SOURCES = "/etc/apt/sources.list"

PACKAGES: dict[str, tuple[str, ...]] = {
    "base": ("dbus", "ca-certificates"),  # the bootstrap tool has brought what the archive marks required and important
    "initramfs": ("initramfs-tools", "zstd"),  # zstd is its default packer (initramfs.conf(5))
    "boot-entries": ("efibootmgr",),
    "other-systems": ("os-prober",),
    "network-networkd": ("systemd",),
    "network-resolved": ("systemd-resolved",),
    "network-networkmanager": ("network-manager",),
    "wifi-iwd": ("iwd",),
    "wifi-wpa": ("wpasupplicant",),
    "wifi-networkmanager": ("wpasupplicant",),
    "time-sync-timesyncd": ("systemd-timesyncd",),
    "time-sync-chrony": ("chrony",),
    "sudo": ("sudo",),
    "locales": ("locales",),
    "keymap": ("keyboard-configuration", "console-setup", "kbd"),
    "tzdata": ("tzdata",),
    "fs-ext4": ("e2fsprogs",),
    "fs-xfs": ("xfsprogs",),
    "fs-btrfs": ("btrfs-progs",),
    "fs-vfat": ("dosfstools",),
    "fs-ntfs": ("ntfs-3g",),
    "encryption": ("cryptsetup", "cryptsetup-initramfs"),
    "lvm": ("lvm2",),
    "ssh-server": ("openssh-server",),
    "udev": ("udev",),
    "dbus": ("dbus",),
    "firmware": ("firmware-linux", "firmware-iwlwifi", "firmware-realtek", "firmware-atheros", "firmware-sof-signed"),
}

BY_ARCHITECTURE: dict[str, dict[str, tuple[str, ...]]] = {
    "amd64": {
        "kernel": ("linux-image-amd64",),
        "loader-grub": ("grub-efi-amd64",),
        "loader-systemd-boot": ("systemd-boot", "systemd-boot-efi"),
        "secure-boot": ("shim-signed", "grub-efi-amd64-signed"),
    },
    "arm64": {  # from memory
        "kernel": ("linux-image-arm64",),
        "loader-grub": ("grub-efi-arm64",),
        "loader-systemd-boot": ("systemd-boot", "systemd-boot-efi"),
        "secure-boot": ("shim-signed", "grub-efi-arm64-signed"),
    },
}

FIRMWARE_BY_DRIVER: dict[str, tuple[str, ...]] = {  # which driver asks for which package's files: from memory
    "at76c50x": ("atmel-firmware",),
    "bnx2": ("firmware-bnx2",),
    "bnx2x": ("firmware-bnx2x",),
    "brcmfmac": ("firmware-brcm80211",),
    "brcmsmac": ("firmware-brcm80211",),
    "ipw2": ("firmware-ipw2x00",),
    "libertas": ("firmware-libertas",),
    "liquidio": ("firmware-cavium",),
    "mwifiex": ("firmware-libertas",),
    "mwl8k": ("firmware-libertas",),
    "myri10ge": ("firmware-myricom",),
    "netxen": ("firmware-netxen",),
    "nfp": ("firmware-netronome",),
    "qede": ("firmware-qlogic",),
    "wl12xx": ("firmware-ti-connectivity",),
    "wl18xx": ("firmware-ti-connectivity",),
    "zd1211": ("firmware-zd1211",),
}

KEYRING = "/etc/apt/keyrings/base.gpg"
"""Where a keyring named in the spec goes in the target."""


def source_list(base: Base, keyring: str) -> str:
    """One-line source list (sources.list(5)) of the spec's own sources; empty if the medium's are to be used."""
    if not base.source:
        return ""
    main = Source(name="base", url=base.source, release=base.release, components=base.components)
    option = f"[signed-by={keyring}] " if keyring else ""
    lines = (
        f"deb {option}{source.url} {source.release or base.release} "
        f"{' '.join(source.components or main.components or COMPONENTS)}\n"
        for source in (main, *base.more_sources)
    )
    return "".join(lines)


def _prepare(base: Base) -> Call:
    components = f"--components={','.join(base.components or COMPONENTS)}"
    keyring = f"--keyring={base.keyring}" if base.keyring else ""
    words = shlex.join(word for word in (components, keyring, base.release, TARGET, base.source) if word)
    return Call(
        verb="base/apt-unpack",
        args=(base.release, base.keyring),
        stdin=(source_list(base, base.keyring),),
        by_hand=(
            "# One of the next two, never both. Where the medium has `mmdebstrap`:",
            f"mmdebstrap --mode=root --skip=check/empty {words}",
            "# Only where it has none, but `debootstrap`:",
            f"debootstrap --force-check-gpg {words}",
            "# Then, in both cases:",
        ),
    )


def _install(base: Base) -> Call:
    recommended = "yes" if base.recommended else "no"
    return Call(
        verb="base/apt-install",
        args=(recommended, Gathered("package")),
        by_hand=(
            f"cp /etc/resolv.conf {TARGET}/etc/resolv.conf",
            f"chroot {TARGET} apt-get update",
            (
                f"chroot {TARGET} env SYSTEMD_ESP_PATH=/nonexistent apt-get install "
                f"-o APT::Install-Recommends={str(base.recommended).lower()} ",
                Gathered("package"),
            ),
            f"rm {TARGET}/etc/resolv.conf",
        ),
    )


def _sources(base: Base) -> tuple[tuple[Operation, ...], tuple[Check, ...]]:
    if not base.source:
        carry = Call(
            verb="base/apt-sources-carry",
            args=(base.release,),
            by_hand=(
                f"# The medium's own network sources of {base.release} go into the target: one `deb` line each, "
                "without `cdrom:` lines.",
                "cat /etc/apt/sources.list /etc/apt/sources.list.d/*",
                f"vi {TARGET}{SOURCES}",
            ),
        )
        named = conditions.holds(f"{SOURCES} names {base.release}", "base/apt-sources-name", base.release, early=False)
        return (carry,), (named,)
    content = source_list(base, KEYRING if base.keyring else "")
    write = WriteFile(path=InTarget(SOURCES), content=(content,))
    if not base.keyring:
        return (write,), (conditions.file_is(SOURCES, (content,)),)
    copy = Run(argv=("install", "-D", "-m", "0644", base.keyring, InTarget(KEYRING)))
    return (copy, write), (conditions.file_is(SOURCES, (content,)), conditions.file_mode_is(KEYRING, 0o644))


def _guards(base: Base) -> tuple[Check, ...]:
    tool = conditions.holds(
        "The medium can make a minimal apt system",
        "base/apt-bootstrap-tool",
        by_hand=("command -v mmdebstrap || command -v debootstrap",),
        otherwise="Use a medium with mmdebstrap or debootstrap, or install one of them on the medium.",
    )
    listed = source_list(base, base.keyring)
    guards = (tool, *reachable("base/apt-source-reachable", listed, base.release, by_hand=_asked_by_hand(base)))
    if not _wants_general_firmware(base):
        return guards
    offered = Check(
        says=f"The package source offers the component {FIRMWARE_COMPONENT}",
        test=Call(verb="base/apt-source-offers", args=(base.release, FIRMWARE_COMPONENT), stdin=(listed,)),
        otherwise="Add the component to the medium's sources, or set firmware or firmware_packages in the spec.",
    )
    return (tool, offered, *guards[1:])


_DEFAULT_KEYS = "/usr/share/keyrings/debian-archive-keyring.gpg"
"""Where Debian's package debian-archive-keyring keeps the keys of its archive."""


def _offers(base: Base) -> tuple[Check, ...]:
    keys = base.keyring or _DEFAULT_KEYS
    sources = (Source(name="base", url=base.source, release=base.release), *base.more_sources) if base.source else ()
    places = [f"{one.url.rstrip('/')}/dists/{one.release or base.release}/InRelease" for one in sources]
    signed = Check(
        says="The index of the package source is signed with a key that will be used, and in its time",
        test=Call(
            verb="base/apt-index",
            args=(base.release, base.keyring),
            stdin=(source_list(base, base.keyring),),
            by_hand=tuple(
                f"curl -fsSL {shlex.quote(place)} | gpgv --keyring {shlex.quote(keys)} 2>&1 | grep 'Good signature'"
                for place in places
            ),
        ),
        otherwise="Never switch signatures off. Set the clock; log in where the network asks for it; take newer keys "
        "of the distribution onto the medium, by its keyring package, or name their file in the spec.",
    )
    named = Check(
        says="The package source has every package, by its name",
        test=Call(verb="base/apt-offers", args=(Gathered("package"),)),
        otherwise="Correct the name in the spec, or name the release, component or source that has it; compile again.",
    )
    return signed, named


def _asked_by_hand(base: Base) -> tuple[str, ...]:
    """Fetch the release file of each source; of the medium's own sources apt itself says what they offer."""
    if not base.source:
        return (f"apt-get update > /dev/null && apt-cache policy | grep -F -e {shlex.quote(f'n={base.release}')}",)
    sources = (Source(name="base", url=base.source, release=base.release), *base.more_sources)
    urls = [shlex.quote(f"{one.url.rstrip('/')}/dists/{one.release or base.release}/Release") for one in sources]
    return tuple(f"{{ curl -fsSL {url} || wget -q -O - {url}; }} | grep -m 1 '^Suite:'" for url in urls)


def _wants_general_firmware(base: Base) -> bool:
    return base.firmware and not base.firmware_packages


def _check(base: Base) -> Iterable[Fault]:
    if not base.release and (not base.archive or base.source):
        yield Fault(
            code="release-missing",
            message="an apt base needs the name of its release",
            path=("release",),
            allowed='the suite as the package source spells it, such as "bookworm"',
        )
    if _wants_general_firmware(base) and base.source and base.components and FIRMWARE_COMPONENT not in base.components:
        yield Fault(
            code="component-missing",
            message="the family's firmware lies in a component that is not asked for",
            path=("components",),
            found=shown(" ".join(base.components)),
            allowed=f"{FIRMWARE_COMPONENT} as well, or firmware = false, or firmware_packages of your own",
        )
    for path, url in _urls(base):
        if url.startswith("file:"):
            yield Fault(
                code="source-on-medium",
                message="apt works inside the target and cannot see the medium's files",
                path=path,
                found=shown(url),
                allowed="an http or https address, or a base archive",
            )


def _urls(base: Base) -> Iterable[tuple[tuple[str | int, ...], str]]:
    yield ("source",), base.source
    for index, source in enumerate(base.more_sources):
        yield ("more_sources", index, "url"), source.url


TOOL = PackageFamily(
    # Debian Policy 4.6, section 5.6.1; a minus at the end would remove the package (apt-get(8)).
    package_name=r"[a-z0-9][a-z0-9+.-]*[a-z0-9+.]",
    package_name_words="two or more of a-z, 0-9, +, - and .; a letter or digit first, no - at the end",
    tools=("chroot",),
    packages=PACKAGES,
    by_architecture=BY_ARCHITECTURE,
    microcode={"intel": ("intel-microcode",), "amd": ("amd64-microcode",)},
    firmware_by_driver=FIRMWARE_BY_DRIVER,
    trims=True,  # postinst of util-linux, Debian 12
    # Read in what the packages run when they are installed: systemd-boot 252 calls bootctl(1) install, and shim-signed
    # 1.51 calls grub-install(8).
    writes_esp={"systemd-boot": "\\EFI\\BOOT", "shim-signed": "\\EFI\\debian"},
    rebuild_initramfs=("update-initramfs", "-u", "-k", "all"),
    room_mib=2560,
    prepare=_prepare,
    install=_install,
    installed=conditions.holds(
        "Every package is installed",
        "base/apt-installed",
        Gathered("package"),
        early=False,
        by_hand=(
            (f"every '^installed$' chroot {TARGET} dpkg-query -W -f '${{db:Status-Status}}\\n' ", Gathered("package")),
        ),
    ),
    sources=_sources,
    sources_first=True,
    guards=_guards,
    offers=_offers,
    check=_check,
)

CHANGES = PackageChanges(
    add="base/apt-add",
    take_back="base/apt-take-back",
    drop="base/apt-drop",
    known="base/apt-known",
    there="base/apt-installed",
    gone="base/apt-gone",
    can_go="base/apt-can-go",
    add_by_hand="apt-get install",
    drop_by_hand="apt-get remove --purge --auto-remove",
    list_by_hand="dpkg -l",
    installed_by_hand="an installed version (apt: `ii`)",
)
