"""The pacman family."""

from __future__ import annotations

from bedplate_steps.families.pacman.package_tool import CHANGES, TOOL
from bedplate_steps.families.pacman.system_files import (
    CHRONY,
    CONSOLE,
    ENTRIES,
    GROUPS,
    GRUB,
    INITRAMFS,
    LOCALES,
    OWN_NAME,
    SSH,
    ZONE,
)

RECORDS: tuple[object, ...] = (
    TOOL,
    CHANGES,
    ZONE,
    CHRONY,
    LOCALES,
    CONSOLE,
    OWN_NAME,
    GROUPS,
    SSH,
    INITRAMFS,
    GRUB,
    ENTRIES,
)
"""What it says of each concern."""
