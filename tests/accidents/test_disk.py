"""Accidents with the disk: the wrong one, the wrong table, old signatures, the shared EFI system partition."""

from __future__ import annotations

import hashlib
import re
import subprocess

from attrs import evolve

from accidents.staging import (
    MACHINES,
    Place,
    actions,
    caught_by,
    checks,
    faults,
    function,
    planned,
    rendered,
    spoiled,
    told,
    unseen,
    verb,
)
from accidents.test_firmware import DELETING, _carried
from bedplate.actions import Call, Run
from library import LIBRARY
from rendering import Sandbox, action, graph, writing

LINUX = "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
"""Linux data, Discoverable Partitions Specification 1.0."""
BASIC = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
ONE, TWO, OURS = (f"{digit * 8}-2222-4333-8444-555555555555" for digit in "ABC")
FOREIGN = f'start=2048, size=20480, type={BASIC}, uuid={ONE}, name="system", attrs="GUID:63"\n'
DISKS = """case "$*" in
    "-dnpo NAME") printf '/dev/sda\\n/dev/sdb\\n' ;;
    *SIZE,LOG-SEC,SERIAL*) printf '512110190592 512 SM-NVME-0217\\n' ;;
    *SIZE,LOG-SEC*) printf '512110190592 512\\n' ;;
    *SERIAL*) printf '%s\\n' SM-NVME-0217 ;;
    *MODEL*) printf 'Saltmarsh\\n' ;;
esac"""
KERNEL_NAME = re.compile(r"/dev/(sd[a-z]|nvme\d|vd[a-z]|mmcblk\d)")


@caught_by(verb("find-disk"), verb("disk/disk-is"), unseen("verb:disk-is"), unseen("fault:malformed"))
def test_c01_the_wrong_disk() -> None:
    said = faults(spec=(('serial = "SM-NVME-0217"', 'by_id = "/dev/sda"'),))["malformed"]
    assert "disk.by_id" in said and "below /dev/disk/by-id/" in said
    place = Place()
    words = ("SM-NVME-0217", "", "", "512110190592", "512")
    assert "two disks have this identity: /dev/sda and /dev/sdb" in place.says(
        "find-disk", *words, fakes={"lsblk": DISKS}
    )
    other = place.says("find-disk", "SM-NVME-0001", *words[1:], fakes={"lsblk": DISKS})
    assert "no disk has this identity" in other and "serial 'SM-NVME-0217'" in other
    swapped = place.says("disk/disk-is", "SM-NVME-0001", *words[3:], fakes={"lsblk": DISKS})
    assert "serial SM-NVME-0217, 512110190592 bytes, sectors of 512" in swapped
    found = actions(planned())
    destructive = [one for one in found if one.startswith(("disk.append", "disk.make", "disk.format", "disk.encrypt"))]
    assert len(destructive) == 4
    for name in destructive:
        assert checks(found[name], "disk/disk-is"), name
    for name in MACHINES:
        # The survey that the script carries tells what the collector saw; what the script does goes without.
        assert not KERNEL_NAME.search(rendered(evolve(planned(name), source_files={})))


@caught_by(verb("disk/disk-is-built-in"), unseen("verb:disk-is-built-in"), unseen("fault:removable-disk"))
def test_c02_the_backup_disk_still_plugged_in_was_the_target() -> None:
    # lsblk(8): TRAN, RM, HOTPLUG
    place = Place()
    said = place.says("disk/disk-is-built-in", fakes={"lsblk": """printf '%s\\n' 'TRAN="usb" RM="0" HOTPLUG="1"'"""})
    assert "can be unplugged" in said
    [guard] = checks(actions(planned())["disk.identify"], "disk/disk-is-built-in")
    assert guard.early
    assert "backup" in faults(survey=(('transport = "nvme"', 'transport = "usb"'),))["removable-disk"]


@caught_by(verb("disk/table-is-kept"), unseen("verb:table-is-kept"))
def test_c03_the_whole_table_was_replaced() -> None:
    place = Place()
    place.table(FOREIGN + f"start=40960, size=2048, type={LINUX}, uuid={TWO}\n")
    saved = place.put("saved.dump", place.sfdisk("", "--dump"))
    place.sfdisk(f"start=45056, size=2048, type={LINUX}, uuid={OURS}\n", "--append")
    place.holds("disk/table-is-kept", str(saved), "-", OURS)
    # one line without --append, exit status 0: everything foreign is gone
    place.sfdisk(f"label: gpt\nstart=45056, size=2048, type={LINUX}, uuid={OURS}\n")
    said = place.says("disk/table-is-kept", str(saved), "-", OURS)
    assert f"no longer so in the table: start=        2048, size=       20480, type={BASIC}, uuid={ONE}" in said
    found = actions(planned())
    [append] = found["disk.append-partitions"].operations
    assert isinstance(append, Call) and "label" not in "".join(map(str, append.stdin or ()))
    assert "sfdisk --append --wipe-partitions always" in LIBRARY.text([append.verb])
    assert checks(found["disk.check-kept"], "disk/table-is-kept")


@caught_by(verb("disk/partition-is"), unseen("verb:partition-is"))
def test_c04_smaller_than_asked() -> None:
    place = Place()
    place.table(f"size=5GiB, type={LINUX}, uuid={OURS}\n")  # sfdisk cuts it to the room there is and says nothing
    said = place.says("disk/partition-is", OURS, "2048", str(5 << 21), LINUX)
    assert "size 124928" in said and f"planned: start 2048, size {5 << 21}" in said
    found = actions(planned())["disk.append-partitions"]
    rows = "".join(map(str, found.operations[0].stdin or ())).splitlines()  # type: ignore[union-attr]
    assert len(rows) == 3 and all(re.match(r"start=\d+, size=\d+, type=", row) for row in rows)
    assert len([check for check in checks(found, "disk/partition-is") if check in found.proofs]) == 3


BUSY = "printf '/dev/sda disk \\n/dev/sda2 part /media/system\\n/dev/sda3 part [SWAP]\\n/dev/mapper/x crypt \\n'"


@caught_by(
    verb("disk/disk-is-unused"),
    verb("partition-is-ready"),
    unseen("verb:disk-is-unused"),
    unseen("verb:partition-is-idle"),
)
def test_c06_the_kernel_kept_the_old_table() -> None:
    place = Place()
    said = place.says("disk/disk-is-unused", fakes={"lsblk": BUSY})
    assert "/dev/sda2 (part at /media/system)" in said and "/dev/mapper/x (crypt)" in said
    place.table(f"start=4096, size=20480, type={LINUX}, uuid={OURS}\n")
    place.put("class/disk1/start", "2048\n")
    place.put("class/disk1/size", "20480\n")
    stale = place.says("partition-is-ready", OURS, moved={"/sys/class/block": str(place.path / "class")})
    assert "the kernel has" in stale and 'at "2048 20480", the table says "4096 20480"' in stale
    found = actions(planned())
    assert checks(found["disk.append-partitions"], "disk/disk-is-unused")
    for name in ("root", "home", "swap"):
        [guard] = checks(found[f"disk.format-{name}"], "disk/partition-is-idle")
        assert not guard.early and "start the live medium again" in guard.otherwise


@caught_by(verb("partition-is-ready"), spoiled("disk/append-partitions", 'verb_await_partitions "$@"', "true"))
def test_c07_the_node_is_not_there_yet() -> None:
    place = Place()
    place.table(f"start=2048, size=20480, type={LINUX}, uuid={OURS}\n")
    sizes = "case $* in *SIZE,LOG-SEC*) echo 67108864 512 ;; *) echo 512 ;; esac"
    fakes = {"sleep": ":", "partx": ":", "udevadm": ":", "lsblk": sizes}
    code, said = place.run("disk/append-partitions", OURS, fakes=fakes)
    assert code == 1 and "the kernel does not take the new table: start the live medium again" in said


@caught_by(
    verb("disk/filesystem-is"),
    spoiled("disk/append-partitions", "--wipe-partitions always", ""),
    spoiled("disk/append-partitions", 'verb_clear_places <"$WORK/lacking" || return 1', "true"),
)
def test_c09_an_old_signature_inside() -> None:
    place = Place()
    part = place.put("part", b"\0" * (64 << 20))
    subprocess.run(["mkfs.ext4", "-q", "-F", "-U", OURS.lower(), "-L", "root", part], check=True)
    place.holds("disk/filesystem-is", str(part), "ext4", OURS.lower(), "root")
    image = bytearray(part.read_bytes())
    image[65536 + 64 : 65536 + 72] = b"_BHRfS_M"  # a btrfs superblock from an earlier life (btrfs-dev-docs)
    part.write_bytes(image)
    said = place.says("disk/filesystem-is", str(part), "ext4", OURS.lower(), "root")
    assert "(blkid: 8)" in said  # blkid(8): ambivalent low-level probing result
    text = LIBRARY.text(["disk/append-partitions"])
    assert text.index('verb_clear_places <"$WORK/lacking" || return 1') < text.index("--wipe-partitions always")


@caught_by(verb("disk/swap-is-awake"), verb("disk/disk-is-unused"))
def test_c10_a_sleeping_system_in_a_swap_partition() -> None:
    place = Place()
    area = place.put("area", b"\0" * (1 << 20))
    subprocess.run(["mkswap", "-q", area], check=True)
    place.holds("disk/swap-is-awake", str(area))
    image = bytearray(area.read_bytes())
    image[4086:4096] = b"S1SUSPEND\0"  # the kernel's mark of a suspended image (kernel/power/swap.c)
    area.write_bytes(image)
    assert "holds the memory of a hibernated system" in place.says("disk/swap-is-awake", str(area))
    assert "at [SWAP]" in place.says("disk/disk-is-unused", fakes={"lsblk": BUSY})


@caught_by(verb("disk/disk-is"), function("disk.facts:disk_faults"))
def test_c12_sectors_of_another_size() -> None:
    place = Place()
    words = ("SM-NVME-0217", "512110190592")
    said = place.says("disk/disk-is", *words, "4096", fakes={"lsblk": DISKS})
    assert "512110190592 bytes, sectors of 512\n" in said
    bridged = faults(survey=(('transport = "nvme"', 'transport = "usb"'),))["removable-disk"]
    assert "can be unplugged" in bridged and "another sector size than the disk has inside" in bridged


@caught_by(verb("disk/table-is-whole"), function("disk.validate_survey:_table_faults"))
def test_c13_the_second_copy_is_not_at_the_end() -> None:
    place = Place()
    place.table(FOREIGN)
    with place.disk.open("ab") as file:
        file.truncate(80 << 20)
    said = place.says("disk/table-is-whole", str(80 << 20), "512")
    assert "the second header is on sector 131071, the last sector is 163839" in said
    sentence = 'faults = ["The backup GPT header lies at sector 131071, not at the last sector 163839 of the disk."]\n'
    found = faults(survey=(("removable = false\n", "removable = false\n" + sentence),))["table-untrusted"]
    assert "cannot be trusted" in found and "not at the last sector" in found


@caught_by(function("disk.facts:type_of", lambda *_: BASIC), unseen("action:disk.keep-saved-table"))
def test_c15_the_other_systems_data_type() -> None:
    for name in MACHINES:
        found = planned(name)
        rows = re.findall(r"start=\d+, size=\d+, type=([0-9A-F-]+)", rendered(found))
        assert rows and BASIC not in rows
    assert "offer to format them: always decline" in actions(planned())["disk.keep-saved-table"].upkeep[0]


@caught_by(
    unseen("fault:unknown-key"),
    verb("bootloader/esp-is-unchanged"),
    unseen("verb:may-format"),
    unseen("verb:esp-is-unchanged"),
)
def test_c16_the_shared_esp_was_formatted() -> None:
    said = faults(spec=(('mount = "/boot/efi"', 'mount = "/boot/efi"\nfilesystem = "vfat"'),))["unknown-key"]
    assert "disk.keep[0].filesystem: there is no such key" in said
    found = actions(planned())
    formats = [
        one
        for one in found.values()
        for item in one.operations
        if isinstance(item, Call) and item.verb in ("disk/make-filesystem", "disk/make-container")
    ]
    assert [one.id for one in formats] == ["disk.format-swap", "disk.format-root", "disk.format-home"]
    assert all(checks(one, "disk/may-format") for one in formats)
    assert checks(found["bootloader.check-kept"], "bootloader/esp-is-unchanged")
    place = Place()
    place.put("esp/EFI/Microsoft/Boot/bootmgfw.efi", "factory")
    digest = hashlib.sha256(b"factory").hexdigest()
    place.put("copies/esp-X.sha256", f"{digest}  ./EFI/Microsoft/Boot/bootmgfw.efi\n")
    code, words = place.run("bootloader/save-boot-state", str(place.path / "esp"), "X", "all")
    assert code == 0, words
    place.put("esp/EFI/Microsoft/Boot/bootmgfw.efi", "something else")
    assert "bootmgfw.efi: FAILED" in place.says(
        "bootloader/esp-is-unchanged", str(place.path / "esp"), "all", "EFI/kelp"
    )


@caught_by(
    function("disk.validate_combinations:_kept_esp"),
    function("bootloader.validate_systemd_boot:_room"),
    verb("bootloader/esp-has-room"),
)
def test_c17_no_room_for_kernels_on_the_esp() -> None:
    copied = (("[network]", '[bootloader]\nloader = "systemd-boot"\n\n[network]'),)
    said = faults(spec=copied)["no-room-for-kernels"]
    assert "esp has 224.98 MiB for kernels" in said and 'a new partition with type = "xbootldr"' in said
    said = faults(spec=(('mount = "/boot/efi"', 'mount = "/boot"'),))["esp-full"]
    assert "esp has 224.98 MiB free, kernels may need 400 MiB" in said
    assert 'mount = "/boot/efi", so that kernels stay on the root' in said
    place = Place()
    listing = "printf 'Filesystem 1024-blocks Used Available Capacity Mounted\\n/x 98304 97000 1304 99%% /x\\n'"
    fakes = {"df": listing, "findmnt": f"echo {place.path}"}
    # the verb asks for a device node; a plain file stands for it here
    moved = {'[ ! -b "$v_node" ]': '[ ! -e "$v_node" ]'}
    assert "has 1304 KiB left, 16384 are needed" in place.says(
        "bootloader/esp-has-room", str(place.put("part")), "16384", fakes=fakes, moved=moved
    )


@caught_by(
    verb("base/mounted-from"), verb("base/target-bare"), unseen("verb:mounted-from"), unseen("verb:target-empty")
)
def test_c18_the_target_was_not_mounted() -> None:
    place = Place()
    said = place.says("base/mounted-from", str(place.target), "/dev/disk/by-partuuid/x")
    assert "is not a mount point" in said
    place.put("target/home/ana/thesis.txt")
    assert "the target is not empty; it has" in place.says("base/target-bare")
    unpack = actions(planned())["base.unpack"]
    assert [check.says.split()[0] for check in checks(unpack, "base/mounted-from")] == ["/", "/boot/efi", "/home"]
    assert checks(unpack, "base/target-empty")


@caught_by(spoiled("disk/close-target", "sync || return 1", 'rm -rf "$TARGET"'), verb("disk/target-is-closed"))
def test_c20_a_recursive_delete_below_bind_mounts() -> None:
    assert not DELETING.search(_carried())
    place = Place()
    listed = f"printf '/\\n{place.target}\\n{place.target}/dev\\n'"
    assert "still mounted" in place.says("disk/target-is-closed", fakes={"findmnt": listed})


@caught_by(verb("base/tree-modes"), unseen("verb:tree-modes"))
def test_c21_a_umask_that_closes_the_system() -> None:
    place = Place()
    place.target.chmod(0o700)
    assert "/ has mode and owner 700" in place.says("base/tree-modes")
    found = planned()
    assert checks(actions(found)["base.packages"], "base/tree-modes")
    head = rendered(found).split("MACHINE=")[0]
    assert "\numask 022\n" in head


@caught_by(spoiled("_run", 'return "$LAST_STATUS"\n}\n\n# run_into', "return 0\n}\n\n# run_into"))
def test_c23_a_step_failed_and_the_script_went_on() -> None:
    place = Place()
    sandbox = Sandbox(place.path / "sandbox")
    steps = graph(action("demo.first", Run(argv=("false",))), writing("demo.second", "/etc/second", "x\n"))
    ran = sandbox.run(rendered(steps))
    assert ran.returncode == 1, ran.stdout
    assert "A command failed." in ran.stdout and not (sandbox.target / "etc/second").exists()


@caught_by(verb("disk/place-is-blank"), unseen("verb:room-is-free"))
def test_y01_the_row_of_a_full_partition_was_deleted() -> None:
    """sfdisk(8): a row that is deleted takes nothing of the content with it."""
    place = Place()
    place.table(f"start=2048, size=40960, type={LINUX}, uuid={OURS}\n")
    image = place.path / "content"
    with image.open("wb") as file:
        file.truncate(40960 * 512)
    subprocess.run(["mkfs.ext4", "-q", "-F", "-L", "precious", str(image)], check=True)
    into = ["dd", f"if={image}", f"of={place.disk}", "bs=1M", "seek=1", "conv=notrunc", "status=none"]
    subprocess.run(into, check=True)
    fakes = {"lsblk": "echo 512"}
    words = ("2048", "43007", OURS)
    place.holds("disk/room-is-free", *words, fakes=fakes)
    place.sfdisk("label: gpt\nlabel-id: 11111111-2222-4333-8444-555555555555\n")
    said = place.says("disk/room-is-free", *words, fakes=fakes)
    assert "no row of the table names it" in said and "LABEL=precious" in said and "TYPE=ext4" in said
    assert f"dd if=/dev/zero of={place.disk} bs=512 seek=2048 count=2048 conv=notrunc" in said
    place.holds("disk/room-is-free", "49152", "65535", OURS, fakes=fakes)
    # what is taken back by a person's own word does not stand in the way afterwards
    assert "verb_clear_places" in LIBRARY["disk/delete-partitions"].text
    assert checks(actions(planned())["disk.append-partitions"], "disk/room-is-free")


@caught_by(verb("disk/filesystem-is"), function("disk.emit_filesystems:by_hand", ""))
def test_c11_the_esp_became_a_fat16() -> None:
    """FAT specification: below 65525 clusters it is no FAT32; UEFI 2.10, 13.3.1, wants FAT32 on a disk."""
    assert "mkfs.fat -F 32" in told(planned("limpet-01"))
    place = Place()
    node = place.path / "esp"
    for bits, holds in (("32", True), ("16", False)):
        with node.open("wb") as file:
            file.truncate(100 << 20)
        subprocess.run(
            ["mkfs.fat", "-F", bits, "-i", "0217ABCD", "-n", "ESP", str(node)], check=True, capture_output=True
        )
        words = (str(node), "vfat", "0217-ABCD", "ESP")
        if holds:
            place.holds("disk/filesystem-is", *words)
        else:
            assert "version FAT16" in place.says("disk/filesystem-is", *words)


@caught_by(spoiled("disk/make-filesystem", "mkfs.ext4 -q -F $v_words", "mkfs.ext4 -q -F"), verb("disk/mkfs-words"))
def test_c22_a_newer_mkfs_than_the_loader_reads() -> None:
    """e2fsprogs 1.47.0, release notes: metadata_csum_seed and orphan_file are usual from then on."""
    place = Place()
    node = place.path / "root"
    with node.open("wb") as file:
        file.truncate(64 << 20)
    later = "features = has_journal,extent,metadata_csum,metadata_csum_seed,orphan_file"
    place.put("mke2fs.conf", f"[fs_types]\n\text4 = {{\n\t\t{later}\n\t}}\n")
    fakes = {"mkfs.ext4": f'MKE2FS_CONFIG={place.path}/mke2fs.conf mke2fs -t ext4 "$@"'}
    code, said = place.run("disk/make-filesystem", str(node), "ext4", OURS.lower(), "root", fakes=fakes)
    assert code == 0, said
    found = subprocess.run(["dumpe2fs", "-h", str(node)], capture_output=True, text=True, check=True).stdout
    assert "metadata_csum" in found and "metadata_csum_seed" not in found and "orphan_file" not in found


@caught_by(verb("base/kernel-present"), function("disk.emit_mounts:filesystem_needs"))
def test_c24_the_base_lacks_what_the_live_system_had() -> None:
    place = Place()
    place.put("target/boot/vmlinuz-6.1.0-28")
    place.put("target/usr/lib/modules/6.1.0-99/modules.dep")
    assert "modules/6.1.0-99 have no kernel image of the same version" in place.says("base/kernel-present")
    packages = actions(planned())["base.packages"].gives
    for name in (
        "e2fsprogs",
        "dosfstools",
        "linux-image-amd64",
        "initramfs-tools",
        "grub-efi-amd64",
        "firmware-linux",
        "network-manager",
        "wpasupplicant",
        "sudo",
        "efibootmgr",
        "intel-microcode",
    ):
        assert f"package:{name}" in packages, name
