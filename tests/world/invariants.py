"""What no run may break, seen from outside: bytes of the images, tables, files, boot entries, before and after.

Enters: a machine before and after a run, the plan, and how it ended. Leaves: sentences about what is broken.
"""

from __future__ import annotations

import itertools
import json
import os
import re
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path

from attrs import field, frozen

from world.machine import SECTOR, World
from world.plans import CANARIES, Plan
from world.running import Ran
from world.signatures import order

BLOCK = 65536
_ZEROS = bytes(BLOCK)
PLACE = "d=$(mktemp -d $WORLD/look.XXXXXX)"
STICKS = {"stick": 1 << 20, "guest": 0}
"""Where the file system of what can be the second stick begins."""
USERS_FILE, USERS_TEXT = "years.dat", "years of readings, the only copy\n" * 100


@frozen(kw_only=True)
class State:
    """A machine seen from outside. Blocks are numbered in 64 KiB; those that hold nothing are left out."""

    blocks: Mapping[str, Mapping[int, int]]
    heads: Mapping[str, bytes]
    """First MiB and last MiB of each disk."""
    rows: Mapping[str, Mapping[str, Mapping[str, object]]]
    """Rows of each table by GUID, as sfdisk tells them."""
    esp: Mapping[str, int]
    """Files of the EFI system partition, by name in upper case."""
    sticks: Mapping[str, int]
    """Files of what can be the second stick."""
    entries: Mapping[str, bytes]
    order: tuple[int, ...]
    contents: Mapping[str, str] = field(factory=dict)
    """Type and UUID of what lies on each partition of ours, by GUID."""
    everything: Mapping[str, str] = field(factory=dict)
    """Place, type and content of every partition of the disk that is written to."""
    held: frozenset[str] = field(factory=frozenset)
    """Partition GUIDs of ours in which a person's file can be read."""


def look(world: World, plan: Plan) -> State:
    """The machine as it is."""
    images = sorted(world.folder.glob("*.img"))
    blocks, heads, rows = {}, {}, {}
    for image in images:
        name = image.stem
        blocks[name], heads[name] = _blocks(image)
        rows[name] = _rows(image)
    variables = world.folder / "firmware" / "efivars"
    return State(
        blocks=blocks,
        heads=heads,
        rows=rows,
        esp=_fat_files(world, plan.disk),
        sticks=_stick_files(world),
        entries={path.name[:8]: path.read_bytes() for path in variables.glob("Boot[0-9A-F]*-*")},
        order=tuple(order(variables)),
        held=frozenset(_held(world, plan)),
        contents=_contents(world, plan),
        everything=_everything(world, plan, rows) if plan.erases else {},
    )


def _blocks(image: Path) -> tuple[dict[int, int], bytes]:
    found: dict[int, int] = {}
    handle = os.open(image, os.O_RDONLY)
    try:
        size, at = os.fstat(handle).st_size, 0
        while at < size:
            try:
                data = os.lseek(handle, at, os.SEEK_DATA)
            except OSError:
                break
            at = -(-os.lseek(handle, data, os.SEEK_HOLE) // BLOCK) * BLOCK
            for offset in range(data // BLOCK * BLOCK, min(at, size), BLOCK):
                chunk = os.pread(handle, BLOCK, offset)
                if chunk != _ZEROS[: len(chunk)]:
                    found[offset // BLOCK] = hash(chunk)
        head = os.pread(handle, 1 << 20, 0) + os.pread(handle, 1 << 20, size - (1 << 20))
    finally:
        os.close(handle)
    return found, head


def _rows(image: Path) -> dict[str, dict[str, object]]:
    ran = subprocess.run(["sfdisk", "--json", image], capture_output=True, text=True, check=False)
    if ran.returncode != 0:
        return {}
    table = json.loads(ran.stdout)["partitiontable"]
    return {
        str(row.get("uuid", row["node"])): {key: value for key, value in row.items() if key != "node"}
        for row in table.get("partitions", ())
    }


def _fat_files(world: World, disk: str) -> dict[str, int]:
    copied = f'MTOOLS_SKIP_CHECK=1 mcopy -s -n -i "$WORLD/{disk}.img@@1M" "::*" "$d"'
    return _files_below(world.shell(f"{PLACE} && {copied} 2>/dev/null; echo $d").stdout.strip(), True)


def _stick_files(world: World) -> dict[str, int]:
    copied = [
        f'mkdir "$d/{name}" && debugfs -R "rdump / $d/{name}" "$WORLD/{name}.img?offset={at}" >/dev/null 2>&1'
        for name, at in STICKS.items()
        if world.image(name).exists()
    ]
    text = "\n".join((PLACE, *copied, "echo $d"))
    return _files_below(world.shell(text).stdout.strip(), False)


def _contents(world: World, plan: Plan) -> dict[str, str]:
    lines = [
        f"echo @{guid}; blkid -p -o export $(readlink -f $WORLD/dev-disk/by-partuuid/{guid.lower()})"
        for guid in plan.ours
    ]
    told = world.shell("\n".join(lines)).stdout.split("@")[1:]
    return {one[:36]: " ".join(re.findall(r"^(?:TYPE|UUID)=(.*)$", one, re.MULTILINE)) for one in told}


def _everything(world: World, plan: Plan, rows: Mapping[str, Mapping[str, Mapping[str, object]]]) -> dict[str, str]:
    found = {}
    for guid, row in rows.get(plan.disk, {}).items():
        at, size = int(str(row["start"])) * SECTOR, int(str(row["size"])) * SECTOR
        told = world.shell(f"blkid -p -O {at} -S {size} -o export $WORLD/{plan.disk}.img").stdout
        content = dict(re.findall(r"^(TYPE|UUID)=(.*)$", told, re.MULTILINE))
        found[guid] = f"{row['start']} {row['size']} {row['type']} {content.get('TYPE', '')} {content.get('UUID', '')}"
    return found


def _files_below(folder: str, upper: bool) -> dict[str, int]:
    found = {}
    for path in sorted(Path(folder).rglob("*")):
        if path.is_file():
            name = str(path.relative_to(folder))
            found[name.upper() if upper else name] = hash(path.read_bytes())
    subprocess.run(["rm", "-rf", folder], check=True)
    return found


def use(world: World, plan: Plan) -> None:
    """People use what has been installed: a file that no script writes again."""
    for part in plan.layout.partitions:
        if part.new and part.mount in CANARIES:
            ran = world.shell(
                f"node=$(readlink -f $WORLD/dev-disk/by-partuuid/{part.uuid.lower()})\n"
                f"unshare --mount sh -c 'mount '$node' /mnt && cat >/mnt/{USERS_FILE}' <<'E'\n{USERS_TEXT}E\n"
            )
            assert ran.returncode == 0, ran.stderr


def _held(world: World, plan: Plan) -> Iterator[str]:
    """Nothing is replayed for the look (ext4(5) noload, xfs(5) norecovery)."""
    if plan.disk not in world.disks:
        return
    lines = []
    for part in plan.layout.partitions:
        if not part.new or part.mount not in CANARIES:
            continue
        options = {"ext4": "noload", "xfs": "norecovery"}.get(part.filesystem, "rescue=nologreplay")
        lines.append(
            f"node=$(readlink -f $WORLD/dev-disk/by-partuuid/{part.uuid.lower()}) && [ -b $node ] && "
            f"mount -o ro,{options} $node /mnt && cat /mnt/{USERS_FILE} && echo @{part.uuid}"
        )
    (world.folder / "held.sh").write_text("\n".join((*lines, "")))
    told = world.shell("unshare --mount dash $WORLD/held.sh 2>/dev/null").stdout.split("@")
    for text, rest in itertools.pairwise(told):
        if text.endswith(USERS_TEXT):
            yield rest[:36]


# --- before and after ------------------------------------------------------------------------------------------------


def broken(
    before: State, after: State, plan: Plan, ran: Ran, undo: bool, world: World, finished: set[str]
) -> Iterator[str]:
    """What the run has broken. `finished`: partitions of ours that have held a file once."""
    if ran.refused:
        yield from _untouched(before, after)
        return
    yield from _outside(before, after, plan)
    yield from _foreign_rows(before, after, plan)
    yield from _foreign_files(before, after, plan)
    yield from _boot_entries(before, after, plan)
    if undo:
        yield from _only_ours(before, after, plan, finished)
    else:
        yield from _not_formatted(before, after, plan, finished)
    if ran.done and not undo:
        yield from _as_planned(after, plan, world)


def _untouched(before: State, after: State) -> Iterator[str]:
    for name, blocks in before.blocks.items():
        changed = _changed(blocks, after.blocks.get(name, {}))
        if changed:
            yield f"refused, and yet {len(changed)} blocks of {name} changed, the first at MiB {changed[0] / 16:.2f}"
    if (before.entries, before.order) != (after.entries, after.order):
        yield "refused, and yet the firmware's variables changed"


def _changed(one: Mapping[int, int], two: Mapping[int, int]) -> list[int]:
    return sorted(number for number in one.keys() | two.keys() if one.get(number) != two.get(number))


def _outside(before: State, after: State, plan: Plan) -> Iterator[str]:
    """Every byte outside what is made: kept partitions, gaps, other disks."""
    ours = [(start * SECTOR // BLOCK, end * SECTOR // BLOCK) for start, end in plan.ours.values()]
    ours += [
        (part.start * SECTOR // BLOCK, part.end * SECTOR // BLOCK)
        for part in plan.layout.partitions
        if part.role == "esp" and not part.new
    ]
    for name, blocks in before.blocks.items():
        if name in STICKS or (name == plan.disk and _erasing(before, plan)):
            continue
        last = plan.layout.size_bytes // BLOCK - 1 if name == plan.disk else -1
        first = 16 if name == plan.disk else 0
        for number in _changed(blocks, after.blocks.get(name, {})):
            if name == plan.disk and (number < first or number == last):
                continue
            if name == plan.disk and any(low <= number <= high for low, high in ours):
                continue
            yield f"bytes outside the plan changed: {name}, MiB {number / 16:.2f}"
            break
    if _erasing(before, plan):
        return
    head, tail = before.heads[plan.disk], after.heads[plan.disk]
    for low, high, what in (
        (0, 440, "boot code"),
        (34 * SECTOR, 1 << 20, "the gap before the first partition"),
        (1 << 20, (2 << 20) - 33 * SECTOR, "the last MiB before the second table"),
    ):
        if head[low:high] != tail[low:high]:
            yield f"bytes outside the plan changed: {what}"


def _erasing(before: State, plan: Plan) -> bool:
    """Is there still what a confirmed plan erases?"""
    return plan.erases and not plan.ours.keys() & before.rows[plan.disk].keys()


def _foreign_rows(before: State, after: State, plan: Plan) -> Iterator[str]:
    for name, rows in before.rows.items():
        for guid, row in rows.items():
            if name == plan.disk and guid in plan.ours:
                continue
            if name == plan.disk and _erasing(before, plan) and guid not in after.rows[name]:
                if before.everything.get(guid) != plan.seen.get(guid):
                    yield f"what the survey did not see was erased: {guid} held {before.everything.get(guid)}"
                continue
            if after.rows[name].get(guid) != row:
                yield f"a foreign row changed: {name}, {guid}: {row} became {after.rows[name].get(guid)}"
        for guid in after.rows[name].keys() - rows.keys():
            if name != plan.disk or guid not in plan.ours:
                yield f"a row that nobody planned has come: {name}, {guid}"


def _foreign_files(before: State, after: State, plan: Plan) -> Iterator[str]:
    own = f"EFI/{plan.loader}/".upper()
    for name, digest in before.esp.items():
        if not name.startswith(own) and after.esp.get(name) != digest:
            yield f"a foreign file of the EFI system partition changed: {name}"
    for name in after.esp.keys() - before.esp.keys():
        if not name.startswith(own):
            yield f"a file that nobody planned is on the EFI system partition: {name}"
    for name, digest in before.sticks.items():
        if after.sticks.get(name) != digest:
            yield f"a file of a stick changed: {name}"
    for name in after.sticks.keys() - before.sticks.keys():
        if "/bedplate-" not in name:
            yield f"a file that nobody planned is on a stick: {name}"


def _boot_entries(before: State, after: State, plan: Plan) -> Iterator[str]:
    own = f"\\EFI\\{plan.loader}\\".encode("utf-16-le").lower()
    foreign = {name for name, content in before.entries.items() if own not in content.lower()}
    for name in foreign:
        if after.entries.get(name) != before.entries[name]:
            yield f"a foreign boot entry changed: {name}"
    then = [number for number in before.order if f"Boot{number:04X}" in foreign]
    if [number for number in after.order if number in then] != then:
        yield f"the order of the others was {then}, now it is {list(after.order)}"


def _not_formatted(before: State, after: State, plan: Plan, finished: set[str]) -> Iterator[str]:
    for guid in sorted(before.held - after.held):
        yield f"a file was lost: {guid} held readings before, and does not now"
    for guid in sorted(finished - before.held):
        start, end = plan.ours.get(guid, (0, -1))
        low, high = start * SECTOR // BLOCK, end * SECTOR // BLOCK
        blocks = _changed(before.blocks[plan.disk], after.blocks[plan.disk])
        changed = [number for number in blocks if low <= number <= high]
        if changed:
            yield f"a finished partition that nobody can read was written to: {guid}, MiB {changed[0] / 16:.2f}"


def _only_ours(before: State, after: State, plan: Plan, finished: set[str]) -> Iterator[str]:
    """What has been finished, and holds something else now, is not taken back: neither its row nor its bytes."""
    for part in plan.layout.partitions:
        there = part.new and part.uuid in before.rows[plan.disk] and part.uuid in finished
        planned = {f"{part.fs_uuid} {part.filesystem}", f"{part.filesystem} {part.fs_uuid}"}
        if there and before.contents[part.uuid] not in planned and part.uuid not in after.rows[plan.disk]:
            yield f"undo took what is not ours: {part.name} held '{before.contents[part.uuid]}'"


def _as_planned(after: State, plan: Plan, world: World) -> Iterator[str]:
    rows = after.rows[plan.disk]
    for part in plan.layout.partitions:
        if not part.new:
            continue
        row = rows.get(part.uuid)
        wanted = {"start": part.start, "size": part.size, "type": part.type, "name": part.gpt_name}
        if row is None or any(row.get(key) != value for key, value in wanted.items() if value != ""):
            yield f"done, and yet the row of {part.name} is {row}, not {wanted}"
            continue
        node = world.shell(f"readlink -f $WORLD/dev-disk/by-partuuid/{part.uuid.lower()}").stdout.strip()
        told = world.shell(f"blkid -p -o export {node}").stdout
        found = dict(re.findall(r"^(TYPE|UUID|LABEL)=(.*)$", told, re.MULTILINE))
        planned = {"TYPE": part.filesystem, "UUID": part.fs_uuid, "LABEL": part.fs_label}
        if any(found.get(key, "") != value for key, value in planned.items()):
            yield f"done, and yet {part.name} holds {found}, not {planned}"
    if f"EFI/{plan.loader}/grubx64.efi".upper() not in after.esp:
        yield "done, and yet our loader is missing"
