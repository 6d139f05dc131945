"""Accidents with the firmware: storage modes, keys, revocations, boot entries, the variable store."""

from __future__ import annotations

import re
import struct
import uuid
from pathlib import Path

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
from bedplate.actions import Call
from bedplate.rendering.shell_runtime import part
from library import LIBRARY

GLOBAL = "8be4df61-93ca-11d2-aa0d-00e098032b8c"
VARIABLES = "/sys/firmware/efi/efivars"
ESP = "6d0325d8-cf1c-525b-838b-9949aba9601a"
OURS = r"\EFI\saltmarsh\grubx64.efi"
RAID = ('"0108 8086:f1a8"', '"0104 8086:9a0b"')


@caught_by(
    function("bootloader.validate:_firmware"),
    function("disk.validate_survey:_hidden"),
    unseen("action:bootloader.firmware-settings"),
)
def test_b01_a_disk_hidden_by_a_raid_mode() -> None:
    said = faults(survey=(RAID,))["storage-raid-mode"]
    assert "Leave the mode as it is: a system installed with it does not start after a switch" in said
    gone = faults(spec=(('"SM-NVME-0217"', '"SM-NVME-0299"'),), survey=(RAID,))["survey-of-another-machine"]
    assert "which can hide disks" in gone and "Do not switch" in gone
    settings = str(actions(planned(survey=(RAID,)))["bootloader.firmware-settings"].operations)
    assert "the controller is in RAID mode (RST, VMD). KEEP IT" in settings


ENROLLING = re.compile(r"sbctl|efi-updatevar|KeyTool|enroll|mokutil|chattr -i")


@caught_by(
    unseen("fault:unknown-value"),
    unseen("action:bootloader.firmware-settings"),
    spoiled("bootloader/secure-boot-is-off", "return 1", "efi-updatevar -f PK.auth PK"),
)
def test_b03_own_keys_without_the_vendors() -> None:
    found = faults(common=(('name = "saltmarsh"', 'name = "saltmarsh"\nsecure_boot = "own-keys"'),))
    assert "secure_boot" in found["unknown-value"] and "off or signed" in found["unknown-value"]
    assert "never by deleting keys" in str(actions(planned())["bootloader.firmware-settings"].operations)
    for name in MACHINES:
        assert not ENROLLING.search(rendered(planned(name)))


@caught_by(
    verb("bootloader/loader-is-current"), unseen("action:bootloader.try-medium"), unseen("verb:loader-is-current")
)
def test_b04_a_revoked_loader_or_an_old_medium() -> None:
    # shim, SBAT.md: the level is attributes, then lines; a loader carries the same lines in a section
    place = Place()
    place.put("vars/SbatLevelRT-605dab50-e046-4300-abb6-3dd810dd8b23", b"\x06\0\0\0sbat,1,2024010900\nshim,4\ngrub,3\n")
    moved = {VARIABLES: str(place.path / "vars")}
    shim = b"MZ\0\0sbat,1,SBAT Version,sbat,1,https://example\nshim,%d,UEFI shim,shim,1,https://example\n\0\0"
    old, new = place.put("old.efi", shim % 2), place.put("new.efi", shim % 4)
    said = place.says("bootloader/loader-is-current", str(old), moved=moved)
    assert "has shim of generation 2; the firmware takes 4 and later" in said
    place.holds("bootloader/loader-is-current", str(new), moved=moved)
    signed = (('name = "saltmarsh"', 'name = "debian"\nsecure_boot = "signed"'),)
    assert checks(actions(planned(common=signed))["bootloader.install"], "bootloader/loader-is-current")
    graph = planned()
    tried = actions(graph)["bootloader.try-medium"]
    assert "older than the firmware's revocation list: make a newer one" in tried.trouble
    order = list(actions(graph))
    assert order.index("bootloader.try-medium") < order.index("disk.identify")


def _entry(folder: Path, number: str, guid: str, loader: str) -> None:
    """A boot entry as UEFI 2.10 lays it out (3.1.3, 10.3.5.1, 10.3.5.4), four bytes of attributes before it."""
    drive = struct.pack("<BBHIQQ", 4, 1, 42, 1, 2048, 532480) + uuid.UUID(guid).bytes_le + b"\x02\x02"
    name = loader.encode("utf-16-le") + b"\0\0"
    nodes = drive + struct.pack("<BBH", 4, 4, 4 + len(name)) + name + b"\x7f\xff\x04\0"
    option = struct.pack("<IH", 1, len(nodes)) + "Entry".encode("utf-16-le") + b"\0\0" + nodes
    (folder / f"Boot{number}-{GLOBAL}").write_bytes(b"\x07\0\0\0" + option)


@caught_by(verb("bootloader/boot-entry-is"), unseen("action:bootloader.boot-entry"))
def test_b05_the_boot_entry_is_gone_or_there_twice() -> None:
    place = Place()
    folder = place.put("vars/keep").parent
    moved = {VARIABLES: str(folder)}
    assert "0 active entries" in place.says("bootloader/boot-entry-is", "one", ESP, OURS, moved=moved)
    _entry(folder, "0004", ESP, OURS)
    place.holds("bootloader/boot-entry-is", "one", ESP, OURS, moved=moved)
    _entry(folder, "0005", ESP, OURS.upper())
    assert "2 active entries" in place.says("bootloader/boot-entry-is", "one", ESP, OURS, moved=moved)
    graph = planned()
    proof = checks(actions(graph)["bootloader.boot-entry"], "bootloader/boot-entry-is")[0]
    assert isinstance(proof.test, Call) and proof.test.args == ("one", ESP, OURS)
    sheet = told(graph).partition("## Hand-over sheet")[2].partition("## Rescue sheet")[0]
    assert f"efibootmgr -c -d \"$DISK\" -p 1 -L saltmarsh -l '{OURS}'" in sheet


@caught_by(verb("bootloader/boot-store-has-room"), unseen("verb:boot-store-has-room"))
def test_b07_the_variable_store_is_full() -> None:
    place = Place()
    for number in range(40):
        place.put(f"vars/dump-type0-{number}-{GLOBAL}")
    listing = "printf 'Filesystem 1024-blocks Used Available Capacity Mounted\\nefivarfs 120 119 1 99%% /x\\n'"
    said = place.says(
        "bootloader/boot-store-has-room", "8", fakes={"df": listing}, moved={VARIABLES: str(place.path / "vars")}
    )
    assert "1 KiB left for boot entries, 8 are needed; it holds 40 crash dumps" in said
    [guard] = checks(actions(planned())["bootloader.boot-entry"], "bootloader/boot-store-has-room")
    assert guard.early and "delete no other variable" in guard.otherwise


@caught_by(verb("disk/table-is-whole"), unseen("verb:table-is-whole"))
def test_b08_a_boot_flag_in_the_protective_mbr() -> None:
    # UEFI specification 5.2.3: BootIndicator is 00, OSType is EE
    place = Place()
    place.table("start=2048, size=20480\n")
    image = bytearray(place.disk.read_bytes())
    assert (image[446], image[450]) == (0x00, 0xEE)
    image[446] = 0x80
    place.disk.write_bytes(image)
    said = place.says("disk/table-is-whole", str(64 << 20), "512")
    assert "carries a boot flag (byte 446 is 80, not 00)" in said
    found = actions(planned())
    for action in ("disk.append-partitions", "disk.check-kept"):
        assert checks(found[action], "disk/table-is-whole"), action
    full = planned(common=(('name = "saltmarsh"', 'name = "saltmarsh"\nentry_path = "full"'),))
    assert "efibootmgr -e 3 -c" in told(full)


SHORT = re.compile(r"efibootmgr -o(?! (?:NUMBER,ALL,THE,OTHERS|ALL,THE,OTHERS,NUMBER|\"\$\{order#))")
"""A boot order that a person is to set, without all numbers of the order that is there."""


@caught_by(
    verb("bootloader/boot-entries-are-kept"),
    unseen("verb:boot-entries-are-kept"),
    function("bootloader.emit_manual:back_in_order", "put the order back with `efibootmgr -o`"),
    function("bootloader.emit_firmware:back_in_order", "put the order back with `efibootmgr -o`"),
)
def test_b09_a_number_left_out_of_the_boot_order() -> None:
    # UEFI 2.10, 3.1.1: firmware may delete what no order names (from memory)
    place = Place()
    (place.path / "vars").mkdir()
    for number in ("0000", "0001"):
        _entry(place.path / "vars", number, ESP, r"\EFI\heron\x.efi")
    for name in (f"Boot0000-{GLOBAL}", f"Boot0001-{GLOBAL}"):
        place.put(f"target/var/lib/bedplate/boot/{name}", (place.path / "vars" / name).read_bytes())
    order = f"BootOrder-{GLOBAL}"
    place.put(f"target/var/lib/bedplate/boot/{order}", b"\x07\0\0\0\0\0\x01\0")
    place.put(f"vars/{order}", b"\x07\0\0\0\x01\0")
    said = place.says("bootloader/boot-entries-are-kept", ESP, OURS, moved={VARIABLES: str(place.path / "vars")})
    assert "the boot order of the others was 0000 0001" in said
    for name in MACHINES:
        graph = planned(name)
        assert checks(actions(graph)["bootloader.check-kept"], "bootloader/boot-entries-are-kept")
        text = told(graph)
        assert not SHORT.search(text), SHORT.findall(text)
    sheet = told(planned())
    assert sheet.count("NUMBER,ALL,THE,OTHERS") == 2 and sheet.count("the firmware may delete the entry") == 2


DELETING = re.compile(r"\brm\s+(-\w*[rR]|--recursive)|-delete\b.*efivars|find\s+/sys")


def _carried() -> str:
    """Everything a script could carry along: all verbs and all parts of the runtime, without comments."""
    parts = ("common", "run", "secrets", "look", "install", "undo", "report", "audit")
    text = "\n".join((*(part(name) for name in parts), LIBRARY.text(LIBRARY.entries)))
    return "\n".join(line for line in text.splitlines() if not line.lstrip().startswith("#"))


@caught_by(
    spoiled("base/api-unmount", "verb_api_unmount() {", 'verb_api_unmount() {\n    rm -rf "$TARGET/sys"'),
    spoiled("base/api-mount", ",ro sys", " sys"),
)
def test_b10_the_firmwares_variables_were_deleted() -> None:
    assert not DELETING.search(_carried())
    assert re.search(r"verb_api_one sys -t sysfs -o \S*\bro\b", LIBRARY.text(["base/api-mount"]))


@caught_by(unseen("action:bootloader.firmware-settings"))
def test_b11_fast_boot_hides_partitions_from_the_loader() -> None:
    graph = planned("limpet-01")  # its kernels lie outside the EFI system partition
    settings = actions(graph)["bootloader.firmware-settings"]
    words = str(settings.operations)
    assert "Fast boot of the firmware: off, so that keys, sticks and all partitions are seen" in words
    order = list(actions(graph))
    assert order.index("bootloader.firmware-settings") < order.index("bootloader.start-medium")
