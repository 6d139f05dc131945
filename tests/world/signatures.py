"""Bytes that cannot be made by tools on every kernel: members of arrays, marks of sleep, boot entries.

Offsets: md(4) and the kernel's md_p.h (version 1 super block); mark of hibernation in a swap area, kernel/power/swap.c;
UEFI specification 2.10, 3.1.3, 10.3.5.1 and 10.3.5.4; FAT: Microsoft's FAT32 specification 1.03.
"""

from __future__ import annotations

import struct
import uuid
from pathlib import Path

GLOBAL = "8be4df61-93ca-11d2-aa0d-00e098032b8c"
FAT_DIRTY_AT = 65
"""Byte of a FAT32 boot sector whose lowest bit says that the volume was not unmounted (as fsck.fat reads it)."""
SWAP_MARK_AT, SWAP_ASLEEP = 4086, b"S1SUSPEND"
EXT4_SUPER_AT = 1024


def raid_record(data_sectors: int, offset_sectors: int, set_name: str) -> bytes:
    """A super block of version 1 (4 KiB): one of two members of a mirror."""
    record = bytearray(4096)
    struct.pack_into("<IIII", record, 0, 0xA92B4EFC, 1, 0, 0)
    record[16:32] = uuid.uuid5(uuid.NAMESPACE_DNS, set_name).bytes
    record[32:64] = set_name.encode()[:32].ljust(32, b"\0")
    struct.pack_into("<QIIQII", record, 64, 1_700_000_000, 1, 0, data_sectors, 0, 2)
    struct.pack_into("<QQQQI", record, 128, 2048, data_sectors, offset_sectors, 0, 0)
    record[168:184] = uuid.uuid5(uuid.NAMESPACE_URL, set_name).bytes
    struct.pack_into("<QQQII", record, 192, 1_700_000_000, 9, 0xFFFF_FFFF_FFFF_FFFF, 0, 128)
    struct.pack_into("<HH", record, 256, 0, 1)
    total = sum(struct.unpack_from("<128I", record)[:64]) + struct.unpack_from("<I", record, 256)[0]
    total += sum(struct.unpack_from("<63I", record, 260))
    struct.pack_into("<I", record, 216, ((total & 0xFFFFFFFF) + (total >> 32)) & 0xFFFFFFFF)
    return bytes(record)


def load_option(title: str, guid: str, loader: str, active: bool = True) -> bytes:
    """An EFI_LOAD_OPTION with a hard drive node (partition 1) and a file path node."""
    drive = b"\x04\x01\x2a\x00" + struct.pack("<IQQ", 1, 2048, 204800) + uuid.UUID(guid).bytes_le + b"\x02\x02"
    name = loader.encode("utf-16-le") + b"\0\0"
    nodes = drive + b"\x04\x04" + struct.pack("<H", 4 + len(name)) + name + b"\x7f\xff\x04\x00"
    return struct.pack("<IH", int(active), len(nodes)) + title.encode("utf-16-le") + b"\0\0" + nodes


def put_entry(folder: Path, number: int, option: bytes) -> None:
    """A boot entry as a file of efivarfs: four bytes of attributes first."""
    (folder / f"Boot{number:04X}-{GLOBAL}").write_bytes(b"\x07\0\0\0" + option)


def put_order(folder: Path, *numbers: int) -> None:
    """The firmware's boot order."""
    (folder / f"BootOrder-{GLOBAL}").write_bytes(b"\x07\0\0\0" + struct.pack(f"<{len(numbers)}H", *numbers))


def order(folder: Path) -> list[int]:
    """The numbers in the firmware's boot order."""
    path = folder / f"BootOrder-{GLOBAL}"
    raw = path.read_bytes()[4:] if path.exists() else b""
    return list(struct.unpack(f"<{len(raw) // 2}H", raw))
