"""Accidents with copies that nobody made, and with an EFI system partition that is not ours."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from accidents.staging import actions, caught_by, checks, faults, function, planned, spoiled, told, unseen, verb
from second_stick import ESP, FILES, Rig


@contextmanager
def staged() -> Iterator[Rig]:
    """A disk with a table, and a real FAT volume (mkfs.fat(8), mtools(1)) as its EFI system partition."""
    with tempfile.TemporaryDirectory(prefix="accident-") as folder:
        yield Rig(Path(folder))


def cross_link(rig: Rig, mark: bool) -> None:
    """Two files share clusters: the chain of the second one leads into the first (FAT specification, 4); and perhaps
    the mark that the volume was not unmounted."""
    raw = bytearray(rig.esp.read_bytes())
    first, size = int.from_bytes(raw[14:16], "little") * 512, int.from_bytes(raw[36:40], "little") * 512
    chains = [
        begin
        for begin in range(2, 130000)
        if raw[first + 4 * begin : first + 4 * begin + 4] == (begin + 1).to_bytes(4, "little")
    ]
    for table in (first, first + size):
        at = table + 4 * chains[-3]
        raw[at : at + 4] = chains[2].to_bytes(4, "little")
    raw[65] |= mark
    rig.esp.write_bytes(bytes(raw))


@caught_by(
    unseen("action:disk.copies"),
    spoiled("outside-places", "'1 0 part' | '1 0 disk'", "*' 0 part'"),
    spoiled("_copies", "'without copies') NO_COPIES=yes ;;", "*) NO_COPIES=yes ;;"),
    spoiled("disk/make-copies", "NO_COPIES", "MACHINE"),
    verb("copies-are-whole"),
)
def test_a08_copies_that_vanished_with_the_live_system() -> None:
    found = list(actions(planned()))
    assert found.index("disk.copies") < found.index("disk.append-partitions")
    assert "/mnt/second/bedplate-kelp-02/table.dump" in told(planned())
    with staged() as rig:
        rig.stick("sdw1", hotplug="0 0 part")  # a fixed disk
        said = rig.refuses("choose_copies || exit 1", "yes\n")
        assert "They need a second stick" in said and "type: without copies" in said
    with staged() as rig:
        stick = rig.stick()
        copies = rig.copied()
        assert copies.parent == stick.folder
        assert (copies / f"esp-{ESP}.tar").stat().st_size > sum(map(len, FILES.values()))
        with (copies / "table.dump").open("a") as file:
            file.write("spoiled")
        assert "table.dump: FAILED" in rig.refuses("verb_copies_are_made", COPIES=str(copies))


@caught_by(
    function("base.validate:_loaders"),
    verb("bootloader/put-back-foreign"),
    verb("bootloader/also-in-target"),
    unseen("action:bootloader.check-packages"),
)
def test_f07_a_package_overwrote_the_fallback_loader() -> None:
    writes = (('packages = ["openssh-server"', 'packages = ["systemd-boot", "openssh-server"'),)
    said = faults(spec=writes)["package-writes-esp"]
    assert "systemd-boot writes into \\EFI\\BOOT of the EFI system partition" in said
    found = list(actions(planned()))
    assert found.index("base.packages") < found.index("bootloader.check-packages") < found.index("bootloader.install")
    with staged() as rig:
        rig.stick()
        copies = str(rig.copied())
        esp, archive = rig.folder / "mounted", f"{copies}/esp-{ESP}.tar"
        rig.holds(f"tar -xf '{archive}' -C '{esp}'\nverb_save_boot_state '{esp}' {ESP} all", COPIES=copies)
        put_back = f"verb_put_back_foreign strange {ESP} '{esp}' all EFI/saltmarsh"
        rig.holds(put_back, COPIES=copies)
        brought = rig.folder / "target/usr/lib/shim"
        brought.mkdir(parents=True)
        (brought / "shimx64.efi").write_bytes(b"MZ of a package")
        (esp / "EFI/BOOT/BOOTX64.EFI").write_bytes(b"MZ of a package")
        (esp / "EFI/heron/heron.efi").unlink()
        said = rig.refuses(put_back, COPIES=copies)
        assert "changed ./EFI/BOOT/BOOTX64.EFI" in said and "changed ./EFI/heron/heron.efi" in said
        assert {name: (esp / name).read_bytes() for name in FILES} == FILES
        (esp / "EFI/BOOT/fbx64.efi").write_bytes(b"MZ of a package")
        assert "not ours: ./EFI/BOOT/fbx64.efi" in rig.refuses(put_back, COPIES=copies)
        (esp / "EFI/BOOT/BOOTX64.EFI").write_bytes(b"MZ of a package")
        rig.holds(put_back.replace("strange", "asked"), COPIES=copies)
        assert sorted(path.name for path in (esp / "EFI/BOOT").iterdir()) == ["BOOTX64.EFI"]
        assert (esp / "EFI/BOOT/BOOTX64.EFI").read_bytes() == FILES["EFI/BOOT/BOOTX64.EFI"]
        # The other system was started between two runs: what it has written since is not taken back.
        newer = {"EFI/heron/heron.efi": b"MZ heron, updated", "EFI/BOOT/repair.efi": b"MZ heron's own repair"}
        for name, content in newer.items():
            (esp / name).write_bytes(content)
        for how in ("asked", "strange"):
            said = rig.refuses(put_back.replace("strange", how), COPIES=copies)
            assert "./EFI/heron/heron.efi was changed since the copies were made" in said
            assert {name: (esp / name).read_bytes() for name in newer} == newer
        (esp / "EFI/heron/heron.efi").write_bytes(FILES["EFI/heron/heron.efi"])
        assert "not ours: ./EFI/BOOT/repair.efi" in rig.refuses(put_back.replace("strange", "asked"), COPIES=copies)
        assert (esp / "EFI/BOOT/repair.efi").exists()


def _stops_at_faults(mark: bool) -> None:
    assert checks(actions(planned())["disk.copies"], "disk/fat-is-whole")
    with staged() as rig:
        cross_link(rig, mark)
        before = rig.esp.read_bytes()
        said = rig.refuses(f"verb_fat_is_whole {ESP}")
        assert "fsck.fat -n found faults" in said and "share clusters" in said
        for begun in (False, True):
            said = rig.refuses(f"verb_fat_ready {ESP} '{rig.esp}'")
            assert "not ours to mend" in said or "no longer as they were" in said
            assert rig.esp.read_bytes() == before, "nothing is mended from here"
            if not begun:
                rig.add_ours()
                rig.put_list()


@caught_by(
    verb("disk/fat-is-whole"),
    spoiled("disk/fat-ready", "verb_files_as_listed", "true"),
    unseen("verb:fat-is-whole"),
    spoiled("disk/fat-read", "v_fat=faults\n", "v_fat=dirty\n"),
)
def test_z03_a_dirty_esp_with_cross_linked_files() -> None:
    _stops_at_faults(mark=True)


@caught_by(
    verb("disk/fat-is-whole"),
    spoiled("disk/fat-ready", '[ "$v_fat" = dirty ]', '[ "$v_fat" != whole ]'),
    unseen("verb:fat-is-whole"),
    spoiled("disk/fat-read", "v_fat=faults\n", "v_fat=whole\n"),
)
def test_z04_a_corrupt_esp_without_the_mark() -> None:
    _stops_at_faults(mark=False)


@caught_by(verb("bootloader/loader-folder-is-free"), unseen("verb:loader-folder-is-free"), verb("ours-in-table"))
def test_z11_the_loaders_folder_came_after_the_survey() -> None:
    found = actions(planned())
    assert list(found).index("bootloader.check-firmware") < list(found).index("disk.append-partitions")
    [early] = checks(found["bootloader.check-firmware"], "bootloader/loader-folder-is-free")
    assert early.early and "--undo" in early.otherwise
    with staged() as rig:
        folder = f"verb_loader_folder_is_free {ESP} saltmarsh"
        rig.holds(f"{folder} early\n{folder} new")
        rig.make("EFI/saltmarsh")
        for how in ("early", "new", "ready"):
            assert "holds EFI/saltmarsh already" in rig.refuses(f"{folder} {how}")
        rig.add_ours()
        rig.holds(f"{folder} early")
        assert "holds EFI/saltmarsh already" in rig.refuses(f"{folder} new")
