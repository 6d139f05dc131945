"""Rules about what a step emits: ids, order, proofs, guards, ways back, commands."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

import attrs
from attrs import evolve

from bedplate.actions import (
    NOTHING_TO_UNDO,
    TARGET,
    Action,
    Argv,
    Call,
    Check,
    InTarget,
    Joined,
    Operation,
    Outputs,
    Run,
    SecretRef,
    Stage,
    Succeeds,
    Typed,
    Where,
    WriteFile,
    walk,
)
from bedplate.faults import describe
from bedplate.rendering import manual_checks
from bedplate.testing.subject import HOST, Subject, compiled

BY_SCRIPT = (Stage.LIVE, Stage.TARGET)
SHELLS = ("sh", "bash", "dash", "ash", "busybox", "zsh", "ksh", "env", "eval", "xargs", "python", "python3", "perl")
BASE = frozenset(
    {
        "cat",
        "chmod",
        "chown",
        "cp",
        "cut",
        "dd",
        "false",
        "head",
        "install",
        "ln",
        "mkdir",
        "mount",
        "mv",
        "printf",
        "rm",
        "rmdir",
        "sort",
        "stat",
        "sync",
        "tail",
        "test",
        "touch",
        "true",
        "umount",
    }
)
"""Commands every live medium has (POSIX.1-2017 utilities and the medium's own mount): they need no token."""
_OF_THE_KIT = (
    "The kit's machine is bedplate/testing/machine.toml, and the person on it is warden; an example may bring further "
    "sections, such as [users], that take the place of the machine's own."
)
_TOUCHING = re.compile(
    r"(mkfs|mke2fs|fsck|e2fsck)(\..+)?|mkswap|wipefs|blkdiscard|hdparm|nvme|s?fdisk|sgdisk|gdisk|parted|partx|dd|shred|"
    r"cryptsetup|mdadm|(pv|vg|lv)(create|remove|change|extend|reduce)|dmsetup|zpool|efibootmgr|efivar|hwclock|fwupdmgr"
)
"""Commands that change what lies below file systems, the firmware or the clock; what they do is for a person to read
before the first write (util-linux, e2fsprogs, cryptsetup, lvm2, efibootmgr and the like; their manuals)."""
_ID = re.compile(r"[a-z][a-z0-9_]*\.[a-z0-9][a-z0-9._-]*")


def examples_compile(about: Subject) -> list[str]:
    """Every example is without fault, its needs are met, and at least one of them makes an action."""
    if about.missing:
        return []
    found = []
    for host, outcome in about.outcomes:
        wrong = [describe(fault).replace("\n", " ") for fault in outcome.faults if not fault.warning]
        wrong += [_OF_THE_KIT] if wrong and host.survey == HOST.survey else []
        told = "\n".join(each for each in (outcome.breach, outcome.traceback) if each)
        found += [f"{host.name}: {each}" for each in [*wrong, told] if each]
    if not found and not about.actions:
        found = ["no example makes the step emit an action: give one that does"]
    return found


def emission_is_repeatable(about: Subject) -> list[str]:
    """The same section, survey and facts give the same actions."""
    found = []
    for host, graph in about.graphs:
        again = compiled(host, about.registry).graph
        if again is None or again.digest != graph.digest:
            found.append(f"{host.name}: emitted twice, the actions differ: no clock, chance, environment, set order")
    return found


def ids_are_stable(about: Subject) -> list[str]:
    """Ids are words joined by dashes, each once, and do not depend on the machine's name or generation."""
    found = [
        f"the id {action.id!r} must be lower-case words joined by dashes, behind the section and a point"
        for action in about.actions
        if _ID.fullmatch(action.id) is None
    ]
    for host, graph in about.graphs:
        ids = [node.action.id for node in graph.nodes if node.section == about.section]
        renamed = {**host.data["machine"], "name": "renamed-01", "generation": 2}
        other = compiled(evolve(host, data={**host.data, "machine": renamed}), about.registry).graph
        if other is not None and ids != [node.action.id for node in other.nodes if node.section == about.section]:
            found.append(f"{host.name}: ids change with the machine's name or generation; stamps go by them")
    return list(dict.fromkeys(found))


def changes_are_proved(about: Subject) -> list[str]:
    """An action that changes something can be proved, or says to a person what is seen when it went well."""
    found = []
    for action in _each(about):
        if action.changes and action.stage in BY_SCRIPT and not action.proofs and not action.stamped:
            found.append(f"{action.id} changes something and has no proof: a rerun would do it again")
        if action.stage not in BY_SCRIPT and not action.expected:
            found.append(f"{action.id} is done by a person: say in `expected` what is seen when it went well")
        if not action.changes and action.gives and not (action.proofs or action.guards) and action.stage in BY_SCRIPT:
            found.append(f"{action.id} gives {action.gives[0]} and looks at nothing: add a guard or a proof")
    return found


def guards_stand_before_danger(about: Subject) -> list[str]:
    """Tools are named as needs, and what may cost data looks before it acts."""
    found = []
    for action in _each(about):
        named = {token.partition(":")[2] for token in action.needs if token.startswith("tool:")}
        for tool in sorted(set(_live_commands(action.operations)) - named - BASE):
            found.append(f'{action.id} runs {tool} on the live medium: add "tool:{tool}" to its needs')
        if action.cautions and action.changes and action.stage in BY_SCRIPT and not action.guards:
            needs = [need for need in action.needs if not need.startswith("tool:")]
            if not needs:
                found.append(f"{action.id} has cautions, yet neither a guard nor a need")
    return found


def touches_are_told(about: Subject) -> list[str]:
    """A command that makes file systems, writes tables, boot entries or the hardware clock has its line in the last
    look before the first write."""
    found = []
    for action in _each(about):
        tools = sorted({tool for tool in _live_commands(action.operations) if _TOUCHING.fullmatch(tool)})
        if tools and action.stage in BY_SCRIPT and action.changes and not action.touches:
            found.append(f"{action.id} runs {tools[0]}: say in `touches` what it formats, deletes or writes")
    return found


def ways_back_are_said(about: Subject) -> list[str]:
    """Every change has a way back, or says plainly that it cannot be undone."""
    found = []
    for action in _each(about):
        back = action.way_back
        if action.changes and not action.transient and back == NOTHING_TO_UNDO:
            found.append(f"{action.id} changes something that stays: say the way back, or possible=False and why")
        elif (
            action.changes
            and not action.transient
            and action.stage in BY_SCRIPT
            and not (back.operations or back.goes_with or not back.possible)
        ):
            found.append(
                f"{action.id} changes something, and nothing takes it back: give its way back operations, or "
                "goes_with, or possible=False"
            )
        if not back.possible and back.operations:
            found.append(f"{action.id} says that it cannot be undone, and has operations to undo it")
    return found


def commands_are_vectors(about: Subject) -> list[str]:
    """No command is text for a shell to read."""
    found = []
    for action in _each(about):
        for argv in _vectors(action):
            words = [word for word in argv if isinstance(word, str)]
            first = words[0].rpartition("/")[2] if words else ""
            if first in SHELLS and any(re.fullmatch(r"-[a-z]*[ce]", word) for word in words):
                found.append(f"{action.id} hands text to {first}: give the command itself as words, or call a verb")
    return found


def proofs_look_at_the_target(about: Subject) -> list[str]:
    """Paths of the target are InTarget, so that the audit can look below `/` later."""
    found = []
    for action in _each(about):
        for word in (word for argv in _vectors(action) for word in argv):
            parts = word.parts if isinstance(word, Joined) else (word,)
            if any(isinstance(part, str) and part.startswith(TARGET) for part in parts):
                found.append(f"{action.id} names {TARGET}: write InTarget, so that audit and checklist can place it")
        if action.stage is Stage.TARGET and not action.transient:
            found += [
                f"a proof of {action.id} reads {path} of the live medium: write InTarget({path!r})"
                for check in action.proofs
                for path in _live_paths(check)
            ]
            found += [
                f"a proof of {action.id} runs {command} on the live medium and looks at no path of the target: "
                "run it there with where=Where.TARGET"
                for check in action.proofs
                for command in _elsewhere(check)
            ]
    return found


def looks_are_told(about: Subject) -> list[str]:
    """Every guard, proof and audit says to a person at the keyboard how to look."""
    return [
        f"{action.id}: {check.says!r} has no look for a person: give `by_hand` lines that print something only on "
        "evidence, or a line that begins with `# ` and says what to look at"
        for action in _each(about)
        for check in (*action.guards, *action.proofs, *action.audits)
        if not manual_checks.asking(check.test)
    ]


def secrets_are_listed(about: Subject) -> list[str]:
    """A secret that an operation uses is listed by some action, and its file is closed to others."""
    found = []
    known = {secret.name for action in about.actions for secret in action.secrets}
    for action in _each(about):
        for operation in action.operations:
            names = {part.name for part in walk(operation) if isinstance(part, SecretRef)}
            found += [
                f"{action.id} uses the secret {name!r}, and no action lists it in `secrets`"
                for name in sorted(names - known)
            ]
            if names and isinstance(operation, WriteFile) and operation.mode & 0o077:
                found.append(f"{action.id} writes a secret into a file that others can read: mode 0o600")
    return found


RULES = (
    examples_compile,
    emission_is_repeatable,
    ids_are_stable,
    changes_are_proved,
    guards_stand_before_danger,
    touches_are_told,
    ways_back_are_said,
    commands_are_vectors,
    proofs_look_at_the_target,
    looks_are_told,
    secrets_are_listed,
)


# --- reading actions -------------------------------------------------------------------------------------------------


def _each(about: Subject) -> Iterable[Action]:
    return {action.id: action for action in about.actions}.values()


def _held(value: object, kind: object) -> Iterator[tuple[object, Any]]:
    """Every field of that type anywhere in it: who has it, and what it holds."""
    for item in walk(value):
        yield from ((item, getattr(item, one.name)) for one in attrs.fields(type(item)) if one.type == kind)


def _vectors(action: Action) -> Iterator[Argv]:
    """Every vector of words, a verb's too."""
    yield from (argv for _, argv in _held((action.operations, action.way_back, action.guards, action.proofs), Argv))


def _commands(action: Action) -> Iterator[Argv]:
    """Vectors that a command gets; the words of a verb go to a function."""
    held = _held((action.operations, action.way_back, action.guards, action.proofs), Argv)
    yield from (argv for item, argv in held if not isinstance(item, Call))


def _live_commands(operations: Iterable[Operation]) -> Iterator[str]:
    for operation in operations:
        if isinstance(operation, Run) and operation.where is Where.LIVE and isinstance(operation.argv[0], str):
            yield operation.argv[0].rpartition("/")[2]


def _live_paths(check: Check) -> Iterator[str]:
    """Absolute paths below /etc, /usr, /var and the like that a proof reads outside the target."""
    test = check.test
    if isinstance(test, Succeeds | Outputs) and test.where is Where.LIVE:
        for word in test.argv[1:]:
            if isinstance(word, str) and word.startswith(("/etc/", "/usr/", "/var/", "/home/", "/srv/", "/opt/")):
                yield word


def _elsewhere(check: Check) -> Iterator[str]:
    """The command of a proof that has nothing to do with the target."""
    test = check.test
    if isinstance(test, Succeeds | Outputs) and test.where is Where.LIVE and not any(_live_paths(check)):
        parts = [part for word in test.argv for part in (word.parts if isinstance(word, Joined) else (word,))]
        if all(isinstance(part, str) for part in parts):
            yield str(parts[0])


def by_hand_lines(action: Action) -> Iterator[str]:
    """Every line that a person is told to type."""
    for _, lines in _held((action.operations, action.way_back), tuple[Typed, ...]):
        yield from (line if isinstance(line, str) else "".join(map(str, line)) for line in lines)


def plain_words(action: Action) -> Iterator[tuple[tuple[object, ...], int, str]]:
    """Every literal word of a command's vector: the vector, the word's index, the word."""
    for argv in _commands(action):
        for index, word in enumerate(argv):
            if isinstance(word, str):
                yield argv, index, word


def paths(action: Action) -> Iterator[str]:
    """Paths of the target that operations write."""
    for operation in action.operations:
        path = getattr(operation, "path", None)
        if isinstance(path, InTarget):
            yield path.path
