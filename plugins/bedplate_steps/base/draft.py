"""A first `[base]` section for a surveyed machine. Enters: a survey. Leaves: commented TOML."""

from __future__ import annotations

from bedplate.survey import Survey, SurveyedDisk


def draft(survey: Survey, disk: SurveyedDisk | None = None) -> str:
    """TOML text with the reason for each choice."""
    vendor = survey.machine.cpu_vendor
    why = f"the survey names {vendor}" if vendor else "the survey could not tell: set intel, amd or none"
    solid = any(not (disk.rotational or disk.removable) for disk in survey.disks)
    lines = [
        "[base]",
        '# Whose packages: "apt", "pacman" or "dnf". Take the family of the live medium you have.',
        'family = "apt"',
        "# The release as the package source spells it; leave it out for pacman.",
        'release = "bookworm"',
        "# No source: the one the live medium itself is configured to use.",
        "firmware = true  # network and graphics adapters often do not work without",
        f'microcode = "{"auto" if vendor else "none"}"  # {why}',
        'packages = ["less", "man-db"]',
    ]
    if solid:
        lines += ["# Tell the solid-state disk once a week which blocks are free.", 'services = ["fstrim.timer"]']
    return "\n".join(lines) + "\n"
