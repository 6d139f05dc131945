"""What must not be touched or taken for another: layers that own more than one partition, twins, labels in use.

Enters: the section, the surveyed disk, the survey. Leaves: faults with paths below the section.
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import storage_layers
from bedplate.duplicates import ADVICE, duplicates, labels
from bedplate.faults import Fault, shown
from bedplate.survey import Survey, SurveyedDisk, SurveyedPartition
from bedplate_steps.disk.model import DiskSection
from bedplate_steps.disk.validate_survey import row_of

OUT_OF_IT = (
    "What the layer needs lies on all its members, at places no partition table shows.",
    "If this one is to leave it, take it out with that layer's own tool (or the firmware's menu), then survey again.",
)


def layer_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    """Whether the disk belongs to something that lies on other disks too, or holds what a plan would cut through."""
    spread = [(name, layer) for name, layer in storage_layers.around(disk) if layer.spreads]
    for name, layer in spread:
        yield Fault(
            code="disk-in-layer",
            message=f"the disk as a whole is {layer.description}: nothing is written to it",
            path=("table",),
            found=name,
            allowed="a disk that belongs to itself",
            notes=OUT_OF_IT,
        )
    if not spread and not section.whole_disk and disk.table is not None:
        yield from _besides_the_table(disk)
    for part in disk.partitions:
        yield from _row_faults(section, disk, part)
    yield from _mount_faults(section, disk)


def _besides_the_table(disk: SurveyedDisk) -> Iterator[Fault]:
    for name in storage_layers.contents(disk):
        yield Fault(
            code="content-and-table",
            message="the disk has a partition table and is also covered by something else: what is free is not known",
            path=("table",),
            found=name,
            allowed="a table, and nothing outside its partitions",
            notes=("If an older use left it there, look with `wipefs` what it is; who removes it has to know it.",),
        )


def _row_faults(section: DiskSection, disk: SurveyedDisk, part: SurveyedPartition) -> Iterator[Fault]:
    own = storage_layers.OWN_TABLE.get(part.type.upper())
    if own is not None:
        message = f"partition {part.number} is {own.description}: volumes that spread over partitions are left alone"
        yield Fault(code="dynamic-disk", message=message, found=part.type, allowed="plain partitions")
        return
    layer = storage_layers.of_partition(part)
    if section.whole_disk and layer is not None and layer.spreads:
        message = f"a new table would destroy partition {part.number}, which is {layer.description}"
        yield Fault(
            code="member-lost",
            message=message,
            path=("table",),
            found='"new"',
            allowed="a disk without such members",
            notes=OUT_OF_IT,
        )


def _mount_faults(section: DiskSection, disk: SurveyedDisk) -> Iterator[Fault]:
    for index, keep in enumerate(section.keep):
        row = row_of(keep, disk)
        layer = storage_layers.inside(row.filesystem) if row else None
        if keep.mount and layer is not None and layer is not storage_layers.MULTI_BTRFS:
            message = f"{keep.name} is {layer.description}: it holds no file system that could be mounted"
            yield Fault(
                code="kept-mount-layer",
                message=message,
                path=("keep", index, "mount"),
                found=shown(keep.mount),
                allowed="no mount",
            )


def twin_faults(survey: Survey) -> Iterator[Fault]:
    """Every identity that the survey saw in two places: a name that fits two things is a name for neither."""
    for twin in duplicates(survey):
        once = "each identity once on the whole machine"
        yield Fault(code="twins", message=twin.description, allowed=once, notes=(ADVICE,))


def label_faults(section: DiskSection, disk: SurveyedDisk, survey: Survey) -> Iterator[Fault]:
    """Labels of the new file systems that something else on the machine has: a table that names it would mount ours."""
    taken = list(_labels(section, disk, survey))
    for index, new in enumerate(section.new):
        where = [at for label, at in taken if new.label and _same(label, new.label, new.filesystem)]
        if where:
            yield Fault(
                code="label-in-use",
                message=f"this label is in use already: {' and '.join(where)}",
                path=("new", index, "label"),
                found=shown(new.label),
                allowed="a label that nothing on the machine has",
                notes=("A system that names its file systems by label would take the new one for its own.",),
            )


def _same(one: str, other: str, filesystem: str) -> bool:
    return one.casefold() == other.casefold() if filesystem == "vfat" else one == other


def _labels(section: DiskSection, disk: SurveyedDisk, survey: Survey) -> Iterator[tuple[str, str]]:
    for each in survey.disks:
        if each.path != disk.path or not section.whole_disk:
            yield from ((label, at) for label, at, _ in labels(each))
