"""The actions of the disk step. Enters: section and context. Leaves: actions in the order a person would do them."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.actions import Action
from bedplate.facts import Family, Layout
from bedplate.hookspecs import Context
from bedplate_steps.disk.emit_filesystems import content_actions
from bedplate_steps.disk.emit_mounts import close, mounting_actions, target_actions
from bedplate_steps.disk.emit_other_system import before
from bedplate_steps.disk.emit_table import carry_over, check_kept, table_actions
from bedplate_steps.disk.model import DiskSection


def emit(section: DiskSection, context: Context) -> Iterator[Action]:
    """Every action of the section, in the order a person would do them."""
    layout, machine = context.fact(Layout), context.machine
    yield from before(section, layout)
    yield from table_actions(section, machine, layout)
    yield from content_actions(layout)
    yield from mounting_actions(layout)
    yield from target_actions(section, machine, layout, context.fact(Family))
    yield carry_over(machine, layout)
    if not layout.whole_disk:
        yield check_kept(machine, layout)
    yield close(layout)
