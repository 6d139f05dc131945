"""The base step: faults, facts, actions and their order, and its runtime verbs under three shells."""

from __future__ import annotations

import os
import shutil
import subprocess
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import pytest
from attrs import evolve, field, frozen

import bedplate_schema
from bedplate.actions import Action, Call, InTarget, Stage
from bedplate.facts import Family, LaidPartition, Layout
from bedplate.faults import Fault, Place, Rejected, dotted
from bedplate.install_graph import Node
from bedplate.linking.link import Owned, link
from bedplate.reading.schema_errors import schema_faults
from bedplate.reading.structuring import structured
from bedplate.rendering import manual_commands
from bedplate.spec import Machine
from bedplate.survey import Link as SurveyedLink
from bedplate.survey import Survey, SurveyedDisk, SurveyedMachine
from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import function_script as script
from bedplate.testing.function_runner import run_function as run
from bedplate_steps.base import bedplate_steps
from bedplate_steps.base.archive import unpack
from bedplate_steps.base.draft import draft
from bedplate_steps.base.facts import family_of
from bedplate_steps.base.model import Base
from family_records import PACKAGE_FAMILIES

T = TypeVar("T")
[STEP] = bedplate_steps()
APT = 'family = "apt"\nrelease = "bookworm"\n'
PACMAN = 'family = "pacman"\n'
DNF = 'family = "dnf"\nrelease = "42"\n'
ROOT = LaidPartition(
    name="root",
    new=True,
    number=5,
    start=2048,
    size=41943040,
    type="",
    uuid="A1",
    role="root",
    filesystem="ext4",
    mount="/",
)
ESP = LaidPartition(
    name="esp",
    new=False,
    number=1,
    start=0,
    size=2048,
    type="",
    uuid="E1",
    role="esp",
    filesystem="vfat",
    mount="/boot/efi",
)
LAYOUT = Layout(
    disk_words="the disk",
    serial="SM-1",
    size_bytes=1,
    sector_size=512,
    table_id="",
    whole_disk=False,
    first_lba=34,
    last_lba=99999999,
    partitions=(ESP, ROOT),
)
NEEDS_ROOT = pytest.mark.skipif(os.geteuid() != 0, reason="mounting needs root")


@frozen(kw_only=True)
class Around:
    """A context with a machine, perhaps a survey, and a layout."""

    machine: Machine = field(factory=lambda: Machine(name="kelp-02"))
    survey: Survey | None = field(factory=lambda: Survey(machine=SurveyedMachine(cpu_vendor="intel")))
    layout: Layout = LAYOUT

    def has(self, kind: type[object]) -> bool:
        return kind is Layout

    def fact(self, kind: type[T]) -> T:
        assert isinstance(self.layout, kind)
        return self.layout

    def extensions(self, kind: type[T]) -> Mapping[str, T]:
        return {name: family for name, family in PACKAGE_FAMILIES.items() if isinstance(family, kind)}


def section(text: str) -> Base:
    data: dict[str, Any] = tomllib.loads(text)
    if schema_faults(bedplate_schema.load("base"), data, lambda path, key=False: Place(file="spec")):
        raise ValueError("refused by the schema")
    return structured(data, Base)


def faults(text: str, around: Around | None = None) -> list[Fault]:
    assert STEP.validate is not None
    return list(STEP.validate(section(text), around or Around()))


def actions(text: str, around: Around | None = None) -> list[Action]:
    around = around or Around()
    assert [fault for fault in faults(text, around) if not fault.warning] == []
    return list(STEP.emit(section(text), around))


def linked(text: str, *more: Action) -> tuple[Node, ...]:
    """The step's actions in order, with stand-ins for what other steps give and need."""
    before = Action(
        id="disk.mount",
        title="t",
        reason="r",
        stage=Stage.LIVE,
        operations=(),
        gives=("target:mounted", "clock:live", "network:live"),
    )
    owned = [Owned(action=action, section="x", origin="x") for action in (before, *actions(text), *more)]
    return link(owned)[0]


def action(nodes: Iterable[Node], name: str) -> Action:
    [found] = [node.action for node in nodes if node.action.id == name]
    return found


# --- schema and faults -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        PACMAN + 'release = "$(reboot)"',
        APT + 'source = "http://mirror.example/x y"',
        APT + 'source = "http://mirror.example/`id`"',
        APT + 'packages = ["less; reboot"]',
        APT + 'packages = ["-o"]',
        APT + 'services = ["-x.service"]',
        APT + 'services = ["sshd"]',
        APT + 'services = ["ssh.service\\n"]',
        APT + 'packages = ["less\\n"]',
        APT + 'archive = "base.tar"',
        APT + 'archive = "/base\\u0000.tar"',
        APT + 'more_sources = [{ name = "a\\nb", url = "https://mirror.example/" }]',
        APT + "firmwares = true",
        'release = "bookworm"',
    ],
)
def test_the_schema_refuses(text: str) -> None:
    with pytest.raises(ValueError, match="refused"):
        section(text)


@pytest.mark.parametrize(
    ("text", "path", "code"),
    [
        ('family = "apt"', "release", "release-missing"),
        ('family = "dnf"', "release", "release-missing"),
        (PACMAN + 'release = "1"', "release", "release-not-used"),
        (PACMAN + 'keyring = "/k.gpg"', "keyring", "keyring-not-used"),
        (DNF + 'source = "https://mirror.example/42"', "source", "keyring-missing"),
        (APT + 'source = "file:///media/debian"', "source", "source-on-medium"),
        (APT + 'packages = ["less", "Vim"]', "packages[1]", "bad-package-name"),
        (APT + 'packages = ["yash-"]', "packages[0]", "bad-package-name"),  # apt-get(8) removes it
        (APT + 'kernel = "linux-image-amd64-"', "kernel", "bad-package-name"),
        (APT + 'firmware_packages = ["firmware-realtek-"]', "firmware_packages[0]", "bad-package-name"),
        (
            APT + 'firmware = false\nfirmware_packages = ["firmware-realtek"]',
            "firmware_packages",
            "firmware-contradiction",
        ),
        (APT + 'source = "https://mirror.example/debian"\ncomponents = ["main"]', "components", "component-missing"),
        (APT + f'archive_sha256 = "{"0" * 64}"', "archive_sha256", "archive-missing"),
        (APT + 'more_sources = [{ name = "a", url = "https://mirror.example/" }]', "more_sources", "source-missing"),
    ],
)
def test_one_fault_for_one_mistake(text: str, path: str, code: str) -> None:
    [fault] = faults(text)
    assert (dotted(fault.path), fault.code, fault.warning) == (path, code, False)
    assert fault.allowed


def test_an_archive_needs_no_release() -> None:
    assert faults('family = "apt"\narchive = "/media/base.tar.zst"') == []


def test_a_small_root_is_refused_with_both_sizes() -> None:
    small = evolve(LAYOUT, partitions=(ESP, evolve(ROOT, size=2097152)))
    [fault] = faults(APT, Around(layout=small))
    assert (fault.code, fault.found, fault.allowed) == ("root-too-small", "1 GiB on root", "at least 2.5 GiB")


def test_an_unknown_processor_is_a_warning() -> None:
    [fault] = faults(APT, Around(survey=None))
    assert (fault.code, fault.warning) == ("microcode-unknown", True)
    assert faults(APT, Around(survey=None, machine=Machine(name="kelp-02", architecture="arm64"))) == []
    assert faults(APT + 'microcode = "none"', Around(survey=None)) == []


# --- facts -------------------------------------------------------------------------------------------------------


def family(text: str, around: Around | None = None) -> Family:
    return family_of(section(text), around or Around())


def test_the_family_settles_kernel_firmware_and_microcode() -> None:
    assert family(APT).packages["microcode"] == ("intel-microcode",)
    assert family(APT + 'microcode = "amd"').packages["microcode"] == ("amd64-microcode",)
    assert family(APT + 'microcode = "none"').packages["microcode"] == ()
    assert family(APT + 'kernel = "linux-image-rt-amd64"').packages["kernel"] == ("linux-image-rt-amd64",)
    assert family(APT + "firmware = false").packages["firmware"] == ()
    assert family(APT + 'firmware_packages = ["firmware-realtek"]').packages["firmware"] == ("firmware-realtek",)


def test_the_architecture_chooses_names() -> None:
    arm = Around(machine=Machine(name="tern-04", architecture="arm64"))
    assert family(APT, arm).packages["loader-grub"] == ("grub-efi-arm64",)
    assert family(APT, arm).packages["microcode"] == ()


def test_an_unanswered_need_is_named() -> None:
    with pytest.raises(Rejected, match="pacman names no package for secure-boot"):
        family(PACMAN).tokens("secure-boot")


# --- actions -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "order"),
    [
        (APT, ["unpack", "machine-id", "api", "sources", "packages", "api-off"]),
        (PACMAN, ["unpack", "machine-id", "api", "packages", "sources", "api-off"]),
        (DNF, ["unpack", "machine-id", "api", "packages", "api-off"]),
        ('family = "apt"\narchive = "/b.tar"', ["unpack", "machine-id", "api", "packages", "host-keys", "api-off"]),
        (DNF + 'services = ["sshd.service"]', ["unpack", "machine-id", "api", "packages", "services", "api-off"]),
    ],
)
def test_the_order_of_the_work(text: str, order: list[str]) -> None:
    # what can be looked at without network or clock goes before everything else
    first = ["base.look", "disk.mount"] if "archive" in text else ["disk.mount", "base.look"]
    assert [node.action.id for node in linked(text)] == [*first, *(f"base.{name}" for name in order)]


@pytest.mark.parametrize("text", [APT, PACMAN, DNF, 'family = "apt"\narchive = "/b.tar"'])
def test_what_the_base_needs_is_looked_at_without_the_disk(text: str) -> None:
    look, unpack = action(linked(text), "base.look"), action(linked(text), "base.unpack")
    source = look.guards[1:]
    assert not look.changes and source == unpack.guards[: len(source)] and "target:mounted" not in look.needs
    assert isinstance(look.guards[0].test, Call) and look.guards[0].test.verb == "base/userland-is"


def test_packages_of_all_steps_come_in_one_transaction() -> None:
    other = Action(
        id="users.sudo",
        title="t",
        reason="r",
        stage=Stage.TARGET,
        operations=(),
        needs=("package:sudo", "package:vim-tiny"),
    )
    nodes = linked(APT + 'packages = ["less"]\nfirmware = false', other)
    install = action(nodes, "base.packages")
    [call] = [operation for operation in install.operations if isinstance(operation, Call)]
    assert call.args == (
        "yes",
        "ca-certificates",
        "dbus",
        "initramfs-tools",
        "intel-microcode",
        "less",
        "linux-image-amd64",
        "sudo",
        "vim-tiny",
        "zstd",
    )
    assert isinstance(install.proofs[0].test, Call)
    assert install.proofs[0].test.args == call.args[1:]
    order = [node.action.id for node in nodes]
    assert order.index("base.packages") < order.index("users.sudo") < order.index("base.api-off")


def test_an_archive_installs_nothing_but_proves_every_package() -> None:
    install = action(linked('family = "apt"\narchive = "/b.tar"'), "base.packages")
    assert (install.operations, install.changes) == ((), False)
    assert isinstance(install.proofs[0].test, Call)
    assert "linux-image-amd64" in install.proofs[0].test.args


def test_every_planned_mount_is_guarded_before_anything_is_unpacked() -> None:
    unpack = action(linked(APT), "base.unpack")
    tests = [guard.test for guard in unpack.guards if isinstance(guard.test, Call)]
    assert [test.args for test in tests if test.verb == "base/mounted-from"] == [
        (InTarget("/"), "A1"),
        (InTarget("/boot/efi"), "E1"),
    ]
    [empty] = [test for test in tests if test.verb == "base/target-empty"]
    assert empty.args == (InTarget("/boot/efi"),)


def test_the_source_is_asked_before_the_first_write_and_again_right_before_use() -> None:
    guards = [guard for guard in action(linked(APT), "base.unpack").guards if isinstance(guard.test, Call)]
    reach = [(guard.test.args[0], guard.early) for guard in guards if guard.test.verb == "base/apt-source-reachable"]  # type: ignore[union-attr]
    assert reach == [("any", True), ("trusted", False)]


@pytest.mark.parametrize("text", [APT, PACMAN, DNF, APT + 'archive = "/b.tar.zst"\n'])
def test_what_changes_has_proofs_and_a_way_back(text: str) -> None:
    for node in linked(text + 'services = ["cron.service"]'):
        if node.action.id.startswith("base.") and (node.action.changes or node.action.id != "base.look"):
            assert node.action.proofs
            assert node.action.way_back.note
    assert action(linked(text), "base.unpack").stamped
    assert action(linked(text), "base.api").transient


def test_tools_are_those_of_the_family_and_the_archive() -> None:
    def tools(text: str) -> set[str]:
        before = Action(
            id="disk.mount",
            title="t",
            reason="r",
            stage=Stage.LIVE,
            operations=(),
            gives=("target:mounted", "clock:live", "network:live"),
        )
        owned = [Owned(action=item, section="x", origin="x") for item in (before, *actions(text))]
        return set(link(owned)[1])

    assert "pacman" in tools(PACMAN)
    assert {"dnf", "rpm"} <= tools(DNF)
    assert {"tar", "zstd"} <= tools(APT + 'archive = "/b.tar.zst"')
    assert "dnf" not in tools(DNF + 'archive = "/b.tar"')


# Which package has the files that these drivers ask for: from memory; the names of apt's are in the package lists.
@pytest.mark.parametrize(
    ("text", "driver", "more"),
    [
        (APT, "brcmfmac", ("firmware-brcm80211",)),
        (APT, "bnx2x", ("firmware-bnx2x",)),
        (APT, "bnx2", ("firmware-bnx2",)),
        (APT, "mwifiex_pcie", ("firmware-libertas",)),
        (APT, "iwlwifi", ()),
        (APT, "e1000e", ()),
        (APT, "", ()),
        (PACMAN, "mwifiex_pcie", ("linux-firmware-marvell",)),
        (PACMAN, "iwlwifi", ()),
        (DNF, "iwlwifi", ("iwlwifi-mvm-firmware", "iwlwifi-dvm-firmware")),
    ],
)
def test_firmware_is_chosen_by_the_survey_s_cards_too(text: str, driver: str, more: tuple[str, ...]) -> None:
    def firmware(text: str, *drivers: str) -> tuple[str, ...]:
        links = tuple(SurveyedLink(name="card", mac="00:00:5e:00:53:17", driver=each) for each in drivers)
        context = Around(survey=Survey(machine=SurveyedMachine(cpu_vendor="intel"), links=links))
        return family_of(section(text), context).packages["firmware"]

    assert firmware(text, driver) == (*firmware(text), *more)
    assert firmware(text + 'firmware_packages = ["one"]\n', driver) == ("one",)
    assert firmware(text + "firmware = false\n", driver) == ()


@pytest.mark.parametrize(
    ("text", "rotational", "warned"),
    [
        (PACMAN, False, True),
        (PACMAN, True, False),
        (PACMAN + 'services = ["fstrim.timer"]\n', False, False),
        (APT, False, False),  # postinst of Debian 12's util-linux enables it
    ],
)
def test_a_solid_state_disk_wants_its_timer(text: str, rotational: bool, warned: bool) -> None:
    disk = SurveyedDisk(path="/dev/sda", serial=LAYOUT.serial, rotational=rotational, size_bytes=1)
    around = Around(survey=Survey(machine=SurveyedMachine(cpu_vendor="intel"), disks=(disk,)))
    found = [fault for fault in faults(text, around) if fault.code == "no-trim"]
    assert [fault.warning for fault in found] == [True] * warned
    # crypttab(5): a container hands nothing on unless it is opened with `discard`
    locked = evolve(LAYOUT, partitions=tuple(evolve(part, mapper=part.name) for part in LAYOUT.partitions))
    closed = faults(text, evolve(around, layout=locked))
    assert "no-trim" not in {fault.code for fault in closed}


def test_debian_s_util_linux_enables_the_timer_itself() -> None:
    script = Path("/var/lib/dpkg/info/util-linux.postinst").read_text(encoding="utf-8")
    assert "deb-systemd-helper enable 'fstrim.timer'" in script


def test_the_draft_passes_its_own_check() -> None:
    for vendor in ("intel", "amd", ""):
        disk = SurveyedDisk(path="/dev/nvme0n1", size_bytes=1)
        survey = Survey(machine=SurveyedMachine(cpu_vendor=vendor), disks=(disk,))
        text = draft(survey).removeprefix("[base]\n")
        assert faults(text, Around(survey=survey)) == []
        assert section(text).services == ("fstrim.timer",)


def test_same_input_same_answer() -> None:
    assert actions(APT) == actions(APT)


def test_an_action_that_cannot_be_joined_is_a_fault() -> None:
    alone = [Owned(action=item, section="base", origin="x") for item in actions(APT)]
    with pytest.raises(Rejected, match="clock:live"):
        link(alone)


# --- verbs -------------------------------------------------------------------------------------------------------

shells = pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    for name in ("target", "work"):
        (tmp_path / name).mkdir()
    return tmp_path


def call(place: Path, verb: str, *args: str, **more: Any) -> subprocess.CompletedProcess[str]:
    return run(verb, *args, target=place / "target", work=place / "work", **more)


@shells
def test_only_planned_mount_points_count_as_empty(place: Path, shell: tuple[str, ...]) -> None:
    target = place / "target"
    for name in ("boot/efi", "lost+found", "var/lib/bedplate/stamps"):
        (target / name).mkdir(parents=True)
    points = (str(target / "boot/efi"),)
    assert call(place, "base/target-empty", *points, shell=shell).returncode == 0
    (target / "home").mkdir()
    assert "home" in call(place, "base/target-empty", *points, shell=shell).stderr
    (target / "home").rmdir()
    (target / "notes.txt").touch()
    assert "notes.txt" in call(place, "base/target-empty", *points, shell=shell).stderr
    (target / ".base-unfinished").touch()
    assert call(place, "base/target-empty", *points, shell=shell).returncode == 0


@shells
def test_without_its_mark_nothing_is_emptied(place: Path, shell: tuple[str, ...]) -> None:
    (place / "target/etc").mkdir()
    assert call(place, "base/base-empty", shell=shell).returncode == 1
    assert run("base/base-empty", target="", work=place / "work", shell=shell).returncode == 1
    assert (place / "target/etc").is_dir()


@shells
def test_odd_names_are_emptied_too(place: Path, shell: tuple[str, ...]) -> None:
    target = place / "target"
    for name in ("-rf", "a b", "line\nend", "$(touch x)", "'quoted'"):
        (target / "usr" / name).mkdir(parents=True)
        (target / "usr" / name / name).write_text("x")
    (target / "bin").symlink_to("usr/bin")
    (target / ".base-unfinished").touch()
    done = call(place, "base/base-empty", shell=shell)
    assert done.returncode == 0, done.stderr
    assert [path.name for path in target.iterdir()] == [".base-unfinished"]


@NEEDS_ROOT
@shells
def test_emptying_stays_on_the_target_and_off_foreign_mounts(place: Path, shell: tuple[str, ...]) -> None:
    """The accident: a recursive delete reached through a bind mount into the running system."""
    target, kept, bound = place / "target", place / "kept", place / "bound"
    for folder in (target / "boot/efi", target / "usr/bin", target / "mnt", kept, bound):
        folder.mkdir(parents=True)
    (kept / "loader").write_text("x")
    (bound / "precious").write_text("x")
    (target / "usr/bin/tool").write_text("x")
    (target / ".base-unfinished").touch()
    planned = f"mount --bind {kept} {target}/boot/efi"
    foreign = f"{planned}; mount --bind {bound} {target}/mnt"
    refused = call(place, "base/base-empty", f"{target}/boot/efi", shell=shell, before=foreign)
    assert refused.returncode == 1
    assert "/mnt is still mounted" in refused.stderr
    assert (target / "usr/bin/tool").exists()
    # The planned mount lies on the same device here, which -xdev cannot tell; as a file system of its own it can.
    steps = (
        f"mount -t tmpfs own {target}/boot/efi",
        f"echo x > {target}/boot/efi/loader",
        script("base/base-begin", (f"{target}/boot/efi",), target, place / "work"),
        f"cat {target}/boot/efi/loader",
    )
    done = subprocess.run(
        ["unshare", "--mount", *shell, "-c", "\n".join(steps)], capture_output=True, text=True, check=False
    )
    assert (done.stdout, done.stderr) == ("x\n", "")
    assert not (target / "usr").exists()
    assert (bound / "precious").exists()
    assert (kept / "loader").exists()


@NEEDS_ROOT
@shells
def test_api_mounts_come_once_and_go(place: Path, shell: tuple[str, ...]) -> None:
    target = place / "target"
    steps = [
        script(name, (), target, place / "work") for name in ("base/api-mount", "base/api-mount", "base/api-mounted")
    ]
    count = f"grep -c ' {target}/proc ' /proc/self/mountinfo"
    last = [script(name, (), target, place / "work") for name in ("base/api-unmount", "base/api-unmounted")]
    whole = "\n".join([*steps, count, *last, f"grep -c ' {target}/' /proc/self/mountinfo"])
    done = subprocess.run(["unshare", "--mount", *shell, "-c", whole], capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["1", "0"], done.stderr


@shells
def test_a_machine_id_is_made_once_and_is_the_machines_own(place: Path, shell: tuple[str, ...]) -> None:
    """machine-id(5): 32 hexadecimal digits in lower case, a version 4 UUID, and a line end."""
    path = place / "target/etc/machine-id"
    path.parent.mkdir()
    path.write_text("")
    assert call(place, "base/machine-id-own", shell=shell).returncode == 1
    assert call(place, "base/machine-id", shell=shell).returncode == 0
    first = path.read_text()
    assert len(first) == 33 and first[12] == "4" and int(first, 16)
    assert call(place, "base/machine-id", shell=shell).returncode == 0
    assert path.read_text() == first
    for wrong in ("uninitialized\n", "0" * 32 + "\n", "ABCDEF0123456789ABCDEF0123456789\n", "abc\n"):
        path.write_text(wrong)
        assert call(place, "base/machine-id-own", shell=shell).returncode == 1


@shells
def test_kernel_and_modules_must_match(place: Path, shell: tuple[str, ...]) -> None:
    target = place / "target"
    (target / "boot").mkdir()
    (target / "boot/vmlinuz-6.1.0").write_text("x")
    assert call(place, "base/kernel-present", shell=shell).returncode == 1
    (target / "usr/lib/modules/6.2.0").mkdir(parents=True)
    (target / "usr/lib/modules/6.2.0/modules.dep").touch()
    assert call(place, "base/kernel-present", shell=shell).returncode == 1
    (target / "boot/vmlinuz-6.2.0").write_text("x")
    assert call(place, "base/kernel-present", shell=shell).returncode == 0
    # newer modules came and their image did not
    newer = target / "usr/lib/modules/6.3.0"
    newer.mkdir()
    (newer / "modules.dep").touch()
    said = call(place, "base/kernel-present", shell=shell)
    assert said.returncode == 1 and "modules/6.3.0 have no kernel image" in said.stderr
    # the pacman family names the image after the package (its kernel's own file pkgbase, from memory)
    (newer / "pkgbase").write_text("linux\n")
    assert call(place, "base/kernel-present", shell=shell).returncode == 1
    (target / "boot/vmlinuz-linux").write_text("x")
    assert call(place, "base/kernel-present", shell=shell).returncode == 0


@NEEDS_ROOT
@shells
def test_closed_or_open_folders_are_found(place: Path, shell: tuple[str, ...]) -> None:
    target = place / "target"
    modes = {"": 0o755, "etc": 0o755, "usr": 0o755, "var": 0o755, "tmp": 0o1777, "root": 0o700}
    for name, mode in modes.items():
        (target / name).mkdir(exist_ok=True)
        (target / name).chmod(mode)
    assert call(place, "base/tree-modes", shell=shell).returncode == 0
    for name, wrong in (("", 0o700), ("etc", 0o777), ("tmp", 0o755), ("root", 0o755)):
        (target / name).chmod(wrong)
        assert call(place, "base/tree-modes", shell=shell).returncode == 1, name
        (target / name).chmod(modes[name])


@shells
def test_room_is_measured_where_it_counts(place: Path, shell: tuple[str, ...]) -> None:
    free = os.statvfs(place)
    mib = free.f_bavail * free.f_frsize >> 20
    assert call(place, "base/room-in", str(place), "1", shell=shell).returncode == 0
    assert call(place, "base/room-in", str(place), str(mib * 2), shell=shell).returncode == 1


_ONE_LINE = """# deb http://no.example/debian bookworm main
deb cdrom:[disc]/ bookworm main
deb [arch=amd64 signed-by=/usr/share/keyrings/a.gpg] https://mirror.example/debian bookworm main contrib # comment
deb-src https://mirror.example/debian bookworm main
deb https://mirror.example/debian trixie main
deb http://mirror.example/security bookworm-security main"""
_STANZAS = """Types: deb
# a comment in the middle
URIs: https://mirror.example/one https://mirror.example/two
Suites: bookworm bookworm-updates sid
Components: main non-free-firmware
Signed-By: /usr/share/keyrings/b.gpg

Enabled: no
Types: deb
URIs: https://off.example/
Suites: bookworm
Components: main

Types: deb-src
URIs: https://mirror.example/one
Suites: bookworm
Components: main"""


@shells
def test_the_mediums_sources_are_read_in_both_formats(place: Path, shell: tuple[str, ...]) -> None:
    """sources.list(5): one-line-style and deb822-style entries."""
    (place / "apt/sources.list.d").mkdir(parents=True)
    (place / "apt/sources.list").write_text(_ONE_LINE)
    (place / "apt/sources.list.d/more.sources").write_text(_STANZAS)
    done = call(place, "base/apt-medium-sources", "bookworm", str(place / "apt"), shell=shell)
    key = "[signed-by=/usr/share/keyrings/b.gpg]"
    assert done.stdout.splitlines() == [
        "deb [arch=amd64 signed-by=/usr/share/keyrings/a.gpg] https://mirror.example/debian bookworm main contrib",
        "deb http://mirror.example/security bookworm-security main",
        f"deb {key} https://mirror.example/one bookworm main non-free-firmware",
        f"deb {key} https://mirror.example/one bookworm-updates main non-free-firmware",
        f"deb {key} https://mirror.example/two bookworm main non-free-firmware",
        f"deb {key} https://mirror.example/two bookworm-updates main non-free-firmware",
    ]
    assert done.stderr == ""


@shells
def test_a_missing_component_is_found_before_anything_is_written(place: Path, shell: tuple[str, ...]) -> None:
    listed = "deb https://mirror.example/debian bookworm main contrib\n"
    for component, found in (("contrib", 0), ("non-free-firmware", 1), ("mai", 1)):
        done = call(place, "base/apt-source-offers", "bookworm", component, stdin=listed, shell=shell)
        assert done.returncode == found, done.stderr


def test_a_keyring_is_looked_for_on_the_medium() -> None:
    text = DNF + 'source = "https://mirror.example/42"\nkeyring = "/run/keys/station.asc"'
    unpack = action(linked(text), "base.unpack")
    assert any("/run/keys/station.asc" in guard.says and guard.early for guard in unpack.guards)


@NEEDS_ROOT
@shells
def test_an_archive_keeps_owners_and_leaves_identity_behind(place: Path, shell: tuple[str, ...]) -> None:
    tree = place / "tree"
    for name in ("etc/ssh", "usr/bin", "var/lib/systemd"):
        (tree / name).mkdir(parents=True)
    own = (
        "etc/machine-id",
        "etc/ssh/ssh_host_ed25519_key",
        "etc/ssh/ssh_host_ed25519_key.pub",
        "var/lib/systemd/random-seed",
    )
    for name in (*own, "etc/hosts", "etc/ssh/sshd_config", "usr/bin/tool"):
        (tree / name).write_text(name)
    os.chown(tree / "usr/bin/tool", 1234, 4321)
    os.setxattr(tree / "usr/bin/tool", "user.note", b"kept")
    for start in (".", "*"):
        target = place / "target"
        tar = f"cd {tree} && tar --numeric-owner --xattrs -cf {place}/base.tar {start}"
        subprocess.run(["sh", "-c", tar], check=True)
        done = call(place, "base/archive-unpack", f"{place}/base.tar", shell=shell)
        assert done.returncode == 0, done.stderr
        assert not any((target / name).exists() for name in own)
        status = (target / "usr/bin/tool").stat()
        assert (status.st_uid, status.st_gid) == (1234, 4321)
        assert os.getxattr(target / "usr/bin/tool", "user.note") == b"kept"
        assert (target / "etc/ssh/sshd_config").exists()
        subprocess.run(["find", str(target), "-mindepth", "1", "-delete"], check=True)
        by_hand = unpack(section(f'family = "apt"\narchive = "{place}/base.tar"')).by_hand
        for line in manual_commands.lines(by_hand):
            subprocess.run(["sh", "-c", line.replace("/mnt/target", str(target))], check=True)
        assert (target / "etc/hosts").exists() and not any((target / name).exists() for name in own)
        subprocess.run(["find", str(target), "-mindepth", "1", "-delete"], check=True)


@NEEDS_ROOT
@shells
def test_a_link_in_an_archive_never_leads_to_the_mediums_own_keys(place: Path, shell: tuple[str, ...]) -> None:
    """Links are followed wherever they lead (path_resolution(7)); that it is refused is common practice, no source."""
    (place / "medium").mkdir()
    key = place / "medium/ssh_host_ed25519_key"
    key.write_text("the medium's own")
    (place / "tree/etc").mkdir(parents=True)
    (place / "tree/usr").mkdir()
    (place / "tree/etc/ssh").symlink_to(place / "medium")
    subprocess.run(["tar", "-cf", place / "base.tar", "-C", place / "tree", "."], check=True)
    done = call(place, "base/archive-unpack", f"{place}/base.tar", shell=shell)
    assert done.returncode == 1 and "leads out of the target" in done.stderr
    assert key.read_text() == "the medium's own"


@shells
def test_a_broken_archive_is_found(place: Path, shell: tuple[str, ...]) -> None:
    path = place / "base.tar"
    subprocess.run(["tar", "-cf", path, "-C", place, "work"], check=True)
    total = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
    assert call(place, "base/archive-whole", str(path), total, shell=shell).returncode == 0
    assert call(place, "base/archive-whole", str(path), "", shell=shell).returncode == 0
    assert call(place, "base/archive-whole", str(path), "0" * 64, shell=shell).returncode == 1
    path.write_bytes(b"not a tar archive" * 100)
    assert call(place, "base/archive-whole", str(path), "", shell=shell).returncode == 1
    assert call(place, "base/archive-whole", str(place / "gone"), "", shell=shell).returncode == 1


@shells
def test_an_archive_is_read_once_in_a_run_and_again_when_it_is_another_file(
    place: Path, shell: tuple[str, ...]
) -> None:
    """A changed byte at the same size and the same time of modification still moves the time of change: inode(7)."""
    path = place / "base.tar"
    subprocess.run(["tar", "-cf", path, "-C", place, "work"], check=True)
    total = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
    read: list[str] = []
    tool = place / "tools"
    tool.mkdir()
    real = shutil.which("sha256sum")
    (tool / "sha256sum").write_text(f'#!/bin/sh\necho read >>{place}/reads\nexec {real} "$@"\n')
    (tool / "sha256sum").chmod(0o755)
    env = {**os.environ, "PATH": f"{tool}:{os.environ['PATH']}"}

    def whole() -> bool:
        done = call(place, "base/archive-whole", str(path), total, shell=shell, env=env)
        read[:] = (place / "reads").read_text().splitlines()
        return done.returncode == 0

    assert (whole(), whole(), len(read)) == (True, True, 1)
    times = path.stat()
    with path.open("r+b") as file:
        file.seek(600)
        file.write(b"!")
    os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert (whole(), whole(), len(read)) == (False, False, 3)
