"""Partition tables. Enters: sfdisk's JSON (or dump), the first sector's records, the GPT header. Leaves: table, rows
and the faults that make a table one that should not be written to.

Layout of protective MBR and header: UEFI specification 2.10, tables "Protective MBR Partition Record" and "GPT
Header" (signature at byte 0, MyLBA at 24, AlternateLBA at 32, number of entries at 80).
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from attrs import frozen

from bedplate import storage_layers
from bedplate.survey import PartitionTable, SurveyedDisk, SurveyedPartition
from bedplate.surveying.capture.boot import octets
from bedplate.surveying.capture.sections import Capture

_PROTECTIVE = 0xEE
_ROW = re.compile(r"^(\S+) : (.*)$")
_FIELD = re.compile(r'([a-zA-Z-]+)=\s*("(?:[^"])*"|[^,\s]*)')
_ESCAPE = re.compile(rb"\\x([0-9a-f]{2})")


@frozen(kw_only=True)
class ReadTable:
    """A table as read: itself, its rows in the order of the table, and its faults as sentences."""

    table: PartitionTable
    sector_size: int
    partitions: tuple[SurveyedPartition, ...]
    nodes: tuple[str, ...]
    """The kernel's node of each row, on the day of the capture."""


def table(capture: Capture, disk: str) -> ReadTable | None:
    """The table of `disk`, or None if it has none that could be read."""
    data = capture.data("table", disk)
    read = data.get("partitiontable") if isinstance(data, dict) else None
    raw = read if isinstance(read, dict) else _from_dump(capture.text("table-dump", disk))
    if not raw.get("label") or _only_protects(raw):
        return None
    return _table(raw, disk, _header(capture, disk))


def _only_protects(raw: Mapping[str, Any]) -> bool:
    """Whether it is the protective MBR of a GPT that sfdisk could not read: then it shows that one as the table."""
    kinds = [str(row.get("type", "")) for row in raw.get("partitions") or ()]
    return raw["label"] == "dos" and f"{_PROTECTIVE:x}" in kinds


def _table(raw: Mapping[str, Any], disk: str, header: bytes) -> ReadTable:
    """From the keys of sfdisk's JSON. The header's own number of entries is believed before sfdisk's."""
    listed = int(raw.get("table-length") or raw.get("tablelength") or 0)
    length = int.from_bytes(header[80:84], "little") or listed or 128
    rows = [row for row in raw.get("partitions") or () if int(row.get("size", 0)) > 0]
    return ReadTable(
        table=PartitionTable(
            label=str(raw["label"]),
            id=str(raw.get("id", "")),
            first_lba=int(raw.get("firstlba", 0)),
            last_lba=int(raw.get("lastlba", 0)),
            length=length if raw["label"] == "gpt" else 4,
        ),
        sector_size=int(raw.get("sectorsize") or 0),
        partitions=tuple(_partition(row, disk) for row in rows),
        nodes=tuple(str(row.get("node", "")) for row in rows),
    )


def _partition(row: Mapping[str, Any], disk: str) -> SurveyedPartition:
    digits = re.fullmatch(r"p?(\d+)", str(row["node"]).removeprefix(disk))
    number = digits.group(1) if digits else re.sub(r".*?(\d+)$", r"\1", str(row["node"]))
    return SurveyedPartition(
        number=int(number),
        start=int(row["start"]),
        size=int(row["size"]),
        type=str(row.get("type", "")),
        uuid=str(row.get("uuid", "")).upper(),
        name=str(row.get("name", "")),
        attributes=str(row.get("attrs", "")),
    )


def _from_dump(dump: str) -> dict[str, Any]:
    """The dump in the keys of the JSON, for versions of sfdisk whose JSON is missing or broken by a name."""
    raw: dict[str, Any] = {"partitions": []}
    for line in dump.split("\n"):
        row = _ROW.match(line)
        if row is not None:
            raw["partitions"].append({"node": row.group(1), **_fields(row.group(2))})
            continue
        key, colon, value = line.partition(": ")
        if colon:
            raw["id" if key == "label-id" else key.replace("-lba", "lba").replace("-size", "size")] = value.strip()
    return raw


def _fields(text: str) -> dict[str, str]:
    return {key: _plain(value) for key, value in _FIELD.findall(text)}


def _plain(value: str) -> str:
    """A value without its quotes; sfdisk writes what is not plain ASCII as the bytes of UTF-8, `\\xc3`."""
    unescaped = _ESCAPE.sub(lambda match: bytes([int(match.group(1), 16)]), value.strip('"').encode())
    return unescaped.decode("utf-8", "replace")


def _header(capture: Capture, disk: str) -> bytes:
    """The bytes of the first GPT header; empty if it was not read or is damaged."""
    header = octets(capture.text("header", disk))
    return header if header.startswith(b"EFI PART") else b""


# --- whether it was read at all ------------------------------------------------------------------------------------


def doubts(capture: Capture, disk: str, read: ReadTable | None, known: Sequence[str]) -> tuple[str, ...]:
    """Sentences why the disk must not be taken for one without partitions, though none was read; `known` are the
    nodes of those the kernel knows. Empty if it may be, or if partitions were read."""
    if read is not None and read.partitions:
        return ()
    return tuple(_doubts(capture, disk, read, known))


def _doubts(capture: Capture, disk: str, read: ReadTable | None, known: Sequence[str]) -> Iterator[str]:
    if known:
        yield f"The live system knows partitions ({', '.join(known)}), but none was read from the partition table."
    if ("signature", disk) not in capture.sections:
        yield "What lies on the disk as a whole was not read, or is of more than one kind."
    if read is not None:
        return
    if ("table-none", disk) not in capture.sections:
        yield "The partition table was not read: nobody knows whether there is one."
    kind = capture.facts("signature", disk).get("PTTYPE", "")
    if kind or _header(capture, disk) or ("table", disk) in capture.sections:
        yield f"There are traces of a partition table ({kind or 'gpt'}) that could not be read: it is damaged or odd."


# --- faults ------------------------------------------------------------------------------------------------------


def faults(capture: Capture, disk: SurveyedDisk, read: ReadTable) -> tuple[str, ...]:
    """Sentences about a table that should not be written to before it is put right."""
    if read.table.label != "gpt":
        return (f"The partition table is of the kind {read.table.label}, not gpt: a UEFI installation needs gpt.",)
    return (
        *_header_faults(capture, disk),
        *_content_faults(disk),
        *_record_faults(octets(capture.text("records", disk.path))),
        *_row_faults(read),
    )


def _header_faults(capture: Capture, disk: SurveyedDisk) -> Iterator[str]:
    if not octets(capture.text("header", disk.path)):
        return
    header = _header(capture, disk.path)
    sectors = disk.size_bytes // disk.sector_size
    if not header:
        yield "The first GPT header is damaged; only the copy at the end of the disk was read."
        return
    alternate = int.from_bytes(header[32:40], "little")
    if sectors and alternate != sectors - 1:
        found = f"The backup GPT header lies at sector {alternate}, not at the last sector {sectors - 1} of the disk"
        reserved = list(storage_layers.around(disk))
        if reserved:
            owners = ", ".join(f"{layer.description} ({name})" for name, layer in reserved)
            yield f"{found}: the room behind it belongs to what the disk is, {owners}. Nothing may be moved there."
        elif _end_is_blank(capture, disk, alternate):
            yield (
                f"{found}, and nothing lies behind it: the disk was enlarged or copied. Move it there with a step of"
                " its own (sgdisk -e) before planning."
            )
        else:
            yield (
                f"{found}, and nobody knows what lies behind it: the record of an array, or what an older use left."
                " Nothing may be moved there before that is known."
            )


def _end_is_blank(capture: Capture, disk: SurveyedDisk, alternate: int) -> bool:
    """Whether the survey looked at the disk's end and at all signatures, and found nothing behind the backup header."""
    if ("tail", disk.path) not in capture.sections or capture.data("signatures", disk.path) is None:
        return False
    blocks = disk.sector_size // 512
    behind = disk.size_bytes // 512 - (alternate + 1) * blocks
    used = [int(line) for line in capture.text("tail", disk.path).split() if line.isascii() and line.isdigit()]
    return not disk.signatures and not any(block <= behind for block in used)


def _content_faults(disk: SurveyedDisk) -> Iterator[str]:
    """Of what lies on a disk besides a table, nobody knows how much of the disk it owns."""
    for name in storage_layers.contents(disk):
        layer = storage_layers.of_signature(name)
        what = f"{layer.description} ({name})" if layer else f"also {name}"
        yield f"The disk as a whole is {what}: what looks like free room may belong to that."


def _record_faults(sector: bytes) -> Iterator[str]:
    """`sector` is the first sector from byte 446 on: four records of 16 bytes, boot flag first, type fifth."""
    if len(sector) < 64:
        return
    records = [sector[at : at + 16] for at in range(0, 64, 16)]
    used = [record for record in records if record[4] != 0]
    if len(used) > 1 or not any(record[4] == _PROTECTIVE for record in used):
        kinds = ", ".join(f"{record[4]:02x}" for record in used) or "none"
        yield f"The protective MBR is a hybrid one or damaged (record types: {kinds}; one record ee is right)."
    if any(record[0] & 0x80 for record in used):
        yield "The protective MBR carries a boot flag: some firmware then ignores the boot entries of this disk."


def _row_faults(read: ReadTable) -> Iterator[str]:
    for layer in dict.fromkeys(storage_layers.OWN_TABLE.values()):
        rows = [
            str(part.number) for part in read.partitions if storage_layers.OWN_TABLE.get(part.type.upper()) == layer
        ]
        if rows:
            yield f"The disk is {layer.description} (partition {', '.join(rows)}): a change of its table can break it."
    ordered = sorted(read.partitions, key=lambda part: part.start)
    for before, after in itertools.pairwise(ordered):
        if after.start <= before.end:
            yield f"Partitions {before.number} and {after.number} overlap."
    for part in read.partitions:
        if part.start < read.table.first_lba or part.end > read.table.last_lba:
            yield f"Partition {part.number} reaches outside the table's usable sectors."
