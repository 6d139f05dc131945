"""A first `[bootloader]` section. Enters: a survey. Leaves: commented TOML that passes the step's own checks."""

from __future__ import annotations

from bedplate.survey import Survey, SurveyedDisk

ESP_TYPE = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"
"""GPT type of an EFI system partition (UEFI 2.10, 5.3.3)."""
NAMES = ("linux", "linux-new", "linux-2", "linux-3")
"""Suggested folders, in order."""


def draft(survey: Survey, disk: SurveyedDisk | None = None) -> str:
    """The section with a free name and the Secure Boot stance explained."""
    secure = {
        "on": "# Secure Boot is ON in this machine. Either switch it off in the firmware's setup before you start\n"
        '# (the script refuses otherwise), or set this to "signed" where the package family has a signed chain.\n',
        "off": "# Secure Boot is off in this machine.\n",
    }.get(survey.firmware.secure_boot, "# Look in the firmware's setup: Secure Boot must be off.\n")
    return (
        "[bootloader]\n"
        "# Folder below \\EFI and label of the boot entry; no folder and no entry of this machine has that name. With\n"
        '# family = "dnf" it must be that of the packages, such as "fedora".\n'
        f'name = "{_free_name(survey)}"\n'
        '# Seconds the menu waits; what starts when nobody chooses: "new", "last" or the name of a kept system.\n'
        "menu_time = 5\n"
        'default = "new"\n'
        'kernel_parameters = ["quiet"]\n' + secure + 'secure_boot = "off"\n'
        '# Each kept system gets a menu entry by itself. "first" or "last" in the firmware\'s boot order:\n'
        'boot_entry_position = "first"\n'
        "# \\EFI\\BOOT is another system's way back; write it only on a disk of your own.\n"
        "fallback = false\n"
    )


def _free_name(survey: Survey) -> str:
    taken = {entry.label.strip().casefold() for entry in survey.firmware.entries}
    paths = [entry.loader for entry in survey.firmware.entries]
    paths += [
        path
        for disk in survey.disks
        for part in disk.partitions
        if part.type.upper() == ESP_TYPE
        for path in part.files
    ]
    taken.update(part for path in paths for part in path.replace("/", "\\").casefold().split("\\"))
    return next((name for name in NAMES if name not in taken), f"linux-{len(taken) + 4}")
