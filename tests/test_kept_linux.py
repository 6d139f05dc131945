"""A Linux that stays: an open journal, log or log tree is seen and never replayed by a look; ours is out of its reach.

Made by mounting real file systems and copying them while they are open, as a power cut or hibernation leaves them.
Sources: ext4(5), xfs(5), btrfs(5) for the mount options that replay nothing; Discoverable Partitions Specification 1.0
for attribute 63; kernel/power/swap.c for the mark of a sleeping system.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest
import tomli_w
from attrs import evolve

from accidents.staging import Place
from bedplate.actions import Call, Check
from bedplate.survey import FreeRegion, Survey, SurveyedFileSystem, SurveyedPartition
from bedplate.surveying import capture
from bedplate.testing.function_runner import run_function
from bedplate_steps.disk import kept_linux
from bedplate_steps.disk.draft import draft
from test_collector import SCRIPT, the_disk
from test_disk import DISK, PLAIN, ROWS, TABLE, actions, faults, survey, with_row
from test_storage_layers import attached, blank, call

KINDS = {"ext4": 64, "xfs": 400, "btrfs": 200}
"""By file system: size in MiB."""
LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
X86_ROOT = "4F68BCE3-E8CD-4DB1-96E7-FBCAF984B709"

OPEN = """
mount -o loop "$1" "$2" && sync -f "$2" && echo first >"$2/first" && sync "$2/first" || exit 1
exec 9>"$2/orphan"; echo x >&9; rm "$2/orphan"
mkdir "$2/second" && echo second >"$2/second/file" && sync "$2/second/file" || exit 1
cp --sparse=always "$1" "$3"; exec 9>&-; umount "$2"
"""


@pytest.fixture(scope="module", params=KINDS)
def left_open(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path, Path]:
    """Kind, a clean file system, and the same one as a crash leaves it."""
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("mounting needs root and /dev/loop-control")
    folder = tmp_path_factory.mktemp(request.param)
    clean, crashed, point = folder / "clean", folder / "crashed", folder / "point"
    point.mkdir()
    with clean.open("wb") as file:
        file.truncate(KINDS[request.param] << 20)
    call(f"mkfs.{request.param}", "-q", clean)
    call("unshare", "--mount", "--propagation", "private", "sh", "-c", OPEN, "sh", clean, point, crashed)
    return request.param, clean, crashed


def test_the_script_tells_a_closed_one_from_an_open_one(left_open: tuple[str, Path, Path]) -> None:
    kind, clean, crashed = left_open
    place = Place()
    place.holds("disk/volume-is-clean", str(clean), kind)
    assert "is not clean, or nobody can tell: its system sleeps" in place.says(
        "disk/volume-is-clean", str(crashed), kind
    )
    place.says("disk/volume-is-clean", str(clean), "btrfs" if kind == "ext4" else "ext4")
    for body in ("echo cannot >&2; return 1", "return 0"):
        tool = "xfs_logprint" if kind == "xfs" else "od"
        assert "is not clean" in Place().says("disk/volume-is-clean", str(clean), kind, fakes={tool: body})


def test_a_look_replays_nothing(left_open: tuple[str, Path, Path], tmp_path: Path) -> None:
    """Not one byte changes; by a plain read-only mount of a device that can be written, some do."""
    kind, _, crashed = left_open
    looked = tmp_path / "looked"
    shutil.copy(crashed, looked)
    before = digest(looked)
    target = tmp_path / "target"
    with attached(looked) as node:
        # In a mount namespace of its own, which takes the mount with it.
        ran = run_function("disk/look-in-target", node, f"{target}/", kind, target=target, work=tmp_path, before="true")
        assert ran.returncode == 0 and target.is_dir(), ran.stderr
        assert digest(looked) == before
        call("unshare", "--mount", "mount", "-o", "ro", node, target)
    assert digest(looked) != before


def test_a_look_clears_no_list_of_deleted_open_files(tmp_path: Path) -> None:
    """A frozen ext4 has no open journal, but the list in its superblock (s_last_orphan), which noload works off."""
    image, point, frozen = tmp_path / "image", tmp_path / "point", tmp_path / "frozen"
    point.mkdir()
    with image.open("wb") as file:
        file.truncate(64 << 20)
    call("mkfs.ext4", "-q", image)
    with attached(image) as node:
        lines = OPEN.replace("mount -o loop", "mount").replace("cp --sparse", 'fsfreeze -f "$2"; cp --sparse')
        lines = lines.replace("exec 9>&-", 'fsfreeze -u "$2"; exec 9>&-')
        call("unshare", "--mount", "--propagation", "private", "sh", "-c", lines, "sh", node, point, frozen)
    assert int.from_bytes(frozen.read_bytes()[1256:1260], "little") != 0
    before = digest(frozen)
    with attached(frozen) as node:
        ran = run_function("disk/look-in-target", node, f"{point}/", "ext4", target=point, work=tmp_path, before="true")
        assert ran.returncode == 0 and digest(frozen) == before, ran.stderr
        assert call("blockdev", "--getro", node).strip() == "0"
        call("unshare", "--mount", "mount", "-o", "ro,noload", node, point)
    assert digest(frozen) != before


def digest(path: Path) -> str:
    subprocess.run(["sync", path], check=True)
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_survey_says_why(left_open: tuple[str, Path, Path], tmp_path: Path) -> None:
    kind, clean, crashed = left_open
    words = {"ext4": "its journal holds", "xfs": "its log holds", "btrfs": "its log tree holds"}[kind]
    sectors = KINDS[kind] * 2048
    for image, dirty in ((clean, False), (crashed, True)):
        table = f"label: gpt\nstart=2048, size={sectors}, type={LINUX}\n"
        with attached(blank(tmp_path / "disk", table, (KINDS[kind] + 4) << 20)) as node:
            call("partx", "--update", node)
            call("dd", f"if={image}", f"of={node}p1", "bs=1M", "conv=fsync")
            [part] = the_disk(capture.survey_from(call("sh", SCRIPT, node)), node).partitions
        assert part.filesystem is not None and part.filesystem.type == kind
        assert part.filesystem.dirty is dirty and part.filesystem.unclean.startswith(words if dirty else "")
        warned = faults(PLAIN, with_row(4, filesystem=part.filesystem), warning=True)
        assert ("volume-dirty" in warned) is dirty
        if dirty:
            assert words in warned["volume-dirty"].message and "stops until" in warned["volume-dirty"].notes[0]


def test_a_system_that_sleeps_in_swap_is_seen_and_a_failed_look_is_doubt(tmp_path: Path) -> None:
    image = tmp_path / "swap"
    with image.open("wb") as file:
        file.truncate(8 << 20)
    place = Place()
    place.holds("disk/swap-is-awake", str(image))  # nothing there, without a word
    call("mkswap", "-q", image)
    place.holds("disk/swap-is-awake", str(image))
    for body in ("echo cannot >&2; return 2", "return 4", "return 0"):
        assert "could not tell" in Place().says("disk/swap-is-awake", str(image), fakes={"blkid": body})
    assert "could not tell" in place.says("disk/swap-is-awake", f"{image}-not-there")
    with image.open("r+b") as file:
        file.seek(4096 - 10)
        file.write(b"S1SUSPEND\0")
    assert "memory of a hibernated system" in place.says("disk/swap-is-awake", str(image))


# --- in a plan -------------------------------------------------------------------------------------------------------


def kept(kind: str, type_guid: str = LINUX, **inside: object) -> Survey:
    return with_row(4, filesystem=SurveyedFileSystem(type=kind, **inside), type=type_guid)  # type: ignore[arg-type]


OTHER_LINUX = PLAIN.replace('role = "recovery"', 'role = "other"')


def guards(found: Survey) -> dict[str, Check]:
    first = actions(OTHER_LINUX, found)["disk.identify"].guards
    return {check.test.verb: check for check in first if isinstance(check.test, Call)}


@pytest.mark.parametrize("kind", kept_linux.JOURNALS)
def test_each_kept_file_system_is_looked_at_before_anything(kind: str) -> None:
    guard = guards(kept(kind))["disk/volume-is-clean"]
    assert isinstance(guard.test, Call) and guard.test.args == (ROWS[3].uuid, kind) and guard.early
    assert "disk/volume-is-clean" not in guards(kept("ntfs"))


def test_swap_is_looked_at_by_its_content_too() -> None:
    assert "disk/swap-is-awake" in guards(kept("swap")) and "disk/swap-is-awake" in guards(kept("swsuspend"))
    assert "disk/swap-is-awake" not in guards(kept("ext4"))


def test_our_rows_are_not_to_be_used_by_type_where_another_linux_stays() -> None:
    def rows(found: Survey | None) -> str:
        [operation] = actions(OTHER_LINUX, found)["disk.append-partitions"].operations
        assert isinstance(operation, Call)
        return str(operation.stdin)

    for kind in ("ext4", "crypto_LUKS", "LVM2_member", "swap"):
        assert rows(kept(kind)).count('attrs="GUID:63"') == 2
    assert "attrs" not in rows(with_row(4, filesystem=None, type="EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"))


def test_sfdisk_takes_that_attribute_and_gives_it_back(tmp_path: Path) -> None:
    place = Place()
    row = f'start=2048, size=20480, type={X86_ROOT}, uuid=33333333-2222-4333-8444-000000000001, name="root"'
    place.table(row + f', attrs="{kept_linux.NO_AUTO}"\n')
    place.holds("disk/partition-is", "33333333-2222-4333-8444-000000000001", "2048", "20480", X86_ROOT, "root")
    assert "GUID:63" in call("sfdisk", "--dump", place.disk)


def test_hibernation_beside_another_linux_is_warned_of() -> None:
    sleeping = OTHER_LINUX.replace('table = "keep"', 'table = "keep"\nhibernate = true').replace('"8GiB"', '"32GiB"')
    assert "hibernate-kept-linux" in faults(sleeping, kept("ext4"), warning=True)
    plain = with_row(4, filesystem=None, type="EBD0A0A2-B9E5-4433-87C0-68B6B72699C7")
    assert "hibernate-kept-linux" not in faults(sleeping, plain, warning=True)


# --- in a draft ------------------------------------------------------------------------------------------------------


def linux_machine(root_type: str = LINUX, loader: str = "/EFI/heron/shimx64.efi", label: str = "root") -> Survey:
    esp = evolve(ROWS[0], files=("/EFI/BOOT/BOOTX64.EFI", *([loader] if loader else [])))
    root = SurveyedPartition(
        number=2,
        start=1 << 21,
        size=1 << 27,
        type=root_type,
        uuid=ROWS[2].uuid,
        filesystem=SurveyedFileSystem(type="ext4", label=label),
    )
    end = TABLE.last_lba
    free = (FreeRegion(start=1 << 28, end=end, aligned_mib=(end - (1 << 28)) // 2048),)
    return survey(evolve(DISK, table=TABLE, partitions=(esp, root), free=free))


def test_the_draft_knows_another_linux_by_its_loader_or_type_and_by_nothing_less() -> None:
    by_loader = draft(linux_machine())
    assert 'name = "older-system"' in by_loader and 'role = "system"' in by_loader
    assert "# The root of another Linux: the loader /EFI/heron/shimx64.efi is there." in by_loader
    assert 'encryption = "none"' in by_loader
    assert 'role = "system"' in draft(linux_machine(X86_ROOT, ""))
    nothing = draft(linux_machine(loader="/EFI/Microsoft/Boot/bootmgfw.efi"))
    assert 'role = "system"' not in nothing and 'role = "other"' in nothing


def test_the_draft_takes_no_label_that_is_in_use() -> None:
    assert 'label = "root-2"' in draft(linux_machine()) and 'label = "root"\n' in draft(linux_machine(label="heron"))


def test_a_linux_is_shut_down_by_its_own_commands() -> None:
    found = linux_machine(label="heron")
    drafted = tomllib.loads(draft(found))["disk"]
    drafted["other_system"] = {"encryption": "on", "recovery_key_place": "safe"}
    assert faults(tomli_w.dumps(drafted), found) == {}
    planned = actions(tomli_w.dumps(drafted), found)
    told = str(planned["disk.shut-down"])
    assert "systemctl poweroff" in told and "powercfg" not in told
    assert not {"disk.suspend-encryption", "disk.note-recovery-key"} & set(planned)
