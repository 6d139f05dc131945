"""Accidents with what else is on the machine: copied disks, members of arrays, another Linux that stays."""

from __future__ import annotations

import re

from accidents.staging import (
    SPECS,
    Place,
    actions,
    caught_by,
    checks,
    faults,
    function,
    planned,
    rendered,
    told,
    unseen,
    verb,
)
from bedplate.reading import document, validation
from bedplate_steps.disk.draft import draft

PART = "AAAAAAAA-2222-4333-8444-555555555555"
COPY = """[[disks]]
path = "/dev/sdb"
serial = "SM-USB-0001"
model = "Saltmarsh Box"
transport = "usb"
size_bytes = 1000204886016
readable = true

[disks.table]
label = "gpt"
id = "{}"

[[disks.partitions]]
number = 1
start = 2048
size = 532480
type = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"
uuid = "{}"

[[links]]"""


@caught_by(function("disk.facts:twin_faults"), verb("disk/no-twins"), unseen("verb:no-twins"))
def test_f14_a_copied_disk_stayed_connected() -> None:
    text = (SPECS / "kelp-02.survey.toml").read_text(encoding="utf-8")
    disk, part = (re.findall(pattern, text, re.MULTILINE)[0] for pattern in (r'^id = "(.*)"', r'^uuid = "([^"]{36})"'))
    said = faults(survey=(("[[links]]", COPY.format(disk, part)),))["twins"]
    assert disk in said and "/dev/sdb (Saltmarsh Box" in said and "serial SM-USB-0001" in said
    assert "serial SM-NVME-0217" in said and "(and 1 other identifier of the same disks)" in said
    assert "unplug the copy" in said
    other = COPY.format("22222222-2222-4333-8444-555555555555", PART)
    assert "twins" not in faults(survey=(("[[links]]", other),))
    # at work: a copy that was plugged in since the survey
    [guard] = checks(actions(planned())["disk.identify"], "disk/no-twins")
    assert guard.early and "unplug the copied disk" in guard.otherwise
    place = Place()
    place.table(f"start=2048, size=20480, type=0FC63DAF-8483-4772-8E79-3D69D8477DE4, uuid={PART}\n")
    place.put("copy", place.disk.read_bytes())
    rows = f"{place.disk} disk\n{place.path}/copy disk"
    lsblk = f"case $1 in -nrpo) printf '%s\\n' '{rows}' ;; *) echo 'Saltmarsh Box' ;; esac"
    said = place.says("disk/no-twins", "keep", fakes={"lsblk": lsblk})
    assert str(place.disk) in said and f"{place.path}/copy" in said


@caught_by(function("disk.facts:layer_faults"), verb("disk/disk-bears-only"), unseen("verb:disk-bears-only"))
def test_l06_the_record_of_an_array_lay_behind_the_table() -> None:
    record = '[[disks.signatures]]\ntype = "isw_raid_member"\noffset = 512110189568\n\n[[disks.partitions]]'
    said = faults(survey=(("[[disks.partitions]]", record),))
    assert "a member of a firmware RAID array: nothing is written to it" in said["disk-in-layer"]
    place = Place()
    place.table("start=2048, size=20480, type=0FC63DAF-8483-4772-8E79-3D69D8477DE4\n")
    image = place.disk.read_bytes()
    place.disk.write_bytes(image[:-1024] + b"Intel Raid ISM Cfg Sig. 1.1.00".ljust(1024, b"\0"))
    assert "isw_raid_member" in place.says("disk/disk-bears-only", "gpt", "PMBR")
    assert [guard.early for guard in checks(actions(planned())["disk.identify"], "disk/disk-bears-only")] == [True]


@caught_by(
    function("disk.draft:root_of", (None, "")),
    unseen("action:disk.shut-down"),
    unseen("action:bootloader.first-boot-other"),
)
def test_z05_another_linux_stayed_and_nobody_counted_it() -> None:
    surveyed = document.parse("tern-04.survey.toml", (SPECS / "tern-04.survey.toml").read_bytes())
    first = draft(validation.structure_survey(surveyed))
    assert 'name = "older-system"' in first and 'role = "system"' in first and "[disk.other_system]" in first
    graph = planned("tern-04")
    shut = str(actions(graph)["disk.shut-down"].operations)
    assert "Shut older-system down; do not hibernate it" in shut and "systemctl poweroff" in shut
    assert "powercfg" not in told(graph) and "manage-bde" not in told(graph)
    assert "bootloader.first-boot-other" in actions(graph) and "/EFI/heron/shimx64.efi" in rendered(graph)


@caught_by(function("disk.facts:label_faults"))
def test_z06_the_new_root_had_the_label_of_the_old_one() -> None:
    said = faults("tern-04", spec=(('label = "tern-04"', 'label = "heron-root"'),))["label-in-use"]
    assert "partition 2 of /dev/" in said and "would take the new one for its own" in said
    assert "label-in-use" not in faults("tern-04")


@caught_by(
    verb("disk/volume-is-clean"), unseen("verb:volume-is-clean"), function("disk.validate_combinations:_contradictions")
)
def test_z07_the_linux_that_stays_sleeps_or_crashed() -> None:
    dirty = 'dirty = true\nunclean = "its journal holds changes"'
    said = faults("tern-04", survey=(("dirty = false", dirty),))["volume-dirty"]
    assert "older-system was hibernated or not shut down cleanly" in said and "its journal holds changes" in said
    [guard] = checks(actions(planned("tern-04"))["disk.identify"], "disk/volume-is-clean")
    assert guard.early and "shut it down fully" in guard.otherwise
    # the places of magic, state and "recover" in a superblock (Documentation/filesystems/ext4)
    place = Place()
    image = bytearray(4096)
    image[1080:1084] = b"\x53\xef\x01\x00"
    place.holds("disk/volume-is-clean", str(place.put("clean", bytes(image))), "ext4")
    image[1120] = 4
    assert "is not clean" in place.says("disk/volume-is-clean", str(place.put("open", bytes(image))), "ext4")


@caught_by(function("disk.kept_linux:attributes", ""), function("disk.validate_combinations:_hibernation_faults"))
def test_z08_the_older_linux_took_our_swap_by_its_type() -> None:
    rows = re.findall(r'name="?(?:unfinished-)?(root|swap)"?, attrs="GUID:63"', rendered(planned("tern-04")))
    assert {"root", "swap"} == set(rows)
    assert "GUID:63" not in re.sub(r"(?m)^#.*", "", rendered(planned("limpet-01")))
    sleeping = faults("tern-04", spec=(("[disk]", "[disk]\nhibernate = true"),))
    assert "if that switches our swap on, the sleeping session is lost" in sleeping["hibernate-kept-linux"]
