"""What happens to the EFI system partition, to kept systems and ours, to firmware, clock and medium."""

from __future__ import annotations

import shutil
import struct
from random import Random

from world import signatures
from world.happening import event, node_of
from world.machine import MAIN, MIB, SECTOR, World, write_at
from world.plans import Plan


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
    node = node_of(world, plan, "esp")
    (world.folder / "s").write_bytes(b"x" * 104_000_000)
    world.shell(f"mcopy -o -i {node} $WORLD/s ::EFI/factory/s; rm $WORLD/s")
    return bool(node)


@event("exists already|holds|belong|there")
def esp_stranger(world: World, plan: Plan, random: Random) -> bool:
    """Somebody else's loader in the folder that is to be ours."""
    node = node_of(world, plan, "esp")
    if not node or world.shell(f"mdir -b -i {node} ::EFI/{plan.loader}").returncode == 0:
        return False
    folder = f"::EFI/{plan.loader}"
    (world.folder / "s").write_text("stranger\n")
    world.shell(f"mmd -i {node} {folder}; mcopy -i {node} $WORLD/s {folder}/x.efi; rm $WORLD/s")
    return True


@event("hibernat|fast start")
def hibernate_factory(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, "factory")
    text = f"printf HIBR >$WORLD/h; head -c 4092 /dev/zero >>$WORLD/h; ntfscp -f {node} $WORLD/h hiberfil.sys"
    return bool(node) and world.shell(text).returncode == 0


@event("hibernat|asleep|suspend|swsuspend")
def hibernate_heron(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, "heron-swap")
    if node:
        write_at(node, signatures.SWAP_MARK_AT, signatures.SWAP_ASLEEP)
        world.settle()
    return bool(node)


@event("journal|recover|not unmounted|cleanly|unclean")
def crash_heron(world: World, plan: Plan, random: Random) -> bool:
    """`needs_recovery` among the features (ext4's incompatible feature 0x4), as after a crash."""
    node = node_of(world, plan, "heron" if plan.disk == "main" else "retired")
    return bool(node) and world.shell(f"debugfs -w -R 'feature needs_recovery' {node}").returncode == 0


@event("raid|array|member|ambiv|more than one|several|8|what the spec erases")
def append_raid_record(world: World, plan: Plan, random: Random) -> bool:
    """A record of version 1.0, eight to twelve KiB before the end, on a kept partition or one of ours."""
    node = node_of(world, plan, random.choice(("heron", "recovery", "home", "root", "samples")))
    if not node:
        return False
    sectors = int(world.shell(f"cat /sys/class/block/{node.removeprefix('/dev/')}/size").stdout)
    at = ((sectors - 16) & ~7) * SECTOR
    write_at(node, at, signatures.raid_record(sectors - 32, at // SECTOR, "mirror"))
    world.settle()
    return True


@event("holds|nothing|finished|super|signature|type|not read")
def zero_superblock_ours(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, random.choice(("root", "home")))
    if node:
        write_at(node, 0, bytes(4096))
        world.settle()
    return bool(node)


@event("holds|nothing|super|signature|type|volume|sectors|what the spec erases")
def zero_superblock_kept(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, random.choice(("heron", "factory", "vault", "archive", "retired")))
    if node:
        write_at(node, 0, bytes(4096))
        world.settle()
    return bool(node)


@event("holds|type|UUID|strange|in use")
def format_ours(world: World, plan: Plan, random: Random) -> bool:
    """Somebody else uses a partition that was ours."""
    node = node_of(world, plan, random.choice(("home", "root")))
    return bool(node) and world.shell(f"mkfs.ext4 -q -F -L photos {node}").returncode == 0


# --- firmware, clock -----------------------------------------------------------------------------------------------


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
