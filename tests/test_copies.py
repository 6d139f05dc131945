"""The copies of the state before: made first, on a second stick, read back, found again, and never overwritten.

What is copied is compared with sfdisk(8), tar(1), sha256sum(1) and the bytes of the disk; that copies come before
changes and lie outside the machine is common practice, no source.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
from pathlib import Path

import pytest

from bedplate.actions import Call, Stage
from bedplate.cli import commands
from bedplate.loading.registry import load
from bedplate.rendering import checklist, script, shell_helpers
from bedplate.rendering.shell_runtime import part
from second_stick import ESP, FILES, GLOBAL, OURS, Rig, call

SPECS = Path(__file__).resolve().parents[1] / "specs"
MACHINES = ("barnacle-05", "kelp-02", "limpet-01", "tern-04")
SHELLS = ("dash", "bash", "busybox")


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


@pytest.mark.parametrize("name", MACHINES)
def test_nothing_is_changed_before_the_copies_are_made(name: str) -> None:
    graph = commands.checked(str(SPECS / f"{name}.toml"), load())[1]
    ids = [node.action.id for node in graph.nodes]
    at = ids.index("disk.copies")
    before = [node.action for node in graph.nodes[:at] if node.action.stage not in (Stage.OTHER_SYSTEM, Stage.FIRMWARE)]
    assert [action.id for action in before if action.changes] == []
    assert at < ids.index("base.packages") and at < ids.index("disk.mount")


def test_what_is_copied_is_what_was_there(rig: Rig) -> None:
    rig.stick()
    copies = rig.copied()
    assert copies.name == "bedplate-kelp-02-1"
    dump = call("sfdisk", "--dump", rig.disk)
    assert (copies / "table.dump").read_text() == dump
    raw = rig.disk.read_bytes()
    assert (copies / "table-first.img").read_bytes() == raw[: 1 << 20]
    assert (copies / "table-last.img").read_bytes() == raw[-(1 << 20) :]
    # UEFI specification 5.3.2: the header begins with this, in the second and in the last sector
    assert raw[512:520] == raw[-512:-504] == b"EFI PART"
    for name in ("Boot0000", "BootOrder"):
        assert (copies / f"{name}-{GLOBAL}").read_bytes() == (rig.folder / "vars" / f"{name}-{GLOBAL}").read_bytes()
    listed = dict(reversed(line.split("  ", 1)) for line in (copies / f"esp-{ESP}.sha256").read_text().splitlines())
    assert listed == {f"./{name}": hashlib.sha256(content).hexdigest() for name, content in FILES.items()}
    for name, content in FILES.items():
        command = ["tar", "-xOf", str(copies / f"esp-{ESP}.tar"), f"./{name}"]
        assert subprocess.run(command, capture_output=True, check=True).stdout == content
    assert (copies / "about").read_text() == "machine: kelp-02\ndisk: Tidewater 500, serial TW-1\nplan: d1\n"
    call("sh", "-c", f"cd '{copies}' && sha256sum -c SHA256SUMS")


def test_the_esp_is_only_read_and_the_stick_is_let_go(rig: Rig) -> None:
    rig.stick()
    before = rig.esp.read_bytes()
    rig.copied()
    assert rig.esp.read_bytes() == before
    mounts = (rig.folder / "mounts").read_text().splitlines()
    assert all(" ro," in f" {line}" for line in mounts if str(rig.esp) in line)
    # written, taken down, mounted once more and read back from the stick itself
    assert [line.split()[1] for line in mounts if "/dev/sdx1" in line and "-t" not in line] == [
        "ro,nodev,nosuid,noexec",
        "rw,nodev,nosuid,noexec",
        "ro,nodev,nosuid,noexec",
    ]
    assert not (rig.folder / "work/stick").exists()


def test_what_a_stick_loses_is_found_by_reading_back(rig: Rig) -> None:
    stick = rig.stick()
    dump = stick.folder / "bedplate-kelp-02-1/table.dump"
    spoil = f"verb_copies_reread() {{ echo >>'{dump}'; verb_copies_are_whole \"$1\"; }}"
    said = rig.refuses(f"{spoil}\nchoose_copies\nverb_make_copies || exit 1")
    assert "table.dump: FAILED" in said


def test_a_rerun_finds_its_copies_and_makes_no_others(rig: Rig) -> None:
    stick = rig.stick()
    copies = rig.copied()
    said = rig.holds("find_copies\nverb_copies_are_made\nchoose_copies\nclose_copies")
    assert "made already, in bedplate-kelp-02-1 on /dev/sdx1" in said
    assert [path.name for path in stick.folder.iterdir()] == [copies.name]


@pytest.mark.parametrize(("what", "value"), [("MACHINE", "kelp-03"), ("COPY_OF", "another disk"), ("DIGEST", "d2")])
def test_copies_of_something_else_are_not_taken(rig: Rig, what: str, value: str) -> None:
    rig.stick()
    rig.copied()
    assert rig.holds('find_copies\necho "found:$COPIES"', **{what: value}).endswith("found:\n")


def test_a_spoiled_copy_is_none(rig: Rig) -> None:
    rig.stick()
    copies = rig.copied()
    with (copies / f"esp-{ESP}.tar").open("r+b") as file:
        file.write(b"spoiled")
    assert rig.holds('find_copies\necho "found:$COPIES"').endswith("found:\n")


def test_an_unfinished_copy_is_none_and_is_left(rig: Rig) -> None:
    stick = rig.stick()
    (stick.folder / "bedplate-kelp-02-1").mkdir()
    (stick.folder / "bedplate-kelp-02-1/about").write_text("x")
    assert rig.copied().name == "bedplate-kelp-02-2"
    assert (stick.folder / "bedplate-kelp-02-1/about").read_text() == "x"


def test_what_has_changed_before_any_work_is_copied_anew_beside_the_old(rig: Rig) -> None:
    """The other system was started in between and has updated its loader: the first copies are out of date."""
    rig.stick()
    first = rig.copied()
    tar = (first / f"esp-{ESP}.tar").read_bytes()
    rig.put("EFI/heron/heron.efi", b"MZ newer")
    assert rig.holds('find_copies\necho "found:$COPIES"').endswith("found:\n")
    assert rig.copied().name == "bedplate-kelp-02-2"
    assert (first / f"esp-{ESP}.tar").read_bytes() == tar
    assert rig.holds('find_copies\necho "found:$COPIES"\nclose_copies').endswith("bedplate-kelp-02-2\n")


def test_once_work_has_begun_nothing_later_is_copied(rig: Rig) -> None:
    stick = rig.stick()
    rig.copied()
    rig.add_ours()
    rig.put("EFI/heron/heron.efi", b"MZ changed by a package")
    for plan in ("d1", "d2"):  # an edited spec is another plan, and the state before is the same
        said = rig.holds('find_copies\necho "found:$COPIES"\nchoose_copies\nclose_copies', DIGEST=plan)
        assert "bedplate-kelp-02-1\n" in said and "made already" in said
    assert len(list(stick.folder.iterdir())) == 1
    for path in stick.folder.rglob("SHA256SUMS"):
        path.unlink()
    said = rig.refuses("find_copies; choose_copies", "no\n")
    assert "no stick with the copies of the state before is plugged in" in said
    assert "as the person at the machine has typed" in rig.holds("choose_copies", "without copies\n")


def test_without_a_stick_only_the_persons_words_lead_on(rig: Rig) -> None:
    for typed in ("", "y\n", "no copies\n"):
        assert "Plug it in" in rig.refuses("choose_copies || exit 1", typed)
    assert "No copies of the state before are made" in rig.holds("choose_copies", "\nwithout copies\n")
    rig.holds(
        'choose_copies\nverb_make_copies\nverb_copies_are_made\n[ ! -e "$COPIES/table-first.img" ]\n'
        f'[ ! -e "$COPIES/esp-{ESP}.tar" ]\n[ -s "$COPIES/esp-{ESP}.sha256" ]',
        "without copies\n",
    )


def test_among_several_the_person_chooses(rig: Rig) -> None:
    rig.stick("sdx1"), rig.stick("sdy1")
    said = rig.refuses("choose_copies || exit 1", "3\n")
    assert "1: /dev/sdx1" in said and "2: /dev/sdy1" in said and "none of them" in said
    assert "second stick: /dev/sdy1" in rig.holds("choose_copies", "2\n")


@pytest.mark.parametrize(
    "about",
    [
        {"hotplug": "0 0 part"},  # a fixed disk
        {"hotplug": "1 1 part"},  # write-protected
        {"type": "squashfs"},
        {"type": "crypto_LUKS"},
        {"whole_type": "iso9660"},  # the live medium, written as an image
        {"mounted": "/run/live/medium ro,relatime"},  # the live medium, files on FAT
        {"mounted": "/ rw"},
        {"free_kib": 16000},
    ],
    ids=str,
)
def test_what_is_no_place_for_copies_is_not_offered(rig: Rig, about: dict[str, str | int]) -> None:
    rig.stick(**about)
    assert "Plug it in" in rig.refuses("choose_copies || exit 1", "x\n")


def test_the_disk_itself_is_no_place(rig: Rig) -> None:
    stick = rig.stick()
    fake = f"lsblk() {{ case $* in *'{rig.disk}') echo '{stick.node}' ;; *) command lsblk \"$@\" ;; esac; }}"
    said = rig.holds(f"{fake}\nverb_outside_places")
    assert said == ""


def test_the_other_partition_of_the_live_medium_is_no_place(rig: Rig) -> None:
    rig.stick("sdx1", mounted="/run/live/medium ro,relatime"), rig.stick("sdx2")
    assert "Plug it in" in rig.refuses("choose_copies || exit 1", "x\n")


def test_the_same_by_hand(rig: Rig) -> None:
    """What the checklist says is typed, places moved; the last look prints its line."""
    stick = rig.stick()
    action = {node.action.id: node.action for node in commands.checked(str(SPECS / "kelp-02.toml"), load())[1].nodes}
    [work], [proof] = action["disk.copies"].operations, action["disk.copies"].proofs
    assert isinstance(work, Call) and isinstance(proof.test, Call)
    helping = "\n".join(shell_helpers.definitions(("judge", "every"), None))
    text = "\n".join(str(line) for line in (helping, *work.by_hand, *proof.test.by_hand))
    text = re.sub(r"/dev/disk/by-partuuid/[0-9a-f-]+", str(rig.esp), text).replace("SECOND-STICK", stick.node)
    for place in ("/mnt/second", "/mnt/esp"):
        text = text.replace(place, f"{rig.folder}{place}")
    said = rig.run(text.replace("/sys/firmware/efi/efivars", str(rig.folder / "vars")))[1]
    copies = stick.folder / "bedplate-kelp-02"
    assert {path.name for path in copies.iterdir()} == {
        "table.dump",
        "table-first.img",
        "table-last.img",
        "esp.sha256",
        "esp.tar",
        "SHA256SUMS",
        f"Boot0000-{GLOBAL}",
        f"BootOrder-{GLOBAL}",
    }
    assert (copies / "table.dump").read_text() == call("sfdisk", "--dump", rig.disk)
    assert said.count("yes\n") == 4 and "same\n" in said, said
    (copies / "esp.tar").write_bytes(b"spoiled")
    again = "\n".join(map(str, (helping, *proof.test.by_hand))).replace("/mnt/second", str(stick.folder))
    assert "yes" not in rig.run(again)[1]


def test_a_stick_that_somebody_mounted_is_used_there_and_stays_mounted(rig: Rig) -> None:
    rig.stick(mounted="/media/x rw,nosuid")
    rig.copied()
    mounts = (rig.folder / "mounts").read_text()
    assert "/dev/sdx1" not in mounts and "/stick" not in mounts


@pytest.mark.parametrize("shell", SHELLS)
def test_in_every_shell(rig: Rig, shell: str) -> None:
    rig.stick()
    every = "choose_copies && verb_make_copies && verb_copies_are_made && close_copies && COPIES= && find_copies"
    code, said = rig.run(f'{every} && echo "found:$COPIES"', shell=shell)
    assert code == 0 and "stick/bedplate-kelp-02-1\n" in said, said


@pytest.mark.parametrize("name", MACHINES)
def test_nothing_has_a_known_name_in_a_folder_that_all_can_write(name: str) -> None:
    """What somebody else has put there first, a link perhaps, would be written through (symlink(7), sticky folders)."""
    graph = commands.checked(str(SPECS / f"{name}.toml"), load())[1]
    for text in (script.render(graph), checklist.render(graph)):
        assert re.findall(r"(?<![\w/])/(?:var/tmp|tmp|dev/shm)/[\w.$]+", text) == []


# --- carried into the target ---------------------------------------------------------------------------------------


def test_list_archive_and_entries_go_into_the_target(rig: Rig) -> None:
    rig.stick()
    copies = rig.copied()
    kept = rig.folder / "target/var/lib/bedplate/boot"
    rig.put("EFI/BOOT/BOOTX64.EFI", b"MZ a package's")
    for which, begins in (("loaders", "./EFI/"), ("all", "./")):
        rig.holds(f"verb_save_boot_state '{rig.folder}/mounted' {ESP} {which}", COPIES=str(copies))
        names = [line.split("  ", 1)[1] for line in (kept / "esp.sha256").read_text().splitlines()]
        assert sorted(names) == sorted(f"./{name}" for name in FILES if f"./{name}".startswith(begins))
        assert (kept / "esp.tar").read_bytes() == (copies / f"esp-{ESP}.tar").read_bytes()
        assert (kept / f"Boot0000-{GLOBAL}").read_bytes() == b"\7\0\0\0factory"
        (kept / "complete").unlink()
    assert "not at hand" in rig.refuses(f"verb_save_boot_state x {ESP} all")


def test_a_new_esp_held_nothing(rig: Rig) -> None:
    rig.stick()
    copies = rig.copied()
    rig.holds(f"verb_save_boot_state '{rig.folder}/mounted' - all", COPIES=str(copies))
    kept = rig.folder / "target/var/lib/bedplate/boot"
    assert (kept / "esp.sha256").read_text() == "" and not (kept / "esp.tar").exists()


def test_whatever_ends_the_script_the_stick_is_let_go(rig: Rig) -> None:
    rig.stick()
    stubs = "end_clock() { :; }; stop_looking() { :; }; show_typing() { :; }; wipe_scratch() { :; }"
    lines = f"{part('install')}\n{stubs}\ntrap leave EXIT\ntrap 'exit 143' TERM\nopen_copies /dev/sdx1 rw\n"
    assert rig.run(f"{lines}kill -TERM $$\nsleep 5")[0] == 143
    assert (rig.folder / "mounts").read_text().splitlines()[-1] == f"umount {rig.folder}/work/stick"
    assert not (rig.folder / "work/stick").exists()


@pytest.mark.parametrize("point", ["esp", "top", "stick"])
def test_what_was_mounted_for_a_look_is_let_go_when_the_script_is_cut_off(point: str, tmp_path: Path) -> None:
    """A mount left behind would count as a disk in use at the next run. tmpfs stands for the file system."""
    place = tmp_path / "work" / point
    place.mkdir(parents=True)
    lines = f"""{part("common")}
        mount -t ramfs none '{tmp_path}/work' && mkdir '{place}' && mount -t tmpfs none '{place}' || exit 3
        : >'{place}/file'
        WORK='{tmp_path}/work'; wipe_scratch
        ! grep -F '{tmp_path}/work' /proc/self/mounts"""
    ran = subprocess.run(["unshare", "--mount", "dash", "-c", lines], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout) == (0, ""), ran.stderr


# --- the kept partitions -------------------------------------------------------------------------------------------


def test_a_kept_volume_that_was_formatted_since_is_not_the_surveyed_one(rig: Rig) -> None:
    guards = {node.action.id: node.action for node in commands.checked(str(SPECS / "kelp-02.toml"), load())[1].nodes}
    [guard] = [
        check.test
        for check in guards["disk.identify"].guards
        if isinstance(check.test, Call) and check.test.verb == "disk/partition-holds"
    ]
    assert guard.args[1:] == ("vfat", "0217-4B1E")
    rig.holds(f"verb_partition_holds {ESP} vfat 0217-ABCD")
    call("mkfs.fat", "-F", "32", "-i", "12345678", rig.esp)
    assert "UUID 1234-5678" in rig.refuses(f"verb_partition_holds {ESP} vfat 0217-ABCD")


# --- the volume ----------------------------------------------------------------------------------------------------


def dirty(rig: Rig, bits: str = "32") -> bytes:
    """The mark that Linux sets at a mount for writing (fs/fat/inode.c, fat_set_state)."""
    with rig.esp.open("r+b") as file:
        file.seek(65 if bits == "32" else 37)
        file.write(b"\x01")
    return rig.esp.read_bytes()


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize("bits", ["12", "16", "32"])
def test_the_mark_alone_is_cleared_and_not_one_other_byte(rig: Rig, bits: str, shell: str) -> None:
    rig.format(bits)
    clean = rig.esp.read_bytes()
    before = dirty(rig, bits)
    assert before != clean
    rig.holds(f"verb_fat_is_whole {ESP}")
    assert rig.esp.read_bytes() == before, "a look changes nothing"
    code, said = rig.run(f"verb_fat_ready {ESP} '{rig.esp}'", shell=shell)
    assert code == 0 and "that mark is cleared" in said, said
    assert rig.esp.read_bytes() == clean
    assert subprocess.run(["fsck.fat", "-n", rig.esp], capture_output=True, check=False).returncode == 0


def test_the_other_systems_mark_stays(rig: Rig) -> None:
    """Bit 27 of the second entry of a FAT32 table (FAT specification, 4.2); fsck.fat(8) calls it the dirty bit, too."""
    raw = bytearray(rig.esp.read_bytes())
    first = int.from_bytes(raw[14:16], "little") * 512
    for table in (first, first + int.from_bytes(raw[36:40], "little") * 512):
        raw[table + 7] &= 0xF7
    rig.esp.write_bytes(bytes(raw))
    rig.holds(f"verb_fat_is_whole {ESP}\nverb_fat_ready {ESP} '{rig.esp}'")
    assert rig.esp.read_bytes() == bytes(raw)


def test_a_volume_of_our_own_is_mended(rig: Rig) -> None:
    clean = rig.esp.read_bytes()
    dirty(rig)
    said = rig.holds(f"verb_fat_ready {ESP} '{rig.esp}'", OUR_PARTITIONS=f"{OURS} {ESP}")
    assert "is mended" in said and rig.esp.read_bytes() == clean
