"""The shrink a spec asks of a kept partition, as sectors. It is done by a person, in the other system."""

from __future__ import annotations

from bedplate.layout import Shrink, shrink_to
from bedplate.survey import SurveyedPartition
from bedplate_steps.disk.model import Keep


def planned_shrink(keep: Keep, row: SurveyedPartition, sector_size: int) -> Shrink:
    """The planned size of a kept partition and the MiB to take away; without a wish, nothing is taken."""
    if keep.shrink_to is not None:
        return shrink_to(row.start, row.size, keep.shrink_to.bytes, sector_size)
    return Shrink(size=row.size, mib=0)
