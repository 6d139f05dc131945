"""Ready-made checks for guards and proofs. Each returns a `Check`; none runs anything.

The functions named here lie in `rendering/sh/`.
"""

from __future__ import annotations

from bedplate.actions import Argv, Call, Check, Content, InTarget, Outputs, Succeeds, Typed, Where, Word


def succeeds(says: str, *argv: Word, where: Where = Where.LIVE, otherwise: str = "", early: bool = True) -> Check:
    """The command exits with 0."""
    return Check(says=says, test=Succeeds(argv=argv, where=where), otherwise=otherwise, early=early)


def outputs(
    says: str,
    text: str,
    *argv: Word,
    exactly: bool = True,
    where: Where = Where.LIVE,
    otherwise: str = "",
    early: bool = True,
) -> Check:
    """The command's output is `text`, or with `exactly=False` has it as a line."""
    test = Outputs(argv=argv, text=text, exactly=exactly, where=where)
    return Check(says=says, test=test, otherwise=otherwise, early=early)


def holds(
    says: str,
    verb: str,
    *args: Word,
    stdin: Content | None = None,
    otherwise: str = "",
    early: bool = True,
    by_hand: tuple[Typed, ...] = (),
) -> Check:
    """The runtime function `verb` succeeds. `by_hand`: commands for a person, each prints a line only if it holds."""
    test = Call(verb=verb, args=args, stdin=stdin, by_hand=by_hand)
    return Check(says=says, test=test, otherwise=otherwise, early=early)


def file_is(path: str, content: Content, mode: int = 0o644) -> Check:
    """The target's file holds exactly `content` and has `mode` (octal number). Not for contents with secrets."""
    args: Argv = (InTarget(path), f"{mode:o}")
    return holds(f"{path} is as planned", "file-is", *args, stdin=content, early=False)


def file_mode_is(path: str, mode: int, owner: str = "0:0") -> Check:
    """The target's file exists and has `mode` (octal number) and `owner` (UID:GID)."""
    return holds(
        f"{path} has mode {mode:04o}, owner {owner}", "mode-is", InTarget(path), f"{mode:o}", owner, early=False
    )


def link_is(path: str, to: str) -> Check:
    """The target's symbolic link points to `to`, literally."""
    return holds(f"{path} points to {to}", "link-is", InTarget(path), to, early=False)


def file_has_line(path: str, line: str) -> Check:
    """The target's file has exactly that line."""
    return holds(f"{path} has the line {line!r}", "has-line", InTarget(path), line, early=False)


def block_is(path: str, marker: str, text: str, comment: str = "#") -> Check:
    """The target's file has the block of that marker (see `build.append`), and it holds exactly `text`."""
    says = f"{path} has the block {marker} as planned"
    return holds(says, "block-is", InTarget(path), marker, comment, stdin=(text,), early=False)


def service_enabled(unit: str) -> Check:
    """The unit is enabled in the target (systemctl --root works on files alone)."""
    return holds(f"The service {unit} is enabled", "service-enabled", InTarget("/"), unit, early=False)


def tool_present(name: str) -> Check:
    """The command is on the live medium."""
    return holds(
        f"The live medium has {name}",
        "tool-present",
        name,
        otherwise=f"Use a medium that has {name}, or install the package that brings it, then run again.",
    )
