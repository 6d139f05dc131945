"""What happens to partitions and disks."""

from __future__ import annotations

from random import Random

from world.happening import event, node_of, number_of, sfdisk
from world.machine import DISKS, LINUX, MAIN, MIB, OTHER, SECTOR, Part, World, write_at
from world.plans import Plan


def _kept(plan: Plan) -> list[Part]:
    """What the disk that is written to has held from the beginning."""
    return [part for disk in DISKS if disk.name == plan.disk for part in disk.parts]


@event("label|kelp-root")
def relabel_ours(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, "root")
    return bool(node) and world.shell(f"e2label {node} renamed-{random.randrange(100)}").returncode == 0


@event("label")
def relabel_kept(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, "heron")
    return bool(node) and world.shell(f"e2label {node} heron-{random.randrange(100)}").returncode == 0


@event("start .*size|at most|size|what the spec erases")
def resize_kept(world: World, plan: Plan, random: Random) -> bool:
    part = random.choice(_kept(plan))
    node, size = node_of(world, plan, part.name), part.size * 2048 - 2048
    return bool(node) and sfdisk(world, plan.disk, "-N", number_of(node), text=f"size={size}")


@event("start .*size|size|inside")
def resize_ours(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, random.choice(("swap", "root", "home")))
    return bool(node) and sfdisk(world, plan.disk, "-N", number_of(node), text="size=262144")


@event("no partition|is gone|missing|what the spec erases")
def delete_kept(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, random.choice(_kept(plan)).name)
    return (bool(node) and sfdisk(world, plan.disk, "--delete", number_of(node))) or False


@event("no partition|is gone|no row|lacking|lies at")
def delete_ours(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, random.choice(("swap", "root", "home")))
    if not node:
        return False
    words = f"sfdisk -q --no-reread --no-tell-kernel --delete {world.disks[plan.disk]} {number_of(node)}"
    done = plan.disk in world.disks and world.shell(words).returncode == 0
    world.settle()
    return done


@event("nobody knew of the partition|inside the planned|what the spec erases")
def add_partition(world: World, plan: Plan, random: Random) -> bool:
    start = random.choice((3778560, 12691456, 40000000))
    done = sfdisk(world, plan.disk, "--append", text=f"start={start}, size=204800, type={LINUX}")
    if done:
        starts = '"$(cat /sys/class/block/${n#/dev/}/start)"'
        formats = f"[ {starts} != {start} ] || mkfs.ext4 -q -F -L stranger $n"
        world.shell(f"for n in {world.disks[plan.disk]}p*; do {formats}; done")
    return done


@event("number|no partition|start|what the spec erases")
def renumber(world: World, plan: Plan, random: Random) -> bool:
    return sfdisk(world, plan.disk, "--reorder")


@event("no partition|nobody knew|what the spec erases")
def new_guid(world: World, plan: Plan, random: Random) -> bool:
    node = node_of(world, plan, random.choice(_kept(plan)).name)
    new = "ABABABAB-2222-4333-8444-555555555555"
    return bool(node) and sfdisk(world, plan.disk, "--part-uuid", number_of(node), new)


@event("label-id|table|what the spec erases")
def new_table_id(world: World, plan: Plan, random: Random) -> bool:
    return sfdisk(world, plan.disk, "--disk-id", "EDEDEDED-2222-4333-8444-555555555555")


@event("corrupt|header|what the spec erases")
def second_table_lost(world: World, plan: Plan, random: Random) -> bool:
    image = world.image(plan.disk)
    write_at(image, image.stat().st_size - SECTOR, bytes(SECTOR))
    world.settle()
    return True


# --- disks -------------------------------------------------------------------------------------------------------


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
    node, fill = world.disks["guest"], 'echo photos >$WORLD/s; debugfs -w -R "write $WORLD/s photos"'
    return world.shell(f"mkfs.ext4 -q -F -L guest {node} && {fill} {node}").returncode == 0


def _pulled(world: World, disk: str) -> bool:
    if disk not in world.disks:
        return False
    world.pull(disk)
    return True


@event("no disk has this identity|not found")
def pull_main(world: World, plan: Plan, random: Random) -> bool:
    return _pulled(world, plan.disk)


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
    world.facts[plan.disk]["SERIAL"] = "0123456789ABCDEF"
    world.settle()
    return True
