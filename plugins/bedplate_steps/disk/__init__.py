"""The disk step: which disk, what is kept on it, what is made, and where it is mounted.

Enters: the `[disk]` section and the survey. Leaves: the `Layout` other steps ask for, and the actions from the backup
in the other system to the closing of the target.

    [disk]
    serial = "SM-NVME-0217"            # or by_id, or model and size; never a name such as sda
    table = "keep"                     # "new": everything on the disk is lost

    [[disk.keep]]                      # every partition the survey found
    name = "factory-esp"
    partition = "86CC7105-853D-4D39-AA11-593635FA098E"
    role = "esp"
    mount = "/boot/efi"                # reused, never formatted

    [[disk.keep]]
    name = "factory-system"
    partition = "0379071F-4CA3-4CC9-895E-395DE7D95941"
    role = "system"
    shrink_to = "240GiB"               # by hand, in the other system

    [[disk.new]]
    name = "root"
    size = "rest"
    filesystem = "ext4"
    label = "kelp-root"
    mount = "/"

    [disk.other_system]
    encryption = "suspended"
    recovery_key_place = "safe in the station office"
"""

from __future__ import annotations

from collections.abc import Iterator

import bedplate_schema
from bedplate.actions import Action
from bedplate.facts import Family, Layout
from bedplate.faults import Fault, Rejected, one_of
from bedplate.hookspecs import Context, Step, hookimpl
from bedplate_steps.disk.changes import changes
from bedplate_steps.disk.content import content_actions
from bedplate_steps.disk.draft import draft
from bedplate_steps.disk.kinds import FILESYSTEMS
from bedplate_steps.disk.model import DiskSection
from bedplate_steps.disk.mounting import close, filesystem_needs, mounting_actions, target_actions
from bedplate_steps.disk.other_system import before
from bedplate_steps.disk.planning import all_faults, plan
from bedplate_steps.disk.table import carry_over, check_kept, table_actions


def check(section: DiskSection, context: Context) -> Iterator[Fault]:
    """Every fault and warning, those of the package family's reach last."""
    faults = list(all_faults(section, context))
    yield from faults
    if context.has(Family) and all(fault.warning for fault in faults):
        yield from _family_faults(section, context)


def _family_faults(section: DiskSection, context: Context) -> Iterator[Fault]:
    try:
        family, layout = context.fact(Family), context.fact(Layout)
    except Rejected:
        return  # whoever gives the fact says why
    for need in filesystem_needs(layout):
        if need not in family.packages:
            kind = need.removeprefix("fs-")
            where = next((i for i, new in enumerate(section.new) if new.filesystem == kind), None)
            yield Fault(
                code="family-lacks-file-system",
                message=f"the {family.name} family has no tools for {kind}",
                path=("keep",) if where is None else ("new", where, "filesystem"),
                found=f'"{kind}"',
                allowed=one_of([name for name in FILESYSTEMS if f"fs-{name}" in family.packages]),
            )


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


bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The step of the `[disk]` section."""
    return [
        Step(
            section="disk",
            title="Partitions, file systems, mounts and swap of one disk",
            schema=bedplate_schema.load("disk"),
            model=DiskSection,
            emit=emit,
            changes=changes,
            check=check,
            facts={Layout: plan},
            draft=draft,
            draft_rank=20,
            required=True,
        )
    ]
