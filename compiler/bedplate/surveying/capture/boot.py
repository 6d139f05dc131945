"""Firmware: mode, Secure Boot, boot entries. Enters: sections firmware-*, variable *, variables-room, boot-entries.

Layout of variables in efivarfs: four bytes of attributes, then the value (Linux kernel,
Documentation/filesystems/efivarfs.rst). SecureBoot and SetupMode are one byte, 0 or 1: UEFI specification, table of
global variables.
"""

from __future__ import annotations

import re

from bedplate.survey import BootEntry, Firmware
from bedplate.surveying.capture.machine import one_line
from bedplate.surveying.capture.sections import Capture
from bedplate.units import KIB

_ENTRY = re.compile(r"Boot([0-9A-Fa-f]{4})([* ])[ ]?(.*)")
_DEVICE_PATH = re.compile(
    r" +(?=(?:Acpi|BBS|CDROM|eMMC|File|Fv|FvFile|HD|MAC|MemoryMapped|NVMe|PciRoot|Sata|Scsi|SD|Uri|USB|VenHw|VenMsg)\()"
)
"""Where a device path begins: node names of the UEFI specification, text device node reference, that begin paths."""
_PARTITION = re.compile(r"HD\(\d+,GPT,([0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12})\b")
_FILE_NODE = re.compile(r"/File\(([^)]*)\)")
_BARE_FILE = re.compile(r"\)/(\\.*?\.efi)", re.IGNORECASE)
_NUMBERS = re.compile(r"[0-9A-Fa-f]{4}")


def firmware(capture: Capture) -> Firmware:
    """The firmware's facts; what the capture does not tell stays at its default."""
    listing = capture.text("boot-entries")
    return Firmware(
        mode="bios" if capture.text("firmware-mode").strip() == "bios" else "uefi",
        bits=32 if capture.text("firmware-width").strip() == "32" else 64,
        secure_boot=_secure_boot(capture),
        sbat_level=_first_line(_value(capture, "SbatLevelRT")),
        variables_free_bytes=room(capture.text("variables-room"))[1],
        boot_current="".join(_numbers(listing, "BootCurrent")[:1]),
        boot_order=_numbers(listing, "BootOrder"),
        entries=boot_entries(listing),
    )


def boot_entries(listing: str) -> tuple[BootEntry, ...]:
    """The entries in the output of `efibootmgr -v`, old and new spelling, sorted by number."""
    found = (_entry(match) for match in map(_ENTRY.match, listing.split("\n")) if match is not None)
    return tuple(sorted(found, key=lambda entry: entry.number))


def room(listing: str) -> tuple[int | None, int | None]:
    """Used and free bytes from the output of `df -Pk`; None where it does not tell."""
    fields = listing.strip().split("\n")[-1].split()
    numbers = fields[1:4]
    if len(fields) < 6 or not all(number.isdigit() for number in numbers) or int(fields[1]) == 0:
        return None, None
    return int(fields[2]) * KIB, int(fields[3]) * KIB


def _entry(match: re.Match[str]) -> BootEntry:
    number, star, rest = match.groups()
    label, path = _label_and_path(rest)
    partition = _PARTITION.search(path)
    loader = _FILE_NODE.search(path) or _BARE_FILE.search(path)
    return BootEntry(
        number=number.upper(),
        label=one_line(label),
        active=star == "*",
        partition=partition.group(1).lower() if partition else "",
        loader=loader.group(1) if loader else "",
        path=path.strip(),
    )


def _label_and_path(rest: str) -> tuple[str, str]:
    """A tab parts label and device path; some versions print a blank, and without -v there is no path."""
    label, tab, path = rest.partition("\t")
    if tab:
        return label, path
    split = _DEVICE_PATH.search(rest)
    return (rest[: split.start()], rest[split.end() :]) if split else (rest, "")


def _numbers(listing: str, key: str) -> tuple[str, ...]:
    line = re.search(rf"^{key}: *(.*)$", listing, re.MULTILINE)
    return tuple(number.upper() for number in _NUMBERS.findall(line.group(1))) if line else ()


def _secure_boot(capture: Capture) -> str:
    if _value(capture, "SetupMode") == b"\x01":
        return "setup"
    return {b"\x01": "on", b"\x00": "off"}.get(_value(capture, "SecureBoot"), "unknown")


def _value(capture: Capture, name: str) -> bytes:
    """The value of a firmware variable, its attributes cut off."""
    return octets(capture.text("variable", name))[4:]


def octets(dump: str) -> bytes:
    """The bytes of a hexadecimal dump (`od -An -v -tx1`); empty if it is none."""
    try:
        return bytes.fromhex(dump)
    except ValueError:
        return b""


def _first_line(value: bytes) -> str:
    return one_line(value.decode("ascii", "replace").split("\n")[0].rstrip("\0"))
