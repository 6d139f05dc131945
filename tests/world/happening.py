"""What happens to a machine while nobody's script runs: each event changes it for real, and says which words name it.

A refusal has to name what happened: `words` is what has to be found in it, as a regular expression. An event that does
not apply (there is nothing of ours yet, the disk is away) does nothing and is not counted.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

from attrs import frozen

from world.machine import DISKS, World
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


def node_of(world: World, plan: Plan, name: str) -> str:
    """The node of a partition of the plan or of the template, empty where there is none."""
    known = {part.name: (disk.name, part.guid) for disk in DISKS for part in disk.parts}
    known |= {part.name: (plan.disk, part.uuid) for part in plan.layout.partitions if part.new}
    disk, guid = known.get(name, ("", ""))
    if disk not in world.disks:
        return ""
    node = world.shell(f"readlink -f $WORLD/dev-disk/by-partuuid/{guid.lower()}").stdout.strip()
    return node if node.startswith(world.disks[disk] + "p") else ""


def sfdisk(world: World, disk: str, *options: str, text: str = "") -> bool:
    if disk not in world.disks:
        return False
    words = " ".join(f"'{word}'" for word in options)
    ran = world.shell(f"sfdisk -q --no-reread --no-tell-kernel {words} {world.disks[disk]} <<'E'\n{text}\nE")
    world.settle()
    return ran.returncode == 0


def number_of(node: str) -> str:
    return node.rpartition("p")[2]


def named(name: str, text: str) -> bool:
    """Does the text name the event?"""
    return re.search(EVENTS[name].words, text, re.IGNORECASE) is not None
