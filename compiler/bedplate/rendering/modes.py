"""What is said and done differently on a live medium and on the installed machine. Enters: a graph. Leaves: its mode.

An installation is carried out on a live medium, rooted below the target; a change on the machine itself, rooted at `/`.
"""

from __future__ import annotations

from collections.abc import Mapping

from attrs import frozen

from bedplate.actions import TARGET, Stage
from bedplate.install_graph import ChangeGraph, InstallGraph


@frozen(kw_only=True)
class Mode:
    """The words and values of one of the two."""

    kind: str
    heading: str
    """What stands over the paragraph that says what it is about."""
    glossary: tuple[tuple[str, str], ...]
    """Words of the trade that the work cannot do without, for people who meet them here first."""
    places: Mapping[Stage, tuple[str, str]]
    """Title of each stage, and where it is carried out."""
    running: bool
    """Whether the work is done on the installed machine."""
    root: str
    """Where the scripts find the target's root."""
    runtime: tuple[str, ...] = ()
    """Parts of the runtime beside those of every script."""
    purpose: str
    """What the script is for, with `{machine}` and `{source}`."""
    system: str
    """What the commands come from: live medium or machine."""
    tool: str
    no_tool: str
    """That a command is there, with `{name}`, and what to do if not."""
    script: str = ""
    """The script's name; empty: that of the spec."""
    folder: str = ""
    """Where it lies when it is started."""
    carrier: str
    """Where it is at hand."""
    mount: tuple[str, ...] = ()
    """The commands that bring the second stick there."""


_PLACES: Mapping[Stage, tuple[str, str]] = {
    Stage.OTHER_SYSTEM: (
        "In the other system",
        "First what says “At your desk”: it is done on another machine. "
        "Then start this machine as usual, and do the rest in the system that is there.",
    ),
    Stage.FIRMWARE: ("In the firmware", "Do this in the firmware's setup and its boot menu."),
    Stage.LIVE: ("On the live medium", "Do this as root on the live medium."),
    Stage.TARGET: ("In the new system, from the live medium", "Still on the live medium, as root."),
    Stage.FIRST_BOOT: ("At the first start", "Do this when the machine starts without the live medium."),
}

INSTALLATION = Mode(
    kind="installation",
    heading="What this machine will be",
    glossary=(
        ("Live medium", "the stick with a Linux system that runs in memory and leaves the disk alone."),
        ("Target", f"the new system on the disk, mounted at `{TARGET}` while it is made."),
        ("Spec", "the file this text was made from. `generation` in it tells one installation from the next."),
        ("Survey", "what the machine's disk and firmware were like when the spec was made."),
        ("Digest", "a number over all of the plan; another plan has another one."),
        ("EFI system partition", "the small FAT partition that holds the loaders of all systems."),
        ("Initramfs", "the small system that the kernel starts first, to find the disk."),
        ("Name below /dev/disk/by-id", "made of model and serial number, so that it stays with the device."),
        ("Recovery key", "48 digits that open the other system's encrypted volume when nothing else does."),
    ),
    places=_PLACES,
    running=False,
    root=TARGET,
    purpose="Installs {machine} as the spec {source} says.",
    system="live medium",
    tool="The live medium has {name}",
    no_tool="Use a medium that has {name}, or install the package that brings it, then run again.",
    folder="/mnt/second/",
    carrier="On a second stick",
    mount=("lsblk -o PATH,SIZE,FSTYPE,LABEL,MODEL,TRAN", "mkdir -p /mnt/second", "mount SECOND-STICK /mnt/second"),
)

CHANGE = Mode(
    kind="change",
    heading="What this changes",
    glossary=(
        ("Old spec", "the file that says what the machine is as yet."),
        ("New spec", "the file that says what it will be."),
        ("Digest", "a number over all of this change; another change has another one."),
    ),
    places={
        **_PLACES,
        Stage.TARGET: ("On the installed machine", "Do this as root on the running machine itself."),
        Stage.FIRST_BOOT: ("In the end", "Do this when all of the above is done."),
    },
    running=True,
    root="",
    runtime=("change",),
    purpose="Changes {machine} from {source}. For the running, installed machine itself.",
    system="machine",
    tool="This machine has {name}",
    no_tool="Install the package that brings it.",
    script="change.sh",
    carrier="On the machine",
)


def mode(graph: InstallGraph) -> Mode:
    """The mode of this graph."""
    return CHANGE if isinstance(graph, ChangeGraph) else INSTALLATION
