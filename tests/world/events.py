"""What happens to a machine while nobody's script runs: each event changes it for real, and says which words name it.

A refusal has to name what happened: `words` is what has to be found in it, as a regular expression. An event that does
not apply (there is nothing of ours yet, the disk is away) does nothing and is not counted.
"""

from __future__ import annotations

import re
import shutil
import struct
from collections.abc import Callable
from random import Random

from attrs import frozen

from world import signatures
from world.machine import LINUX, MAIN, MIB, OTHER, SECTOR, World, write_at
from world.plans import Plan

Apply = Callable[[World, Plan, Random], bool]


@frozen(kw_only=True)
class Event:
    """One thing that can happen."""

    name: str
    words: str
    apply: Apply


EVENTS: dict[str, Event] = {}


def event(words: str) -> Callable[[Apply], Apply]:
    """Add a function as an event of the same name."""

    def add(function: Apply) -> Apply:
        name = function.__name__.replace("_", "-")
        EVENTS[name] = Event(name=name, words=words, apply=function)
        return function

    return add


def _node(world: World, plan: Plan, name: str) -> str:
    """The node of a partition of the plan, empty where there is none."""
    guid = next((part.uuid for part in plan.layout.partitions if part.name == name), "")
    if "main" not in world.disks or not guid:
        return ""
    node = world.shell(f"readlink -f $WORLD/dev-disk/by-partuuid/{guid.lower()}").stdout.strip()
    return node if node.startswith(world.disks["main"] + "p") else ""


def _sfdisk(world: World, disk: str, *options: str, text: str = "") -> bool:
    if disk not in world.disks:
        return False
    words = " ".join(f"'{word}'" for word in options)
    ran = world.shell(f"sfdisk -q --no-reread --no-tell-kernel {words} {world.disks[disk]} <<'E'\n{text}\nE")
    world.settle()
    return ran.returncode == 0


def _number(node: str) -> str:
    return node.rpartition("p")[2]


# --- partitions ------------------------------------------------------------------------------------------------------


@event("label|kelp-root")
def relabel_ours(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, "root")
    return bool(node) and world.shell(f"e2label {node} renamed-{random.randrange(100)}").returncode == 0


@event("label")
def relabel_kept(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, "heron")
    return bool(node) and world.shell(f"e2label {node} heron-{random.randrange(100)}").returncode == 0


@event("start .*size|at most|size")
def resize_kept(world: World, plan: Plan, random: Random) -> bool:
    name, size = random.choice((("heron", 1040384), ("recovery", 260096), ("factory", 2088960), ("vault", 129024)))
    node = _node(world, plan, name)
    return bool(node) and _sfdisk(world, "main", "-N", _number(node), text=f"size={size}")


@event("start .*size|size|inside")
def resize_ours(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, random.choice(("swap", "root", "home")))
    return bool(node) and _sfdisk(world, "main", "-N", _number(node), text="size=262144")


@event("no partition|is gone|missing")
def delete_kept(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, random.choice(("heron", "recovery", "group", "reserved")))
    return bool(node) and _sfdisk(world, "main", "--delete", _number(node)) or False


@event("no partition|is gone|holds")
def delete_ours(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, random.choice(("swap", "root", "home")))
    if not node:
        return False
    words = f"sfdisk -q --no-reread --no-tell-kernel --delete {world.disks['main']} {_number(node)}"
    done = world.shell(words).returncode == 0
    world.settle()
    return done


@event("nobody knew of the partition|inside the planned")
def add_partition(world: World, plan: Plan, random: Random) -> bool:
    start = random.choice((3778560, 12691456, 40000000))
    done = _sfdisk(world, "main", "--append", text=f"start={start}, size=204800, type={LINUX}")
    if done:
        world.shell(f"for n in {world.disks['main']}p*; do [ \"$(cat /sys/class/block/${{n#/dev/}}/start)\" != {start} ] || "
                    "mkfs.ext4 -q -F -L stranger $n; done")  # fmt: skip
    return done


@event("number|no partition|start")
def renumber(world: World, plan: Plan, random: Random) -> bool:
    return _sfdisk(world, "main", "--reorder")


@event("no partition|nobody knew")
def new_guid(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, random.choice(("heron", "recovery", "esp")))
    return bool(node) and _sfdisk(world, "main", "--part-uuid", _number(node), "ABABABAB-2222-4333-8444-555555555555")


@event("label-id|table")
def new_table_id(world: World, plan: Plan, random: Random) -> bool:
    return _sfdisk(world, "main", "--disk-id", "EDEDEDED-2222-4333-8444-555555555555")


@event("corrupt|header")
def second_table_lost(world: World, plan: Plan, random: Random) -> bool:
    image = world.image("main")
    write_at(image, image.stat().st_size - SECTOR, bytes(SECTOR))
    world.settle()
    return True


# --- disks -----------------------------------------------------------------------------------------------------------


def _copied(world: World, name: str, serial: str) -> bool:
    if name in world.facts or "main" not in world.disks:
        return False
    world.shell(f"cp --sparse=always {world.image('main')} {world.image(name)}")
    world.facts[name] = {**MAIN.facts, "SERIAL": serial}
    world.plug(name)
    return True


@event("twice|two |same|clone|both")
def plug_clone(world: World, plan: Plan, random: Random) -> bool:
    return _copied(world, "clone", "SM-USB-0777")


@event("two disks have this identity|twice|same")
def plug_clone_with_serial(world: World, plan: Plan, random: Random) -> bool:
    return _copied(world, "clone", "SM-NVME-0217")


@event("disk")
def plug_another(world: World, plan: Plan, random: Random) -> bool:
    if "guest" in world.facts:
        return False
    with world.image("guest").open("wb") as file:
        file.truncate(random.choice((64 * MIB, MAIN.mib * MIB)))
    world.facts["guest"] = {"SERIAL": "SM-USB-0888", "MODEL": "Guest", "TRAN": "usb", "RM": "1", "HOTPLUG": "1"}
    world.plug("guest")
    return world.shell(f"mkfs.ext4 -q -F -L guest {world.disks['guest']}").returncode == 0


def _pulled(world: World, disk: str) -> bool:
    if disk not in world.disks:
        return False
    world.pull(disk)
    return True


@event("no disk has this identity|not found")
def pull_main(world: World, plan: Plan, random: Random) -> bool:
    return _pulled(world, "main")


@event("disk")
def pull_other(world: World, plan: Plan, random: Random) -> bool:
    return _pulled(world, "other")


@event("stick|copies")
def pull_stick(world: World, plan: Plan, random: Random) -> bool:
    return _pulled(world, "stick")


@event("disk|identity")
def swap_disks(world: World, plan: Plan, random: Random) -> bool:
    there = [disk.name for disk in (MAIN, OTHER) if disk.name in world.disks]
    for disk in there:
        world.pull(disk)
    for disk in reversed(there):
        world.plug(disk)
    return len(there) == 2


@event("identity|serial")
def serial_by_dock(world: World, plan: Plan, random: Random) -> bool:
    world.facts["main"]["SERIAL"] = "0123456789ABCDEF"
    world.settle()
    return True


# --- the EFI system partition, kept systems ----------------------------------------------------------------------------


@event("dirty|not unmounted|cleanly|fault")
def esp_dirty(world: World, plan: Plan, random: Random) -> bool:
    at = MIB + signatures.FAT_DIRTY_AT
    with world.image("main").open("rb") as file:
        file.seek(at)
        old = file.read(1)[0]
    write_at(world.image("main"), at, bytes([old | 1]))
    world.settle()
    return True


def _fat_at(world: World) -> tuple[int, int]:
    """Offset and length of the first FAT (Microsoft's FAT32 specification 1.03, BPB)."""
    with world.image("main").open("rb") as file:
        file.seek(MIB)
        boot = file.read(512)
    each, reserved = struct.unpack_from("<H", boot, 11)[0], struct.unpack_from("<H", boot, 14)[0]
    return MIB + reserved * each, struct.unpack_from("<I", boot, 36)[0] * each


@event("fault|damage|fsck|check|differ|cluster|changed|FAT")
def esp_corrupt(world: World, plan: Plan, random: Random) -> bool:
    """Chains that run into one another, in both copies of the FAT; with the dirty bit, half of the time."""
    start, length = _fat_at(world)
    with world.image("main").open("rb") as file:
        file.seek(start)
        table = bytearray(file.read(2048))
    used = [number for number in range(3, 400) if struct.unpack_from("<I", table, 4 * number)[0] == number + 1]
    if len(used) < 60:
        return False
    for number in used[20:22]:
        struct.pack_into("<I", table, 4 * number, used[0])
    for place in (start, start + length):
        write_at(world.image("main"), place, bytes(table))
    if random.random() < 0.5:
        esp_dirty(world, plan, random)
    world.settle()
    return True


@event("room|KiB left")
def esp_full(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, "esp")
    world.shell(f"head -c 104000000 /dev/zero | tr '\\0' x >$WORLD/fill; mcopy -o -i {node} $WORLD/fill ::EFI/factory/fill; "
                "rm $WORLD/fill")  # fmt: skip
    return bool(node)


@event("exists already|holds|belong|there")
def esp_stranger(world: World, plan: Plan, random: Random) -> bool:
    """Somebody else's loader in the folder that is to be ours."""
    node = _node(world, plan, "esp")
    if not node or world.shell(f"mdir -b -i {node} ::EFI/{plan.loader}").returncode == 0:
        return False
    world.shell(f"mmd -i {node} ::EFI/{plan.loader}; echo stranger >$WORLD/s; mcopy -i {node} $WORLD/s ::EFI/{plan.loader}/x.efi")
    return True


@event("hibernat|fast start")
def hibernate_factory(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, "factory")
    text = f"printf HIBR >$WORLD/h; head -c 4092 /dev/zero >>$WORLD/h; ntfscp -f {node} $WORLD/h hiberfil.sys"
    return bool(node) and world.shell(text).returncode == 0


@event("hibernat|asleep|suspend|swsuspend")
def hibernate_heron(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, "heron-swap")
    if node:
        write_at(node, signatures.SWAP_MARK_AT, signatures.SWAP_ASLEEP)
        world.settle()
    return bool(node)


@event("journal|recover|not unmounted|cleanly|unclean")
def crash_heron(world: World, plan: Plan, random: Random) -> bool:
    """`needs_recovery` among the features (ext4's incompatible feature 0x4), as after a crash."""
    node = _node(world, plan, "heron")
    return bool(node) and world.shell(f"debugfs -w -R 'feature needs_recovery' {node}").returncode == 0


@event("raid|array|member|ambiv|more than one|several|8")
def append_raid_record(world: World, plan: Plan, random: Random) -> bool:
    """A record of version 1.0, eight to twelve KiB before the end, on a kept partition or one of ours."""
    node = _node(world, plan, random.choice(("heron", "recovery", "home", "root")))
    if not node:
        return False
    sectors = int(world.shell(f"cat /sys/class/block/{node.removeprefix('/dev/')}/size").stdout)
    at = ((sectors - 16) & ~7) * SECTOR
    write_at(node, at, signatures.raid_record(sectors - 32, at // SECTOR, "mirror"))
    world.settle()
    return True


@event("holds|nothing|finished|super|signature|type|not read")
def zero_superblock_ours(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, random.choice(("root", "home")))
    if node:
        write_at(node, 0, bytes(4096))
        world.settle()
    return bool(node)


@event("holds|nothing|super|signature|type|volume|sectors")
def zero_superblock_kept(world: World, plan: Plan, random: Random) -> bool:
    node = _node(world, plan, random.choice(("heron", "factory", "vault")))
    if node:
        write_at(node, 0, bytes(4096))
        world.settle()
    return bool(node)


@event("holds|type|UUID|strange|in use")
def format_ours(world: World, plan: Plan, random: Random) -> bool:
    """Somebody else uses a partition that was ours."""
    node = _node(world, plan, random.choice(("home", "root")))
    return bool(node) and world.shell(f"mkfs.ext4 -q -F -L photos {node}").returncode == 0


# --- firmware, clock ---------------------------------------------------------------------------------------------------


@event("boot entr|boot order|entry")
def entry_added(world: World, plan: Plan, random: Random) -> bool:
    folder = world.folder / "firmware" / "efivars"
    guid = MAIN.parts[0].guid
    signatures.put_entry(folder, 7, signatures.load_option("Guest", guid, r"\EFI\guest\start.efi"))
    order = [number for number in signatures.order(folder) if number != 7]
    signatures.put_order(folder, 7, *order)
    return True


@event("boot entr|boot order|entry|entries")
def entry_of_ours_deleted(world: World, plan: Plan, random: Random) -> bool:
    folder = world.folder / "firmware" / "efivars"
    own = f"\\EFI\\{plan.loader}\\".encode("utf-16-le")
    for path in folder.glob("Boot0*-*"):
        if own in path.read_bytes():
            number = int(path.name[4:8], 16)
            path.unlink()
            signatures.put_order(folder, *(one for one in signatures.order(folder) if one != number))
            return True
    return False


@event("boot entr|boot order|entry|entries")
def order_changed(world: World, plan: Plan, random: Random) -> bool:
    folder = world.folder / "firmware" / "efivars"
    order = signatures.order(folder)
    signatures.put_order(folder, *reversed(order))
    return len(order) > 1


@event("boot entr|boot order|entry|entries")
def entry_changed(world: World, plan: Plan, random: Random) -> bool:
    folder = world.folder / "firmware" / "efivars"
    guid = MAIN.parts[0].guid
    option = signatures.load_option("heron", guid, r"\EFI\heron\shimx64.efi")
    signatures.put_entry(folder, 3, option)
    return True


@event("clock|date|time")
def clock_changed(world: World, plan: Plan, random: Random) -> bool:
    (world.folder / "clock").write_text(f"{random.choice((-4000, 4000))}\n")
    return True


@event("medium|copies|saved|stick")
def medium_restarted(world: World, plan: Plan, random: Random) -> bool:
    """A live medium forgets."""
    shutil.rmtree(world.folder / "medium", ignore_errors=True)
    return True


def named(name: str, text: str) -> bool:
    """Does the text name the event?"""
    return re.search(EVENTS[name].words, text, re.IGNORECASE) is not None


