"""Operations and checks as commands of the script. Enters: values of `bedplate.actions`. Leaves: lines of a function.

A line may hold a text with line ends inside its quotes; every line ends by returning 1 to its caller if it fails.
"""

from __future__ import annotations

from collections.abc import Iterable

from bedplate.actions import (
    ByHand,
    Call,
    Check,
    Content,
    Link,
    Operation,
    Outputs,
    Run,
    Succeeds,
    Test,
    Where,
    WriteFile,
    walk,
)
from bedplate.functions import Library
from bedplate.rendering import manual_commands
from bedplate.rendering.quoting import indent, message, printing, quote, vector, word

FAIL = " || return 1"


def operations(items: Iterable[Operation], library: Library) -> list[str]:
    """The commands of several operations, in order; a lone `:` if there are none."""
    return [line for item in items for line in operation(item, library)] or [":"]


def operation(item: Operation, library: Library) -> list[str]:
    """The commands of one operation."""
    match item:
        case Run():
            return _run(item)
        case WriteFile():
            return _write_file(item)
        case Link():
            return [f"run verb_make_link {word(item.path)} {quote(item.to)}{FAIL}"]
        case Call():
            return _call(item, library)
        case ByHand():
            texts = (item.text, *manual_commands.lines(item.commands))
            return [f"by_hand {' '.join(map(message, texts))}{FAIL}"]


def fill(content: Content) -> list[str]:
    """Commands that put a content into the file `$IN`."""
    parts = printing(content)
    if len(parts) < 2:
        return [f'{"".join(parts) or ":"} >"$IN"{FAIL}']
    inner = [f"{part} &&" for part in parts[:-1]] + parts[-1:]
    return ["{", *indent(inner), f'}} >"$IN"{FAIL}']


def check(item: Check, library: Library, then: str = FAIL) -> list[str]:
    """The commands that try one check; `then` is what follows if it does not hold."""
    says, otherwise = message(item.says), message(item.otherwise)
    stdin = item.test.stdin if isinstance(item.test, Call) else None
    end = ' <"$IN"' if stdin is not None else ""
    before = fill(stdin) if stdin is not None else []
    return [*before, f"expect {says} {otherwise} \\", *indent([f"{test(item.test, library)}{end}{then}"])]


def test(item: Test, library: Library) -> str:
    """One test as a command."""
    match item:
        case Succeeds():
            return f"succeeds {_inside(item.where)}{vector(item.argv, item.where)}"
        case Outputs():
            how = "exactly" if item.exactly else "line"
            text = quote(item.text.rstrip("\n"))
            return f"prints {how} {text} {_inside(item.where)}{vector(item.argv, item.where)}"
        case Call():
            return _verb(item, library)


def verbs(value: object) -> set[str]:
    """Names of the verbs that are called anywhere in it, or by which its operations are carried out."""
    own = {WriteFile: "write-file", Link: "make-link"}
    found = (item.verb if isinstance(item, Call) else own.get(type(item)) for item in walk(value))
    return {verb for verb in found if verb}


def _run(item: Run) -> list[str]:
    before = fill(item.stdin) if item.stdin is not None else []
    end = ' <"$IN"' if item.stdin is not None else ""
    start = "run " if item.stdout_to is None else f"run_into {word(item.stdout_to)} "
    return [*before, f"{start}{_inside(item.where)}{vector(item.argv, item.where)}{end}{FAIL}"]


def _write_file(item: WriteFile) -> list[str]:
    target = f"{word(item.path)} {item.mode:o} {quote(item.owner)}"
    return [*fill(item.content), f'run verb_write_file {target} <"$IN"{FAIL}']


def _call(item: Call, library: Library) -> list[str]:
    before = fill(item.stdin) if item.stdin is not None else []
    end = ' <"$IN"' if item.stdin is not None else ""
    shown = [f"same_as {' '.join(map(message, manual_commands.lines(item.by_hand)))}"] if item.by_hand else []
    return [*before, *shown, f"run {_verb(item, library)}{end}{FAIL}"]


def _verb(item: Call, library: Library) -> str:
    return " ".join(part for part in (library.call(item.verb), vector(item.args)) if part)


def _inside(where: Where) -> str:
    return "in_target " if where is Where.TARGET else ""
