"""The rescue sheet: ways to a machine that does not start, computed for this one. Enters: a graph. Leaves: passages.

The commands are those of the actions themselves: what mounts the target, what gives the loader, what saved the table.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set

from attrs import frozen

from bedplate.actions import TARGET, Action, Call, Milestone, Operation, Stage, token_kind, walk
from bedplate.facts import LaidPartition, Layout, copies_folder
from bedplate.install_graph import InstallGraph
from bedplate.rendering import action_flags, manual_commands, shell_helpers, stage_text
from bedplate.rendering.quoting import quote, typed
from bedplate.rendering.stage_text import Code, Commands, Line, Loud, Passage, Said
from bedplate.survey import BootEntry

_LIST = "lsblk -dnbpo NAME,SIZE,LOG-SEC,MODEL,SERIAL"
_SAVED = "/var/lib/bedplate/table-before.dump"
"""Where the new system keeps the table of before, if an action gives that file."""


@frozen(kw_only=True)
class Rescue:
    """One way out: when to take it, and the steps."""

    title: str
    steps: tuple[Passage, ...]


def sheet(graph: InstallGraph) -> tuple[Rescue, ...]:
    """All ways that this machine has."""
    layout = graph.fact(Layout)
    if layout is None:
        return ()
    ways = (
        ("Before anything else", ()),
        ("Get into the new system from a live medium", _enter(graph)),
        ("Put the boot loader back", _loader(graph)),
        ("Make the firmware's boot entry again", entry(graph)),
        ("Start the other system when the menu is gone", other_system(graph, layout)),
        ("Bring back the partition table of before", _table(graph)),
        ("Take the whole installation back", _undo(graph)),
    )
    (first, _), *others = ways
    found = tuple(Rescue(title=title, steps=steps) for title, told in others if (steps := tuple(told)))
    lines = [line for way in found for one in way.steps if isinstance(one, Commands) for line in one.lines]
    begin = (*_first(layout), *stage_text.helping(graph, shell_helpers.used(lines)))
    return (Rescue(title=first, steps=begin), *found)


def _said(text: str) -> Line:
    return (Said(text),)


def _first(layout: Layout) -> Iterator[Passage]:
    yield _said(
        "Mains power, the recovery keys at hand, and a backup of what can still be read. If the disk itself fails "
        "(dmesg names errors of the device), change nothing on it: copy it first."
    )
    known = (Said("the serial number "), Code(layout.serial)) if layout.serial else (Said(layout.disk_words),)
    yield (Said("Start the live medium as for the installation, and find the disk: "), *known, Said("."))
    yield Commands(lines=(_LIST, "DISK=/dev/...   # the name found in that line"))


def _enter(graph: InstallGraph) -> Iterator[Passage]:
    """What a rerun does to get at the target, then the API file systems and the way in."""
    way, of_swap = action_flags.way_to_target(graph), _of_swap(graph)
    opening = [node.action for node in graph.nodes if node.action.id in way and node.action.peek]
    if not opening:
        return
    wanted = [action for action in opening if action not in of_swap]
    yield Commands(lines=_commands(graph, (*wanted, *graph.reaching(Milestone.API_MOUNTED))))
    yield Commands(lines=(f"chroot {TARGET} /bin/bash -l",))
    yield _said("When done, leave that shell and take everything down before the machine is switched off:")
    leaving = [action for action in graph.reaching(Milestone.TARGET_CLOSED) if action.stage is not Stage.FIRST_BOOT]
    swapped = _lines(graph, (item for action in of_swap for item in action.way_back.operations))
    left = _commands(graph, (*graph.reaching(Milestone.API_UNMOUNTED), *leaving))
    yield Commands(lines=("exit",))
    yield Commands(lines=tuple(line for line in left if line not in swapped))


def _of_swap(graph: InstallGraph) -> tuple[Action, ...]:
    """What puts swap to use, or opens its container: for an installation only."""
    layout = graph.fact(Layout)
    mappers = (
        {part.mapper for part in layout.partitions if part.filesystem == "swap" and part.mapper} if layout else set()
    )
    return tuple(one for one in (node.action for node in graph.nodes) if one.transient and _is_of_swap(one, mappers))


def _is_of_swap(action: Action, mappers: Set[str]) -> bool:
    calls = (item for item in walk(action.operations) if isinstance(item, Call))
    return any(token_kind(token) == "swap" for token in action.gives) or any(mappers & {*call.args} for call in calls)


def _loader(graph: InstallGraph) -> Iterator[Passage]:
    wanted = (Milestone.INITRAMFS_BUILT, Milestone.LOADER_INSTALLED, Milestone.MENU_WRITTEN)
    actions = [action for milestone in wanted for action in graph.reaching(milestone)]
    if not actions:
        return
    yield _said("On the live medium, with everything mounted as for getting into the new system, but outside of it:")
    yield Commands(lines=_commands(graph, actions))
    yield _said("It writes only what is its own on the EFI system partition; what other systems keep there stays.")


def entry(graph: InstallGraph) -> Iterator[Passage]:
    """How the firmware's boot entry is made again."""
    if actions := graph.reaching(Milestone.BOOT_ENTRY):
        yield (Said("On a live medium, with "), Code("$DISK"), Said(" set as the rescue sheet begins:"))
        yield Commands(lines=("efibootmgr -v", *_commands(graph, actions)))


def other_system(graph: InstallGraph, layout: Layout) -> Iterator[Passage]:
    """How the kept system is started without this machine's menu."""
    entries = tuple(_foreign(graph, layout))
    if not layout.other_systems and not entries:
        return
    yield _said(
        "Switch off, switch on with the key of the boot menu (often F12, F11, F10, F9 or Esc), and choose its own "
        "entry:"
    )
    for entry, part in entries:
        where = f" on partition {part.number} ({part.name}), in the firmware's list as "
        yield (Code(entry.label), Said(", which starts "), Code(entry.loader), Said(where), Code(f"Boot{entry.number}"))
    if entries:
        yield _said("Where the firmware has no such menu, from the live medium, for the next start only:")
        yield Commands(lines=tuple(f"efibootmgr --bootnext {entry.number}   # {entry.label}" for entry, _ in entries))
    else:
        yield _said("The survey saw no boot entry of it: choose its disk or its loader's file in the firmware's menu.")
    if layout.other_encryption not in ("", "none"):
        yield (
            Loud(
                f"Its volume {'may be' if layout.other_encryption == 'unknown' else 'is'} encrypted: "
                "it may ask for its recovery key."
            ),
            Said(" Have the key at hand."),
        )


def _foreign(graph: InstallGraph, layout: Layout) -> Iterator[tuple[BootEntry, LaidPartition]]:
    kept = {part.uuid.lower(): part for part in layout.partitions if not part.new}
    for entry in graph.survey.firmware.entries if graph.survey else ():
        part = kept.get(entry.partition.lower())
        if part is not None and entry.active and entry.loader:
            yield entry, part


def _table(graph: InstallGraph) -> Iterator[Passage]:
    if not graph.reaching(Milestone.COPIES_SAVED):
        return
    yield (
        Loud("Only if kept partitions are missing from the table."),
        Said(
            " The table of before has no new partitions: the new system's rows go, and what is on them is out of "
            "reach. If only those are to go, take the installation back instead."
        ),
    )
    yield _said(
        "Find the partition of the second stick with the copies by size and model, put its name in place of "
        "SECOND-STICK, and look which folder it has; of several, the last one counts:"
    )
    folder = typed(copies_folder(graph.machine.name))
    yield Commands(
        lines=(
            "lsblk -o PATH,SIZE,FSTYPE,LABEL,MODEL",
            "mkdir -p /mnt/second",
            "mount -o ro SECOND-STICK /mnt/second",
            f"ls -d {folder}*",
            f'saved=$(ls -d {folder}*/table.dump | tail -n 1); echo "$saved"',
        )
    )
    if any(f"file:{_SAVED}" in node.action.gives for node in graph.nodes):
        yield _said(
            "Only where the stick is lost: mount the new system as above, fetch its copy, and take it down "
            "again as above:"
        )
        yield Commands(lines=(f"cp {TARGET}{_SAVED} /root/table.dump; saved=/root/table.dump",))
    yield _said(
        "Nothing may be mounted from the disk now. The saved table must be one of this disk: both commands "
        "print the same line, or this ends here."
    )
    yield Commands(lines=('grep label-id "$saved"', 'sfdisk --dump "$DISK" | grep label-id'))
    yield _said("Look at what would change, and try it without writing:")
    yield Commands(lines=('sfdisk --dump "$DISK" | diff "$saved" -', 'sfdisk --no-act "$DISK" < "$saved"'))
    yield _said("Then write it, and look whether the kept systems are there:")
    yield Commands(lines=('sfdisk --lock=yes "$DISK" < "$saved"', 'partx --update "$DISK"', 'lsblk -f "$DISK"'))
    yield _said(
        "If sfdisk reads no table at all: table-first.img and table-last.img beside it are the first and the last MiB "
        "of the disk as they were, for somebody who knows how to put tables back from them."
    )


def _undo(graph: InstallGraph) -> Iterator[Passage]:
    yield _said(
        "On the live medium, with the script that installed this machine, and no other: our boot entry, our files on "
        "the EFI system partition and our partitions go, everything on them too, where each is still what the script "
        "made. What is not, or is in use, is named and stays; the other boot entries keep the order they have now. "
        "Above the question stands what lies on each partition: read it before you type the name."
    )
    yield Commands(lines=(f"sh {quote(graph.spec_file.removesuffix('.toml') + '.sh')} --undo",))


def _commands(graph: InstallGraph, actions: Iterable[Action]) -> tuple[str, ...]:
    return _lines(graph, (item for action in actions for item in action.operations))


def _lines(graph: InstallGraph, operations: Iterable[Operation]) -> tuple[str, ...]:
    prompts = {secret.name: secret.prompt for secret in graph.secrets}
    return tuple(dict.fromkeys(line for item in operations for line in manual_commands.commands(item, prompts)))
