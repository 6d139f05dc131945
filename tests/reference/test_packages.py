"""Package families against the real tools: pacman, dnf and rpm, dpkg, apt, mmdebstrap and debootstrap of Debian.

Small signed repositories are made here, so that option spelling, root handling, keys and failure behaviour are real.
Option meaning: pacman(8), pacman.conf(5), dnf(8), dnf.conf(5), sources.list(5), mmdebstrap(1), debootstrap(8).
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import run_function as run
from bedplate_steps.base.model import Base, Source
from bedplate_steps.families.apt import package_tool as apt
from bedplate_steps.families.dnf import package_tool as dnf
from bedplate_steps.families.pacman import package_tool as pacman
from family_records import PACKAGE_FAMILIES
from library import LIBRARY
from sources import end_agent, gpg

Run = Callable[..., subprocess.CompletedProcess[str]]


def command(*words: str | Path, cwd: Path | None = None, stdin: str | None = None) -> str:
    done = subprocess.run([*map(str, words)], cwd=cwd, input=stdin, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (words, done.stdout, done.stderr)
    return done.stdout


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A gpg home with one signing key, and that key as key.asc."""
    home = tmp_path_factory.mktemp("keys")
    home.chmod(0o700)
    owner = "Source <source@saltmarsh.example>"
    gpg(home, "--passphrase", "", "--quick-gen-key", owner, "rsa2048", "sign", "never")
    gpg(home, "--output", home / "key.asc", "--armor", "--export")
    gpg(home, "--output", home / "key.gpg", "--export")
    return home


@pytest.fixture
def place(tmp_path: Path) -> Path:
    for name in ("target", "work", "source"):
        (tmp_path / name).mkdir()
    return tmp_path


@pytest.fixture
def verb(place: Path) -> Run:
    def call(name: str, *args: str, **more: object) -> subprocess.CompletedProcess[str]:
        return run(name, *args, target=place / "target", work=place / "work", **more)  # type: ignore[arg-type]

    return call


# --- pacman ------------------------------------------------------------------------------------------------------


def pacman_package(source: Path, keys: Path, name: str, **fields: str) -> Path:
    root = source / f"root-{name}"
    (root / "usr/share" / name).mkdir(parents=True)
    (root / "usr/share" / name / "text").write_text("text\n")
    words = {"pkgname": name, "pkgver": "1-1", "pkgdesc": name, "size": "5", "arch": "any", **fields}
    (root / ".PKGINFO").write_text("".join(f"{key} = {value}\n" for key, value in words.items()))
    path = source / f"{name}-1-1-any.pkg.tar.gz"
    command("bsdtar", "-czf", path, ".PKGINFO", "usr", cwd=root)
    gpg(keys, "--detach-sign", path)
    shutil.rmtree(root)
    return path


@pytest.fixture
def pacman_config(place: Path, keys: Path) -> str:
    source = place / "source"
    kernel = pacman_package(source, keys, "linux", depend="base", provides="kernel")
    found = [pacman_package(source, keys, "base"), kernel]
    for repository in ("core", "extra"):
        command("repo-add", "-q", source / f"{repository}.db.tar.gz", *(found if repository == "core" else ()))
    text = pacman.config(Base(family="pacman", source=f"file://{source}"))
    return text.replace("[options]\n", f"[options]\nGPGDir = {keys}\n")


@pytest.mark.proves(family="pacman", by="tool")
def test_pacman_reads_the_configuration(pacman_config: str, place: Path, verb: Run) -> None:
    done = verb("base/pacman-source-reachable", "trusted", stdin=pacman_config)
    assert done.returncode == 0, done.stderr
    assert (place / "work/repositories").read_text().split() == ["core", "extra"]
    (place / "source/extra.db").unlink()
    gone = verb("base/pacman-source-reachable", "trusted", stdin=pacman_config)
    assert gone.returncode == 1
    assert "extra" in gone.stderr


@pytest.mark.proves(family="pacman", by="tool")
@pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])
def test_pacman_installs_into_the_target_only(pacman_config: str, place: Path, verb: Run, shell: tuple[str]) -> None:
    assert verb("base/pacman-prepare", shell=shell).returncode == 0
    done = verb("base/pacman-install", "base", "linux", stdin=pacman_config, shell=shell)
    assert done.returncode == 0, done.stderr
    target = place / "target"
    assert (target / "usr/share/linux/text").is_file()
    assert command("pacman", "--root", target, "-Qq").split() == ["base", "linux"]
    assert not (target / ".base-unfinished").exists()
    assert list((target / "var/cache/pacman/pkg").iterdir()) == []
    tool = f'shift; pacman --root {target} "$@"'
    assert verb("base/pacman-installed", "linux", "kernel", in_target=tool).returncode == 0
    missing = verb("base/pacman-installed", "linux", "sudo", in_target=tool)
    assert missing.returncode == 1
    assert "sudo" in missing.stderr
    (target / ".base-unfinished").touch()
    assert verb("base/pacman-installed", "linux", in_target=tool).returncode == 1


@pytest.mark.proves(family="pacman", by="tool")
def test_pacman_refuses_an_unknown_name_before_it_touches_the_target(
    pacman_config: str, place: Path, verb: Run
) -> None:
    verb("base/pacman-prepare")
    done = verb("base/pacman-install", "base", "lnux", stdin=pacman_config)
    assert done.returncode == 1
    assert "lnux" in done.stderr
    assert not (place / "target/.base-unfinished").exists()


@pytest.mark.proves(family="pacman", by="tool")
def test_pacman_refuses_a_package_whose_signature_is_missing(pacman_config: str, place: Path, verb: Run) -> None:
    (place / "source/linux-1-1-any.pkg.tar.gz.sig").unlink()
    verb("base/pacman-prepare")
    assert verb("base/pacman-install", "base", "linux", stdin=pacman_config).returncode == 1
    assert not (place / "target/usr/share/linux").exists()


@pytest.mark.proves(family="pacman", by="tool")
@pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])
def test_pacman_looks_names_up_and_reads_the_lists_before_the_first_write(
    pacman_config: str, place: Path, verb: Run, shell: tuple[str]
) -> None:
    assert verb("base/pacman-offers", "base", "kernel", stdin=pacman_config, shell=shell).returncode == 0
    wrong = verb("base/pacman-offers", "base", "lnux", stdin=pacman_config, shell=shell)
    assert wrong.returncode == 1 and "lnux" in wrong.stderr
    for list_of_packages in (place / "source").glob("core.db*"):
        list_of_packages.unlink()
    (place / "source/core.db").write_text("<html>Please log in.</html>")
    assert verb("base/pacman-offers", "base", stdin=pacman_config, shell=shell).returncode == 1
    assert list((place / "target").iterdir()) == []


# --- dnf and rpm -------------------------------------------------------------------------------------------------

_RPM = """Name: {name}
Version: 1
Release: 1
Summary: text
License: MIT
BuildArch: noarch
Provides: provided-by-{name}
%description
text
%install
mkdir -p %{{buildroot}}/usr/share/{name}
%files
/usr/share/{name}
"""


@pytest.fixture
def dnf_base(place: Path, keys: Path) -> Base:
    source = place / "source"
    for name in ("bash", "kernel"):
        (source / "package.spec").write_text(_RPM.format(name=name))
        command("rpmbuild", "-bb", "--define", f"_topdir {source}/build", source / "package.spec")
    packages = [shutil.move(path, source) for path in sorted((source / "build").rglob("*.rpm"))]
    define = (
        "--define",
        "_gpg_name source@saltmarsh.example",
        "--define",
        f"_gpg_path {keys}",
        "--define",
        "__gpg /usr/bin/gpg",
    )
    command("rpm", *define, "--addsign", *packages)
    end_agent(keys)
    command("createrepo_c", "-q", source)
    return Base(family="dnf", release="42", source=f"file://{source}", keyring=str(keys / "key.asc"))


@pytest.mark.proves(family="dnf", by="tool")
def test_dnf_installs_signed_packages_into_the_target(dnf_base: Base, place: Path, verb: Run) -> None:
    repository, target = dnf.repository(dnf_base, dnf_base.keyring), place / "target"
    assert verb("base/dnf-source-reachable", "trusted", "42", stdin=repository).returncode == 0
    assert verb("base/dnf-prepare").returncode == 0
    done = verb("base/dnf-install", "42", "no", "bash", "kernel", stdin=repository)
    assert done.returncode == 0, done.stderr
    assert command("rpm", "--root", target, "-qa", "--queryformat", "%{name}\n").split().count("kernel") == 1
    assert (target / "usr/share/kernel").is_dir()
    assert list((target / "var").rglob("*.rpm")) == []
    assert not (target / ".base-unfinished").exists()
    tool = f'shift; rpm --root {target} "$@"'
    assert verb("base/rpm-installed", "kernel", "provided-by-bash", in_target=tool).returncode == 0
    missing = verb("base/rpm-installed", "kernel", "sudo", in_target=tool)
    assert missing.returncode == 1
    assert "sudo" in missing.stderr


@pytest.mark.proves(family="dnf", by="tool")
def test_dnf_looks_names_up_before_the_first_write(dnf_base: Base, place: Path, verb: Run) -> None:
    repository = dnf.repository(dnf_base, dnf_base.keyring)
    known = verb("base/dnf-offers", "42", "bash", "provided-by-kernel", stdin=repository)
    assert known.returncode == 0, known.stderr
    wrong = verb("base/dnf-offers", "42", "bash", "kernle", stdin=repository)
    assert wrong.returncode == 1 and "no package kernle; nearest: kernel" in wrong.stderr
    assert list((place / "target").iterdir()) == []


@pytest.mark.proves(family="dnf", by="tool")
def test_dnf_refuses_unknown_names_and_unsigned_packages(dnf_base: Base, place: Path, verb: Run) -> None:
    repository = dnf.repository(dnf_base, dnf_base.keyring)
    verb("base/dnf-prepare")
    assert verb("base/dnf-install", "42", "no", "bash", "krnel", stdin=repository).returncode == 1
    for path in (place / "source").glob("*.rpm"):
        command("rpm", "--delsign", path)
    command("createrepo_c", "-q", place / "source")
    done = verb("base/dnf-install", "42", "no", "bash", stdin=repository)
    assert done.returncode == 1
    assert not (place / "target/usr/share/bash").exists()
    assert not (place / "target/.base-unfinished").exists()


# --- apt ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def apt_source(place: Path, keys: Path) -> Path:
    """A signed source with the release `tidal`, its component main, and one package."""
    source = place / "source"
    pool, lists = source / "pool", source / "dists/tidal/main/binary-amd64"
    pool.mkdir()
    lists.mkdir(parents=True)
    control = place / "package/DEBIAN"
    control.mkdir(parents=True)
    (control / "control").write_text(
        "Package: tide-table\nVersion: 1\nArchitecture: all\nMaintainer: x <x@saltmarsh.example>\nDescription: text\n"
    )
    command("dpkg-deb", "--build", place / "package", pool)
    (lists / "Packages").write_text(command("apt-ftparchive", "packages", "pool", cwd=source))
    release = command(
        "apt-ftparchive",
        "-o",
        "APT::FTPArchive::Release::Codename=tidal",
        "-o",
        "APT::FTPArchive::Release::Suite=tidal",
        "-o",
        "APT::FTPArchive::Release::Components=main",
        "-o",
        "APT::FTPArchive::Release::Architectures=amd64",
        "release",
        "dists/tidal",
        cwd=source,
    )
    (source / "dists/tidal/Release").write_text(release)
    gpg(keys, "--output", source / "dists/tidal/InRelease", "--clearsign", source / "dists/tidal/Release")
    return source


@pytest.mark.proves(family="apt", by="tool")
def test_apt_takes_the_source_list_and_the_key_it_names(apt_source: Path, place: Path, keys: Path) -> None:
    base = Base(family="apt", release="tidal", source=f"file:{apt_source}", components=("main",), keyring="unused")
    listed = place / "sources.list"
    state = place / "state"
    (state / "lists/partial").mkdir(parents=True)
    (state / "status").touch()
    options = (
        "-o",
        f"Dir::Etc::sourcelist={listed}",
        "-o",
        "Dir::Etc::sourceparts=-",
        "-o",
        f"Dir::State={state}",
        "-o",
        f"Dir::State::status={state}/status",
        "-o",
        f"Dir::Cache={place}/cache",
        "-o",
        "APT::Sandbox::User=root",
        "-o",
        "Dir::Etc::trustedparts=/nowhere",
        "-o",
        "APT::Update::Error-Mode=any",
    )
    listed.write_text(apt.source_list(base, str(keys / "key.gpg")))
    command("apt-get", *options, "update")
    assert "tide-table" in command("apt-cache", *options, "pkgnames")
    listed.write_text(apt.source_list(base, ""))
    done = subprocess.run(["apt-get", *options, "update"], capture_output=True, text=True, check=False)
    assert done.returncode != 0, "a source without a known key must not be taken"


def test_apt_more_sources_keep_their_own_release() -> None:
    url = "https://mirror.example/security"
    more = Source(name="security", url=url, release="tidal-security", components=("main",))
    base = Base(family="apt", release="tidal", source="https://mirror.example/debian", more_sources=(more,))
    assert apt.source_list(base, "") == (
        "deb https://mirror.example/debian tidal main non-free-firmware\n"
        "deb https://mirror.example/security tidal-security main\n"
    )


@pytest.mark.proves(family="apt", by="tool")
def test_what_dpkg_knows_as_installed_is_proof(place: Path, verb: Run) -> None:
    here = 'case $1 in dpkg-query | dpkg) "$@" ;; esac'
    assert verb("base/apt-installed", "dpkg", "tzdata", in_target=here).returncode == 0
    missing = verb("base/apt-installed", "dpkg", "no-such-package", in_target=here)
    assert missing.returncode == 1
    assert "no-such-package" in missing.stderr


def test_leftovers_of_a_cut_short_transaction_are_found(place: Path, verb: Run) -> None:
    """invoke-rc.d(8): a policy-rc.d that answers 101 would forbid every service for ever."""
    here = 'case $1 in dpkg-query | dpkg) "$@" ;; esac'
    for name, text in (("usr/sbin/policy-rc.d", "#!/bin/sh\n# Bedplate: x\nexit 101\n"), ("etc/resolv.conf.aside", "")):
        path = place / "target" / name
        path.parent.mkdir(parents=True)
        path.write_text(text)
        done = verb("base/apt-installed", "dpkg", in_target=here)
        assert (done.returncode, path.name in done.stderr) == (1, True)
        path.unlink()
    assert verb("base/apt-installed", "dpkg", in_target=here).returncode == 0


TRANSACTION = """case $* in
    *apt-cache*pkgnames*) echo less ;;
    *apt-get*install*) ls "$TARGET/usr/sbin/policy-rc.d"; cat "$TARGET/etc/resolv.conf"; exit_as ;;
esac"""


@pytest.mark.parametrize("ends", ["true", "false"])
@pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])
def test_the_transaction_leaves_nothing_of_its_own(place: Path, verb: Run, shell: tuple[str], ends: str) -> None:
    target = place / "target"
    (target / "usr/sbin").mkdir(parents=True)
    (target / "etc").mkdir()
    (target / "etc/resolv.conf").symlink_to("../run/systemd/resolve/stub-resolv.conf")
    done = verb("base/apt-install", "no", "less", shell=shell, in_target=TRANSACTION.replace("exit_as", ends))
    assert (done.returncode == 0) is (ends == "true")
    assert "policy-rc.d" in done.stdout
    assert Path("/etc/resolv.conf").read_text() in done.stdout
    assert not (target / "usr/sbin/policy-rc.d").exists()
    assert (target / "etc/resolv.conf").readlink() == Path("../run/systemd/resolve/stub-resolv.conf")
    assert sorted(path.name for path in (target / "etc").iterdir()) == ["resolv.conf"]


@pytest.fixture(scope="module")
def apt_lists() -> None:
    """The machine's own package lists; fetched if it has none."""
    if "Candidate: (none)" in command("apt-cache", "policy", "linux-image-amd64") or not command(
        "apt-cache", "policy", "linux-image-amd64"
    ):
        command("apt-get", "-q", "update")


@pytest.fixture(scope="module")
def firmware_names(tmp_path_factory: pytest.TempPathFactory, apt_lists: None) -> set[str]:
    """What the machine's own source has in the component for firmware, read into a folder of the test."""

    targets = command(
        "apt-get", "indextargets", "--format", "$(REPO_URI) $(RELEASE) $(COMPONENT)", "Created-By: Packages"
    ).splitlines()

    rows = [line.split() for line in targets]
    uri, release = next((uri, release) for uri, release, part in rows if part == "main" and "-" not in release)
    state = tmp_path_factory.mktemp("firmware")
    (state / "lists/partial").mkdir(parents=True)
    (state / "status").touch()
    (state / "sources.list").write_text(f"deb {uri} {release} {apt.FIRMWARE_COMPONENT}\n")
    options = (
        "-o",
        f"Dir::Etc::sourcelist={state}/sources.list",
        "-o",
        "Dir::Etc::sourceparts=-",
        "-o",
        f"Dir::State={state}",
        "-o",
        f"Dir::State::status={state}/status",
        "-o",
        f"Dir::Cache={state}/cache",
        "-o",
        "APT::Sandbox::User=root",
    )
    command("apt-get", "-q", *options, "update")
    return set(command("apt-cache", *options, "pkgnames").split())


@pytest.mark.usefixtures("apt_lists")
@pytest.mark.proves(family="apt", by="tool")
def test_the_apt_names_are_in_the_package_lists(firmware_names: set[str]) -> None:
    """Debian 12: main, and the component for firmware and microcode."""
    tables = (apt.PACKAGES, apt.BY_ARCHITECTURE["amd64"])
    names = {name for table in tables for need, found in table.items() if need != "firmware" for name in found}
    known = set(command("apt-cache", "pkgnames").split())
    assert names - known == set()
    firmware = (apt.PACKAGES["firmware"], *apt.TOOL.microcode.values(), *apt.FIRMWARE_BY_DRIVER.values())
    assert {name for found in firmware for name in found} - firmware_names == set()


@pytest.mark.proves(family="apt", by="tool")
@pytest.mark.parametrize("tool", ["mmdebstrap", "debootstrap"])
def test_the_bootstrap_tools_know_the_options(tool: str) -> None:
    text = LIBRARY.text(["base/apt-unpack"])
    [call] = [line for line in text.replace("\\\n", " ").splitlines() if line.strip().startswith(f"{tool} ")]
    options = [word.partition("=")[0].strip('"') for word in call.split() if word.startswith(("--", '${2:+"--'))]
    options = [option.removeprefix('${2:+"') for option in options]
    helped = command(tool, "--help")
    assert options
    for option in options:
        assert option in helped, option


# --- all families ------------------------------------------------------------------------------------------------

NEEDS = {
    "base",
    "kernel",
    "initramfs",
    "firmware",
    "loader-grub",
    "loader-systemd-boot",
    "boot-entries",
    "other-systems",
    "network-networkd",
    "network-resolved",
    "network-networkmanager",
    "wifi-iwd",
    "wifi-wpa",
    "wifi-networkmanager",
    "time-sync-timesyncd",
    "time-sync-chrony",
    "sudo",
    "locales",
    "keymap",
    "tzdata",
    "fs-ext4",
    "fs-xfs",
    "fs-btrfs",
    "fs-vfat",
    "fs-ntfs",
    "encryption",
    "lvm",
    "ssh-server",
    "udev",
    "dbus",
}


@pytest.mark.parametrize("architecture", ["amd64", "arm64"])
@pytest.mark.parametrize("family", sorted(PACKAGE_FAMILIES))
def test_every_family_answers_every_need(family: str, architecture: str) -> None:
    table = PACKAGE_FAMILIES[family].table(architecture)
    assert set(table) >= NEEDS
    assert all(table[need] for need in NEEDS)


def test_names_that_handbooks_print() -> None:
    """pacman: installation guide and package pages of its distribution; dnf: package pages of its distribution."""
    table = PACKAGE_FAMILIES["pacman"].table("amd64")
    assert (table["base"], table["kernel"], table["boot-entries"]) == (("base",), ("linux",), ("efibootmgr",))
    assert set(table["firmware"]) == {"linux-firmware", "sof-firmware"}
    assert PACKAGE_FAMILIES["pacman"].microcode == {"intel": ("intel-ucode",), "amd": ("amd-ucode",)}
    table = PACKAGE_FAMILIES["dnf"].table("amd64")
    assert {"grub2-efi-x64", "grub2-common"} <= set(table["loader-grub"])
    assert set(table["loader-systemd-boot"]) == {"systemd-boot-unsigned", "sdubby"}
    assert "shim-x64" in table["secure-boot"]
