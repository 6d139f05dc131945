"""Identity is computed, not discovered: UUIDs derived from the machine, the disk and a label.

RFC 9562, section 5.5 (version 5, SHA-1, name-based). Enters: names. Leaves: UUID text in lower case.
"""

from __future__ import annotations

import uuid

NAMESPACE = uuid.UUID("3f0c5f0a-6f0e-5a52-8d0b-1f6d7a1c9e55")
"""The name space of every UUID derived here. Never change it: installed machines would lose their identity."""


def derive(machine: str, generation: int, disk: str, purpose: str, label: str) -> str:
    """A UUID for `purpose` (`partition`, `filesystem`, `disk`, ...) named `label` on `disk` (a serial) of `machine`."""
    name = "\n".join((machine, str(generation), disk, purpose, label))
    return str(uuid.uuid5(NAMESPACE, name))


def fat_volume_id(derived: str) -> str:
    """The 32-bit volume id of a FAT file system as blkid prints it (`2E24-EC82`), from a derived UUID."""
    digits = derived.replace("-", "")[:8].upper()
    return f"{digits[:4]}-{digits[4:]}"
