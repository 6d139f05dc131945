"""Captures become surveys: odd tool output is read whole, damage is one fault, bad tables are named."""

from __future__ import annotations

import json
import random
import re
from pathlib import Path

import pytest

from bedplate.cli.main import main
from bedplate.faults import Rejected
from bedplate.reading import document, validation
from bedplate.survey import Survey, SurveyedMachine
from bedplate.surveying import capture
from bedplate.surveying.capture import blocks, boot, contents, links, tables
from bedplate.surveying.capture.sections import Capture, read

CAPTURES = sorted((Path(__file__).resolve().parent / "captures").glob("*.txt"))
KELP = next(path for path in CAPTURES if path.name == "kelp-02.txt").read_text(encoding="utf-8")
DISK = "/dev/nvme0n1"
GUID = "5b7e44c0-91d2-4c6f-8a55-0217c4e8f6a1"


def made(*sections: tuple[str, str], notes: str = "") -> str:
    lines = ["bedplate-capture 1"]
    for title, content in sections:
        lines += [f"== {title}", *(f"| {line}" for line in content.split("\n"))]
    return "\n".join([*lines, *notes.splitlines(), "== end", ""])


def one(title: str, content: str) -> Capture:
    return read(made((title, content)))


def the_fault(text: str) -> str:
    with pytest.raises(Rejected) as caught:
        capture.survey_from(text)
    [fault] = caught.value.faults
    assert fault.message
    return fault.code


# --- the file ----------------------------------------------------------------------------------------------------


def test_an_empty_capture_is_an_empty_survey() -> None:
    assert capture.survey_from(made()) == Survey(machine=SurveyedMachine(architecture="other"))


@pytest.mark.parametrize("text", ["", "\n", "hello", "bedplate-capture 2\n== end\n", "\x00" * 10, "[disks]\n"])
def test_what_is_no_capture_is_refused(text: str) -> None:
    assert the_fault(text) == "not-a-capture"


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_a_capture_that_breaks_off_is_refused(share: float) -> None:
    assert the_fault(KELP[: int(len(KELP) * share)]) == "capture-cut-off"


def test_content_cannot_pass_for_a_marker() -> None:
    text = made(("product", "== end\n!! not a note\n== table /dev/sda\nbedplate-capture 1"))
    survey = capture.survey_from(text)
    assert survey.notes == ()
    assert survey.machine.product == "== end !! not a note == table /dev/sda bedplate-capture 1"


def test_line_ends_of_other_systems_change_nothing() -> None:
    assert capture.survey_from(KELP.replace("\n", "\r\n")) == capture.survey_from(KELP)


def test_notes_are_kept_in_order() -> None:
    assert capture.survey_from(made(notes="!! one  thing\n!! another")).notes == ("one thing", "another")


TITLES = [line[3:] for line in KELP.split("\n") if line.startswith("== ") and line != "== end"]


@pytest.mark.parametrize("title", TITLES)
def test_any_section_may_be_missing(title: str) -> None:
    text = re.sub(rf"^== {re.escape(title)}\n(\| .*\n)*", "", KELP, flags=re.MULTILINE)
    assert text != KELP
    survey = capture.survey_from(text)
    assert validation.structure_survey(document.parse("x.toml", capture.to_toml(survey).encode())) == survey


def test_damage_gives_a_fault_or_a_survey_and_never_anything_else() -> None:
    chance = random.Random(5)
    letters = '0123456789abcdefxyz{}[]":,=() \t\\|!é\x00-'
    lines = KELP.split("\n")
    refused = 0
    for _ in range(400):
        damaged = list(lines)
        for _ in range(chance.randint(1, 8)):
            at = chance.randrange(1, len(lines) - 2)
            where = chance.randrange(len(damaged[at]) + 1)
            damaged[at] = damaged[at][:where] + chance.choice(letters) + damaged[at][where + chance.randint(0, 3) :]
        try:
            capture.to_toml(capture.survey_from("\n".join(damaged)))
        except Rejected as rejected:
            refused += 1
            assert all(fault.message for fault in rejected.faults)
    assert refused < 400


@pytest.mark.parametrize("data", ["5", "[]", '{"partitiontable": 5}', '{"partitiontable": []}', "[" * 100_000])
def test_json_of_another_shape_is_no_table(data: str) -> None:
    assert tables.table(one(f"table {DISK}", data), DISK) is None


def test_a_table_with_impossible_numbers_is_refused() -> None:
    row = {"node": DISK + "p1", "start": "x", "size": 5, "type": "T"}
    data = json.dumps({"partitiontable": {"label": "gpt", "partitions": [row]}})
    assert the_fault(made((f"disk {DISK}", "size=1048576"), (f"table {DISK}", data))) == "capture-damaged"


# --- boot entries: shapes that efibootmgr 14 to 18 print -------------------------------------------------------------

HD = f"HD(1,GPT,{GUID.upper()},0x800,0x82000)"


@pytest.mark.parametrize(
    ("line", "label", "active", "partition", "loader"),
    [
        (f"Boot0000* heron\t{HD}/File(\\EFI\\heron\\shimx64.efi)", "heron", True, GUID, "\\EFI\\heron\\shimx64.efi"),
        (f"Boot0001  Old One\t{HD}/File(\\EFI\\a b\\x.efi)SYS...x..B.C", "Old One", False, GUID, "\\EFI\\a b\\x.efi"),
        (f"Boot000a* lower\t{HD}/File(\\EFI\\x.EFI)RC", "lower", True, GUID, "\\EFI\\x.EFI"),
        (f"Boot0002* new form\t{HD}/\\EFI\\heron\\grubx64.efiRC", "new form", True, GUID, "\\EFI\\heron\\grubx64.efi"),
        (f"Boot0003* data\t{HD}/\\EFI\\x\\y.efi57494e4446", "data", True, GUID, "\\EFI\\x\\y.efi"),
        (f"Boot0004* blank form {HD}/File(\\EFI\\x.efi)", "blank form", True, GUID, "\\EFI\\x.efi"),
        (f"Boot0005* Disk:  \t{HD}/File(\\EFI\\x.efi)RC", "Disk:", True, GUID, "\\EFI\\x.efi"),
        (f"Boot0006* long\tPciRoot(0x0)/Pci(0x1f,0x2)/Sata(1,0,0)/{HD}/File(\\x.efi)", "long", True, GUID, "\\x.efi"),
        ("Boot0007* mbr\tHD(1,MBR,0x6132549e,0x800,0x1f00)/File(\\EFI\\x.efi)", "mbr", True, "", "\\EFI\\x.efi"),
        ("Boot0008* EFI USB Device\tRC", "EFI USB Device", True, "", ""),
        ("Boot0009* NIC(IPV4)\tPciRoot(0x0)/MAC(020000000106,0)/IPv4(0.0.0.0,0,0)..BO", "NIC(IPV4)", True, "", ""),
        ("Boot000B  Setup\tFvFile(721c8b66-426c-4e86-8e99-3457c46ab0b9)", "Setup", False, "", ""),
        ("Boot000C* CD/DVD\tBBS(CDROM,,0x0)", "CD/DVD", True, "", ""),
        ("Boot000D* no path at all", "no path at all", True, "", ""),
        ("Boot000E* ", "", True, "", ""),
        ("Boot000F* bell\x07 and \u2028 line\tRC", "bell and line", True, "", ""),
    ],
)
def test_a_boot_entry_of_any_shape(line: str, label: str, active: bool, partition: str, loader: str) -> None:
    [entry] = boot.boot_entries(line)
    assert entry.number == line[4:8].upper()
    assert (entry.label, entry.active, entry.partition, entry.loader) == (label, active, partition, loader)


def test_a_listing_is_read_whole() -> None:
    listing = (
        "BootNext: 0002\nBootCurrent: 0000\nTimeout: 5 seconds\nBootOrder: 0000,0000,00af,2001\n"
        f"Boot0001* b\t{HD}/\\EFI\\b.efi\n      dp: 04 01 2a 00 / 7f ff 04 00\n    data: 52 43\n"
        "Boot0000* a\tRC\nDriver0000* d\tRC\nMirroredPercentageAbove4G: 0.00\n"
    )
    firmware = boot.firmware(one("boot-entries", listing))
    assert [entry.label for entry in firmware.entries] == ["a", "b"]
    assert firmware.boot_current == "0000"
    assert firmware.boot_order == ("0000", "0000", "00AF", "2001")


@pytest.mark.parametrize(
    ("secure", "setup", "state"),
    [("01", "00", "on"), ("00", "00", "off"), ("00", "01", "setup"), ("01", "", "on"), ("", "", "unknown")],
)
def test_secure_boot_is_the_fifth_byte(secure: str, setup: str, state: str) -> None:
    """efivarfs puts four bytes of attributes before the value: Linux, Documentation/filesystems/efivarfs.rst."""
    sections = [
        (f"variable {name}", f" 06 00 00 00 {value}")
        for name, value in (("SecureBoot", secure), ("SetupMode", setup))
        if value
    ]
    assert boot.firmware(read(made(*sections))).secure_boot == state


@pytest.mark.parametrize(
    ("text", "free"),
    [
        ("Filesystem 1024-blocks Used Available Capacity Mounted on\nefivarfs 148 60 88 41% /sys/x", 88 * 1024),
        ("Filesystem 1024-blocks Used Available Capacity Mounted on\nefivarfs 0 0 0 - /sys/x", None),
        ("", None),
    ],
)
def test_room_for_variables_is_only_told_where_the_kernel_tells(text: str, free: int | None) -> None:
    assert boot.firmware(one("variables-room", text)).variables_free_bytes == free


# --- links -------------------------------------------------------------------------------------------------------


def ip(*rows: dict[str, object]) -> tuple[str, str]:
    return "ip-link", json.dumps(rows)


ETHER = {"link_type": "ether", "flags": ["BROADCAST", "UP", "LOWER_UP"]}


def test_links_without_sys_are_told_by_their_names() -> None:
    text = made(
        ip(
            {"ifname": "lo", "link_type": "loopback", "address": "00:00:00:00:00:00", "flags": ["LOOPBACK"]},
            {"ifname": "wlp3s0", "address": "AE:05:F8:00:01:67", **ETHER, "flags": ["NO-CARRIER"]},
            {"ifname": "enp0s25", "address": "10:de:f1:00:01:54", **ETHER},
            {"ifname": "wlan0", "address": "ae:05:f8:00:01:68", "permaddr": "18:5e:0f:00:02:43", **ETHER},
            {"ifname": "ib0", "link_type": "infiniband", "address": "80:00:02:08:fe:80:00:00"},
            {"ifname": "wwan0", "link_type": "none", "flags": ["POINTOPOINT"]},
        )
    )
    found = capture.survey_from(text)
    assert [(link.name, link.mac, link.kind, link.carrier) for link in found.links] == [
        ("enp0s25", "10:de:f1:00:01:54", "ethernet", True),
        ("wlan0", "18:5e:0f:00:02:43", "wifi", True),
        ("wlp3s0", "ae:05:f8:00:01:67", "wifi", False),
    ]
    [note] = found.notes
    assert "wlp3s0" in note and "random" in note


def test_links_with_sys_need_a_device_behind_them() -> None:
    bridge = "address=02:53:4d:00:00:02\naddress_kind=3\ntype=1"
    card = "address=02:53:4d:00:00:03\naddress_kind=0\ntype=1\ncarrier=1\ndevice=1\ndriver=e1000e"
    radio = "address=02:53:4d:00:00:04\naddress_kind=3\ntype=1\nwireless=1\ndevice=1\npermanent=18:5e:0f:00:02:43"
    found = links.links(read(made(("link br0", bridge), ("link wl0", radio), ("link eth0", card))))
    assert [(link.name, link.mac, link.kind, link.driver) for link in found] == [
        ("eth0", "02:53:4d:00:00:03", "ethernet", "e1000e"),
        ("wl0", "18:5e:0f:00:02:43", "wifi", ""),
    ]


# --- block devices -------------------------------------------------------------------------------------------------


def test_a_tree_with_encryption_and_volumes_is_read_whole() -> None:
    volume = {"name": "/dev/mapper/marsh-swap_1", "type": "lvm", "size": "976M", "mountpoint": "[SWAP]"}
    crypt = {"name": "/dev/mapper/sda3_crypt", "type": "crypt", "mountpoint": None, "children": [volume]}
    parts = [
        {"name": "/dev/sda1", "type": "part", "mountpoint": "/boot/efi"},
        {"name": "/dev/sda3", "type": "part", "mountpoint": None, "children": [crypt]},
    ]
    rows = blocks.rows({"blockdevices": [{"name": "/dev/sda", "size": "476.9G", "type": "disk", "children": parts}]})
    assert list(rows) == ["/dev/sda", "/dev/sda1", "/dev/sda3", "/dev/mapper/sda3_crypt", "/dev/mapper/marsh-swap_1"]
    assert blocks.mount_points(rows["/dev/sda1"]) == ("/boot/efi",)
    assert blocks.holders(rows["/dev/sda3"]) == ("sda3_crypt",)
    assert blocks.mount_points(rows["/dev/mapper/marsh-swap_1"]) == ("[SWAP]",)
    assert blocks.holders(rows["/dev/sda"]) == ()


def test_names_without_paths_and_lists_of_mount_points() -> None:
    crypt = {"name": "root_crypt", "type": "crypt", "mountpoints": ["/", "/home", None]}
    rows = blocks.rows({"blockdevices": [{"name": "nvme0n1", "type": "disk", "children": [crypt]}]})
    assert list(rows) == ["/dev/nvme0n1", "/dev/mapper/root_crypt"]
    assert blocks.mount_points(rows["/dev/mapper/root_crypt"]) == ("/", "/home")


@pytest.mark.parametrize("data", [None, 5, {}, {"blockdevices": None}, {"blockdevices": [5, {}, {"name": None}]}])
def test_nothing_listed_is_no_device(data: object) -> None:
    assert blocks.rows(data) == {}


def test_mounts_swaps_and_holders_are_joined() -> None:
    text = made(
        ("mounts", f"{DISK}p1 /media/a\\040b vfat ro 0 0\n{DISK}p10 /no vfat ro 0 0"),
        ("swaps", f"Filename Type Size Used Priority\n{DISK}p1 partition 5 0 -2"),
        (f"holders {DISK}p1", "marsh-root"),
        *disk_with("start=2048, size=2048, type=T, uuid=U"),
    )
    [part] = capture.survey_from(text).disks[0].partitions
    assert part.mounted_at == ("/media/a b", "[SWAP]")
    assert part.holders == ("marsh-root",)


# --- tables --------------------------------------------------------------------------------------------------------


def disk_with(*rows: str, sectors: int = 204800, label: str = "gpt") -> tuple[tuple[str, str], tuple[str, str]]:
    head = f"label: {label}\nlabel-id: I\nunit: sectors\nfirst-lba: 34\nlast-lba: {sectors - 34}\nsector-size: 512\n\n"
    body = "\n".join(f"{DISK}p{number} : {row}" for number, row in enumerate(rows, 1))
    return (f"disk {DISK}", f"size={sectors * 512}\nsector=512"), (f"table-dump {DISK}", head + body)


def faults_of(*sections: tuple[str, str]) -> tuple[str, ...]:
    return capture.survey_from(made(*sections)).disks[0].faults


def section(text: str, title: str) -> str:
    return read(text).text(*title.split(" "))


@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.name)
def test_json_and_dump_tell_the_same(path: Path) -> None:
    whole = read(path.read_text(encoding="utf-8"))
    [disk] = whole.each("disk")
    rest = {key: value for key, value in whole.sections.items() if key != ("table", disk)}
    from_json, from_dump = tables.table(whole, disk), tables.table(Capture(sections=rest), disk)
    assert from_json is not None and from_json.partitions
    assert from_json == from_dump


def test_names_in_a_dump_are_unescaped() -> None:
    """sfdisk writes quotes, backslashes, dollars, backticks and what is not ASCII as bytes (util-linux 2.38.1)."""
    row = 'start=2048, size=8, type=T, uuid=U, name="q\\x22u\\x5co\\x24t\\x60\\xc3\\xa9, x=1", attrs="GUID:60,63"'
    [part] = capture.survey_from(made(*disk_with(row))).disks[0].partitions
    assert (part.name, part.attributes) == ('q"u\\o$t`é, x=1', "GUID:60,63")


def test_json_broken_by_a_name_falls_back_to_the_dump() -> None:
    broken = (f"table {DISK}", '{"partitiontable": {"label":"gpt", "partitions": [{"name": "a\\x"}]}}')
    [part] = capture.survey_from(made(broken, *disk_with("start=2048, size=8, type=T, uuid=U"))).disks[0].partitions
    assert (part.number, part.start, part.size) == (1, 2048, 8)


def header(alternate: int, entries: int = 128, signature: bytes = b"EFI PART") -> str:
    """A GPT header, UEFI specification 2.10, table "GPT Header": AlternateLBA at byte 32, entries at 80."""
    raw = bytearray(92)
    raw[:8], raw[32:40], raw[80:84] = signature, alternate.to_bytes(8, "little"), entries.to_bytes(4, "little")
    return " " + raw.hex(" ")


def records(*rows: tuple[int, int]) -> str:
    """The four records of a protective MBR as (boot flag, type), and the signature, UEFI specification 5.2.3."""
    padded = [*rows, *[(0, 0)] * (4 - len(rows))]
    return " ".join(bytes([flag, 0, 0, 0, kind, *[0] * 11]).hex(" ") for flag, kind in padded) + " 55 aa"


ROW = "start=2048, size=2048, type=0FC63DAF-8483-4772-8E79-3D69D8477DE4, uuid=U"


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ([], None),
        ([(f"header {DISK}", header(204799)), (f"records {DISK}", records((0, 0xEE)))], None),
        ([(f"header {DISK}", header(102399))], "102399, not at the last sector 204799"),
        ([(f"header {DISK}", header(204799, signature=b"EFI PARX"))], "first GPT header is damaged"),
        ([(f"records {DISK}", records((0, 0xEE), (0, 0x07)))], "hybrid"),
        ([(f"records {DISK}", records((0, 0x07)))], "hybrid"),
        ([(f"records {DISK}", records())], "none"),
        ([(f"records {DISK}", records((0x80, 0xEE)))], "boot flag"),
    ],
)
def test_heads_that_cannot_be_trusted(sections: list[tuple[str, str]], words: str | None) -> None:
    found = faults_of(*disk_with(ROW), *sections)
    assert len(found) == (words is not None)
    assert all(words is not None and words in fault for fault in found)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (["start=2048, size=8, type=5808C8AA-7E8F-42E0-85D2-E1E90434CFB3, uuid=U"], "dynamic disks (partition 1)"),
        (["start=2048, size=8, type=AF9B60A0-1431-4F62-BC68-3311714A69AD, uuid=U"], "dynamic disks (partition 1)"),
        (["start=2048, size=8, type=E75CAF8F-F680-4CEE-AFA3-B001E56EFC2D, uuid=U"], "storage space (partition 1)"),
        (["start=2048, size=9, type=T, uuid=U", "start=2056, size=9, type=T, uuid=U"], "1 and 2 overlap"),
        (["start=2, size=9, type=T, uuid=U"], "outside"),
        (["start=204700, size=99, type=T, uuid=U"], "outside"),
    ],
)
def test_rows_that_cannot_be_trusted(rows: list[str], words: str) -> None:
    [fault] = faults_of(*disk_with(*rows))
    assert words in fault


def test_a_table_of_another_kind_is_named_and_has_no_free_regions() -> None:
    [disk] = capture.survey_from(made(*disk_with("start=2048, size=9, type=7", label="dos"))).disks
    assert disk.table is not None and disk.table.length == 4
    assert disk.partitions[0].type == "7" and disk.partitions[0].uuid == ""
    [fault] = disk.faults
    assert "dos" in fault


def test_the_headers_number_of_entries_is_believed() -> None:
    [disk] = capture.survey_from(made(*disk_with(ROW), (f"header {DISK}", header(204799, entries=12)))).disks
    assert disk.table is not None and disk.table.length == 12


def test_a_disk_without_a_table_says_what_covers_it() -> None:
    text = made(("disk /dev/sda", "size=4096"), ("signature /dev/sda", "TYPE=crypto_LUKS\nVERSION=2"))
    [disk] = capture.survey_from(text).disks
    assert (disk.table, disk.content, disk.free) == (None, "crypto_LUKS", ())


NONE = (f"table-none {DISK}", f"sfdisk: {DISK}: does not contain a recognized partition table")
BARE = (f"disk {DISK}", "size=104857600\nsector=512")
NOTHING = (f"signature {DISK}", "")
KNOWN = (
    "lsblk",
    json.dumps({"blockdevices": [{"name": DISK, "type": "disk", "children": [{"name": DISK + "p1", "type": "part"}]}]}),
)


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ([NONE, NOTHING], ""),
        ([NONE, (f"signature {DISK}", "TYPE=ext4")], ""),
        ([], "The partition table was not read"),
        ([NOTHING], "The partition table was not read"),
        ([NONE], "as a whole was not read"),
        ([NONE, NOTHING, KNOWN], f"({DISK}p1)"),
        ([NONE, NOTHING, (f"header {DISK}", header(204799))], "traces of a partition table (gpt)"),
        ([NONE, (f"signature {DISK}", "PTTYPE=mac")], "traces of a partition table (mac)"),
        ([(f"table-dump {DISK}", f"label: dos\n\n{DISK}p1 : start=1, size=99, type=ee"), NOTHING], "was not read"),
        ([disk_with()[1], NOTHING, KNOWN], f"({DISK}p1)"),
        ([disk_with()[1], NOTHING], ""),
    ],
)
def test_a_disk_is_only_empty_where_somebody_has_looked(sections: list[tuple[str, str]], words: str) -> None:
    """A disk that could not be opened lists as little as an empty one; of a GPT whose headers are gone sfdisk shows
    the protective MBR (util-linux 2.38.1)."""
    [disk] = capture.survey_from(made(BARE, *sections)).disks
    assert disk.readable is (not words) and disk.unread is bool(words)
    assert any(words in fault for fault in disk.faults) or not words


def test_a_table_that_could_not_be_opened_is_not_taken_for_none() -> None:
    text = re.sub(r"^== (table\S* \S+)\n(?:\| .*\n)*", r"!! \1: sfdisk: cannot open\n", KELP, flags=re.MULTILINE)
    assert text.count("cannot open") == 3
    [disk] = capture.survey_from(text).disks
    assert disk.unread and disk.table is None and len(disk.faults) == 3
    assert not capture.survey_from(KELP).disks[0].unread


def test_a_disk_of_unknown_size_is_left_out() -> None:
    assert capture.survey_from(made(("disk /dev/sda", "model=x"))).disks == ()


def test_a_controller_in_raid_mode_is_named() -> None:
    """Class 0104 is a RAID controller: PCI code and ID assignment specification, base class 01."""
    [note] = capture.survey_from(made(("pci", "0x010400 0x8086 0x9a0b\n0x030000 0x8086 0x9a49"))).notes
    assert "RAID" in note and "no disk was found" in note


# --- inside partitions -----------------------------------------------------------------------------------------------


NODE = DISK + "p1"


@pytest.mark.parametrize(
    ("title", "content", "used", "free", "smallest", "dirty"),
    [
        (
            "esp-room",
            "Filesystem 1024-blocks Used Available Capacity Mounted on\nx 262144 1000 261144 1% /x",
            1024000,
            267411456,
            None,
            None,
        ),
        ("esp-free", "235908608", None, 235908608, None, None),
        (
            "ext",
            "Filesystem state:         not clean\nBlock count:              1000\nFree blocks:              250\n"
            "Block size:               4096",
            3072000,
            1024000,
            None,
            True,
        ),
        (
            "ntfs",
            "Current volume size: 510769754624 bytes (510770 MB)\nSpace in use       : 142618 MB (27.9%)\n"
            "You might resize at 137204412416 bytes or 137205 MB (freeing 373565 MB).",
            142618000000,
            368151754624,
            137204412416,
            None,
        ),
        ("ntfs-state", "14", None, None, None, True),
        ("ntfs-state", "15", None, None, None, True),
        ("ntfs-state", "0", None, None, None, False),
        ("ntfs-state", "12", None, None, None, None),
        ("btrfs", "total_bytes\t\t1000\nbytes_used\t\t300", 300, 700, None, None),
        ("xfs", "blocksize = 4096\ndblocks = 1000\nfdblocks = 250", 3072000, 1024000, None, None),
        ("ext", "dumpe2fs: Bad magic number", None, None, None, None),
    ],
)
def test_sizes_and_states_are_read(
    title: str, content: str, used: int | None, free: int | None, smallest: int | None, dirty: bool | None
) -> None:
    kind = {"esp": "vfat", "ext": "ext4"}.get(title.split("-")[0], title.split("-")[0])
    whole = read(made((f"signature {NODE}", f"TYPE={kind}"), (f"{title} {NODE}", content)))
    found = contents.filesystem(whole, NODE, {})
    assert found is not None
    assert (found.used_bytes, found.free_bytes, found.min_bytes, found.dirty) == (used, free, smallest, dirty)


def test_labels_are_unquoted_and_lsblk_fills_in() -> None:
    whole = one(f"signature {NODE}", 'TYPE=ext4\nLABEL=a\\ b\\$\\"c\\\\d')
    found = contents.filesystem(whole, NODE, {"uuid": "u", "fsused": 5, "fsavail": "7", "fstype": "xfs"})
    assert found is not None
    assert (found.type, found.label, found.uuid, found.used_bytes, found.free_bytes) == ("ext4", 'a b$"c\\d', "u", 5, 7)


def test_loader_files_are_sorted_paths() -> None:
    whole = one(f"esp-files {NODE}", "/EFI/b.efi\n/EFI/a.efi\nnonsense\n")
    assert contents.loader_files(whole, NODE) == ("/EFI/a.efi", "/EFI/b.efi")


def test_a_capture_that_says_what_no_tool_prints_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A FAT's UUID is its volume id (blkid(8)); with more in it, it would be more fields of fstab(5)."""
    path = tmp_path / "capture.txt"
    path.write_text(KELP.replace("| UUID=0217-4B1E\n", "| UUID=0217-4B1E /usr ext4 suid,user 0 0 #\n"))
    assert main(["survey", "--from", str(path), "--out", str(tmp_path / "survey.toml")]) == 1
    said = capsys.readouterr().err
    assert f"{path}: disks[0].partitions[0].filesystem.uuid: " in said and '"0217-4B1E /usr' in said
    assert not (tmp_path / "survey.toml").exists()
