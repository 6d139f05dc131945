"""Block devices as lsblk lists them. Enters: `lsblk --json`. Leaves: one row per device, by node.

Column names: lsblk(8), util-linux; older versions write `mountpoint` where newer ones write `mountpoints`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

Row = Mapping[str, Any]


def rows(data: object) -> dict[str, Row]:
    """Every device in lsblk's tree, by node (`/dev/sda1`), outermost first."""
    listed = data.get("blockdevices") if isinstance(data, dict) else None
    return {node(row): row for row in _walk(listed)}


def _walk(listed: object) -> Iterator[Row]:
    for row in listed if isinstance(listed, list) else ():
        if isinstance(row, dict) and row.get("name"):
            yield row
            yield from _walk(row.get("children"))


def node(row: Row) -> str:
    """The device's node: `path` where lsblk tells it, else made from its name."""
    name = str(row.get("path") or row["name"])
    if name.startswith("/"):
        return name
    return f"/dev/mapper/{name}" if row.get("type") in ("crypt", "lvm", "dm") else f"/dev/{name}"


def mount_points(row: Row) -> tuple[str, ...]:
    """Where the device is mounted; `[SWAP]` for swap in use."""
    told = row.get("mountpoints") or [row.get("mountpoint")]
    return tuple(str(point) for point in told if point)


def partitions(listed: Mapping[str, Row], disk: str) -> tuple[str, ...]:
    """Nodes of the partitions that the kernel knows on the disk at the node `disk`."""
    children = listed.get(disk, {}).get("children")
    rows = children if isinstance(children, list) else ()
    return tuple(node(row) for row in rows if isinstance(row, dict) and row.get("name") and row.get("type") == "part")


def holders(row: Row) -> tuple[str, ...]:
    """Names of the devices right on top of it that are not partitions of it."""
    children = row.get("children")
    names = (
        str(child["name"]).removeprefix("/dev/mapper/")
        for child in (children if isinstance(children, list) else ())
        if isinstance(child, dict) and child.get("name") and child.get("type") != "part"
    )
    return tuple(names)
