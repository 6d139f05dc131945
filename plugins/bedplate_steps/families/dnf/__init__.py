"""The dnf family."""

from __future__ import annotations

from bedplate_steps.families.dnf.package_tool import CHANGES, TOOL
from bedplate_steps.families.dnf.system_files import (
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
