"""The apt family: packages of Debian and its kin."""

from __future__ import annotations

from bedplate_steps.families.apt.loaders import ENTRIES, GRUB, INITRAMFS
from bedplate_steps.families.apt.package_tool import CHANGES, TOOL
from bedplate_steps.families.apt.system_files import CHRONY, CONSOLE, GROUPS, LOCALES, OWN_NAME, SSH, ZONE

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
