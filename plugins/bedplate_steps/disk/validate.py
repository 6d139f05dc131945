"""Every fault of the `[disk]` section that no schema can say. Enters: section and context. Leaves: faults."""

from __future__ import annotations

from collections.abc import Iterator

from bedplate.facts import Family, Layout
from bedplate.faults import Fault, Rejected, one_of
from bedplate.hookspecs import Context
from bedplate_steps.disk.emit_mounts import filesystem_needs
from bedplate_steps.disk.facts import all_faults
from bedplate_steps.disk.model import DiskSection
from bedplate_steps.disk.partition_types import FILESYSTEMS


def validate(section: DiskSection, context: Context) -> Iterator[Fault]:
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
