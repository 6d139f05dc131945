"""A first `[clock]` section for a surveyed machine. Enters: a survey. Leaves: commented TOML."""

from __future__ import annotations

from bedplate.survey import Survey, SurveyedDisk

_OTHER_SYSTEM = {"ntfs", "BitLocker"}
"""File systems, as blkid names them, that another system is recognised by."""


def draft(survey: Survey, disk: SurveyedDisk | None = None) -> str:
    """TOML text with the reason for each choice."""
    kept = any(
        part.filesystem is not None and part.filesystem.type in _OTHER_SYSTEM
        for disk in survey.disks
        for part in disk.partitions
    )
    clock, why = "utc", "nothing that reads local time was seen"
    if kept:
        clock, why = "local", "a kept system may read it so; see the warning"
    return "\n".join(
        (
            "[clock]",
            '# Where the machine stands, as the IANA database names it: "Europe/Berlin", "America/Halifax", ...',
            'zone = "Etc/UTC"',
            f'hardware_clock = "{clock}"  # {why}',
            'sync = "timesyncd"',
            "",
        )
    )
