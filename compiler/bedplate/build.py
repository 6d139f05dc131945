"""Whole actions, ready-made: what most steps of a stranger do. Enters: what is wanted. Leaves: an `Action` with its
needs, what it gives, its proof and its way back.

Every builder takes `title` (imperative, one line) and `reason`, and any of `needs`, `gives`, `guards`, `cautions`,
`expected`, `trouble`, which are added to its own. `attrs.evolve` changes whatever else should be different. A builder
raises ValueError for what can never be right: that is a fault of the step, not of the spec.
"""

from __future__ import annotations

import re
from typing import TypedDict, Unpack

from bedplate.actions import (
    NOTHING_TO_UNDO,
    Action,
    ByHand,
    Call,
    Check,
    Content,
    InTarget,
    Milestone,
    Operation,
    Run,
    Secret,
    SecretRef,
    Stage,
    Touch,
    WayBack,
    Where,
    Word,
    WriteFile,
)
from bedplate.conditions import block_is, file_is, file_mode_is, service_enabled

_MARKER = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]*")

_UNITS = frozenset(
    {"service", "socket", "target", "timer", "path", "mount", "automount", "swap", "device", "slice", "scope"}
)
"""Suffixes of units, systemd.unit(5)."""

ROOT = "filesystem:/"
"""The token of the new root file system: what lies in it goes with it."""


class ActionFields(TypedDict, total=False):
    """What every builder also takes; see `Action`."""

    needs: tuple[str, ...]
    gives: tuple[str, ...]
    guards: tuple[Check, ...]
    cautions: tuple[str, ...]
    touches: tuple[Touch, ...]
    trouble: str


class ScriptedFields(ActionFields, total=False):
    """The same for work that the script does."""

    expected: str


def goes_with_root(note: str, *operations: Operation) -> WayBack:
    """The way back of what lies in the new root file system only: `--undo` passes it over where that goes."""
    return WayBack(note=note, operations=operations, goes_with=ROOT)


def write_file(
    id: str,
    path: str,
    content: str | Content,
    *,
    title: str,
    reason: str,
    mode: int = 0o644,
    owner: str = "0:0",
    secrets: tuple[Secret, ...] = (),
    **more: Unpack[ScriptedFields],
) -> Action:
    """Write the target's file `path` (absolute) whole, in UTF-8. `mode` is an octal number, `owner` `UID:GID`.

    Gives `file:PATH`. With a `SecretRef` in the content, list its `Secret` in `secrets` (see `ask`), and keep others
    from reading the file: mode and owner are proved then, and a stamp tells that it was written.
    """
    parts = _parts(content)
    secret = any(isinstance(part, SecretRef) for part in parts)
    proof = file_mode_is(path, mode, owner) if secret else file_is(path, parts, mode)
    return Action(
        id=id,
        title=title,
        reason=reason,
        stage=Stage.TARGET,
        operations=(WriteFile(path=InTarget(path), content=parts, mode=mode, owner=owner),),
        proofs=(proof,),
        way_back=goes_with_root(
            f"Removes {path} from the new system; a file of that name from a package is not brought back.",
            Run(argv=("rm", "-f", "--", InTarget(path))),
        ),
        secrets=secrets,
        stamped=secret,
        **_with(more, needs=("base",), gives=(f"file:{path}",)),
    )


def append(
    id: str,
    path: str,
    text: str,
    *,
    marker: str,
    title: str,
    reason: str,
    comment: str = "#",
    **more: Unpack[ScriptedFields],
) -> Action:
    """Keep `text` at the end of the target's file `path`, between two lines that name `marker` in comments.

    A rerun replaces what stands between them; the rest of the file stays as it is. `marker` has letters, digits,
    blanks and `._-`, and is yours alone; `comment` begins a comment in that file. Gives nothing by itself: several
    steps may append to one file.
    """
    if _MARKER.fullmatch(marker) is None:
        raise ValueError(f"a marker has letters, digits, blanks and ._-, and begins with a letter or digit: {marker!r}")
    if not text or "\n" in comment:
        raise ValueError("a block holds text, and a comment begins with one line")
    whole = text if text.endswith("\n") else text + "\n"
    words = (InTarget(path), marker, comment)
    return Action(
        id=id,
        title=title,
        reason=reason,
        stage=Stage.TARGET,
        operations=(Call(verb="put-block", args=words, stdin=(whole,), by_hand=(f"editor /mnt/target{path}",)),),
        proofs=(block_is(path, marker, whole, comment),),
        way_back=WayBack(
            note=f"Takes the block {marker} out of {path} again; a file that is left empty is removed.",
            operations=(Call(verb="drop-block", args=words, by_hand=(f"editor /mnt/target{path}",)),),
            goes_with=ROOT,
        ),
        **_with(more, needs=("base",)),
    )


def enable_service(id: str, unit: str, *, title: str, reason: str, **more: Unpack[ScriptedFields]) -> Action:
    """Enable a systemd unit of the target, its suffix included: `ssh.service`.

    Gives `service:UNIT`. Who brings the unit goes into `needs`: `package:NAME`, or `file:PATH` of a unit of your own.
    """
    if "." not in unit or unit.rpartition(".")[2] not in _UNITS:
        raise ValueError(f"{id}: a unit's name has its suffix, such as {unit}.service: {unit!r}")
    return Action(
        id=id,
        title=title,
        reason=reason,
        stage=Stage.TARGET,
        operations=(Run(argv=("systemctl", "--root", InTarget("/"), "enable", "--", unit)),),
        proofs=(service_enabled(unit),),
        way_back=goes_with_root(
            f"{unit} is disabled again.", Run(argv=("systemctl", "--root", InTarget("/"), "disable", "--", unit))
        ),
        **_with(more, needs=("base", "tool:systemctl"), gives=(f"service:{unit}",)),
    )


def run(
    id: str,
    *argv: Word,
    title: str,
    reason: str,
    proofs: tuple[Check, ...],
    way_back: WayBack,
    where: Where = Where.TARGET,
    stdin: Content | None = None,
    secrets: tuple[Secret, ...] = (),
    **more: Unpack[ScriptedFields],
) -> Action:
    """Run one command: in the target, or with `where=Where.LIVE` on the live medium, paths of the target as `InTarget`.

    Give the `proofs` that tell whether it is done already (see `bedplate.conditions`; a check runs on the live medium
    unless it says `where=Where.TARGET`), and the true way back: a command may be cut short and run again.
    """
    if not proofs:
        raise ValueError(f"{id}: give a proof, or a rerun would do it again; see bedplate.conditions")
    needs = ("base", Milestone.API_MOUNTED) if where is Where.TARGET else ("base", f"tool:{argv[0]}")
    return Action(
        id=id,
        title=title,
        reason=reason,
        stage=Stage.TARGET,
        operations=(Run(argv=argv, where=where, stdin=stdin),),
        proofs=proofs,
        way_back=way_back,
        secrets=secrets,
        **_with(more, needs=needs),
    )


def by_hand(
    id: str,
    text: str,
    *commands: str,
    title: str,
    reason: str,
    expected: str,
    stage: Stage = Stage.FIRST_BOOT,
    changes: bool = False,
    way_back: WayBack | None = None,
    proofs: tuple[Check, ...] = (),
    audits: tuple[Check, ...] = (),
    away: bool = False,
    **more: Unpack[ActionFields],
) -> Action:
    """Work for a person: `text` says what to do, `commands` are typed as they stand, `expected` is what is seen then.

    Never put a text of the spec into a command unquoted: `shlex.quote` it. With `changes=True` say the `way_back`.
    """
    if changes and way_back is None:
        raise ValueError(f"{id} changes something: give the way back, or a WayBack(possible=False) that says why not")
    needs = (Milestone.FIRST_START,) if stage is Stage.FIRST_BOOT else ()
    return Action(
        id=id,
        title=title,
        reason=reason,
        stage=stage,
        operations=(ByHand(text=text, commands=commands),),
        changes=changes,
        way_back=way_back or NOTHING_TO_UNDO,
        proofs=proofs,
        audits=audits,
        away=away,
        **_with({**more, "expected": expected}, needs=needs),
    )


def ask(name: str, prompt: str, *, file: str = "", min_length: int = 1, max_length: int = 512) -> Secret:
    """A secret that is asked for before the first write, or read from `file` on the live medium. Lengths in characters.

    It goes where a `SecretRef(name)` stands in a content, and never into a spec, an argument or a log.
    """
    return Secret(name=name, prompt=prompt, file=file, min_length=min_length, max_length=max_length)


def _parts(content: str | Content) -> Content:
    return (content,) if isinstance(content, str) else content


def _with(more: ScriptedFields, *, needs: tuple[str, ...] = (), gives: tuple[str, ...] = ()) -> ScriptedFields:
    """What the caller adds, beside what the builder knows. Raises ValueError for a single text: (x) is no tuple."""
    for name in ("needs", "gives"):
        value: object = more.get(name, ())
        if not isinstance(value, tuple):
            raise ValueError(f"{name} must be a tuple, it is a {type(value).__name__}: ({value!r},)")
    return {
        **more,
        "needs": tuple(dict.fromkeys((*needs, *more.get("needs", ())))),
        "gives": tuple(dict.fromkeys((*gives, *more.get("gives", ())))),
    }
