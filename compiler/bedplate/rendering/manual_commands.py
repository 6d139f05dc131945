"""Operations as a person types them. Enters: values of `bedplate.actions`. Leaves: command lines.

The disk is `$DISK`, the target's root `/mnt/target`; a secret stands as `<its prompt>` in a file to be edited. A line
that begins with `# ` is no command but a sentence to the person.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bedplate.actions import (
    TARGET,
    ByHand,
    Call,
    Coding,
    Content,
    Disk,
    Link,
    Operation,
    Run,
    SecretRef,
    Typed,
    Where,
    WriteFile,
)
from bedplate.faults import reject
from bedplate.rendering.quoting import by_hand, escaped, hides, place, quote, typed
from bedplate.rendering.shell_helpers import on_disk


def commands(item: Operation, prompts: Mapping[str, str]) -> list[str]:
    """The commands of one operation, each may span lines. `prompts` gives the words for each secret."""
    if isinstance(item, Run) and item.by_hand:
        return [on_disk(line) for line in lines(item.by_hand)]
    match item:
        case Run():
            into = f" > {by_hand((item.stdout_to,))}" if item.stdout_to is not None else ""
            line = on_disk(_inside(item.where) + by_hand(item.argv, item.where) + into)
            command = _fed(line, item.stdin, prompts)
            return [*_put_in(item.stdin or (), prompts), command]
        case WriteFile():
            return _write_file(item, prompts)
        case Link():
            return [f"ln -sfnT -- {typed(item.to)} {typed(place(item.path))}"]
        case Call():
            return [on_disk(line) for line in lines(item.by_hand)]
        case ByHand():
            return lines(item.commands)


def lines(typed_lines: Iterable[Typed]) -> list[str]:
    """Lines for a person; names were gathered into them when the graph was linked. Raises Rejected if not."""
    if not all(isinstance(line, str) for line in typed_lines):
        raise reject("not-gathered", "names were never gathered into a line for a person")
    return [line for line in typed_lines if isinstance(line, str)]


def _inside(where: Where) -> str:
    return f"chroot {TARGET} " if where is Where.TARGET else ""


def _write_file(item: WriteFile, prompts: Mapping[str, str]) -> list[str]:
    path, (user, group) = typed(place(item.path)), item.owner.split(":")
    made = f"install -D -m {item.mode:o} -o {quote(user)} -g {quote(group)} /dev/null {path}"
    text = _literal(item.content, prompts)
    filled = f"{_printed(item.content, prompts)} > {path}" if text is None else _here(f"cat > {path}", text)
    return [made, filled, *_replaced(item.content, path, prompts)]


def _put_in(content: Content, prompts: Mapping[str, str]) -> list[str]:
    names = dict.fromkeys(_text(part, prompts) for part in content if isinstance(part, SecretRef))
    return [f"# Put the secret itself in the place of `{name}`, then press Enter:" for name in names]


def _replaced(content: Content, path: str, prompts: Mapping[str, str]) -> list[str]:
    """What follows a file in which prompts stand for secrets: they have to be replaced, and none may be left."""
    secrets = [part for part in content if isinstance(part, SecretRef)]
    if not secrets:
        return []
    twice = " A backslash in it is written twice." if any(part.coding is Coding.KEYFILE for part in secrets) else ""
    names = dict.fromkeys(_text(part, prompts) for part in secrets)
    return [
        f"# Now put the secret itself in the place of `{'`, `'.join(names)}`, with its `<` and `>`.{twice}",
        f"vi {path}",
        *(f"grep -F -e {quote(name)} {path} && echo 'STILL TO BE REPLACED'" for name in names),
        "# The last command must print nothing.",
    ]


def _fed(command: str, content: Content | None, prompts: Mapping[str, str]) -> str:
    """A command with its standard input: from a here-document, or from printf where none can hold the content."""
    if content is None:
        return command
    text = _literal(content, prompts)
    if text is None:
        return f"{_printed(content, prompts)} | {command}"
    return _here(command, text)


def _here(command: str, text: str) -> str:
    mark = "END"
    while mark in text.split("\n"):
        mark += "."
    return f"{command} <<'{mark}'\n{text}{mark}"


def _literal(content: Content, prompts: Mapping[str, str]) -> str | None:
    """The text of a content that a here-document can hold, or None."""
    text = "".join("\0" if isinstance(part, Disk) else _text(part, prompts) for part in content)
    return text if text.endswith("\n") and not hides(text) else None


def _printed(content: Content, prompts: Mapping[str, str]) -> str:
    """A printf command that prints the content."""
    parts = [part if isinstance(part, Disk) else _text(part, prompts) for part in content]
    plain = not any(isinstance(part, str) and hides(part) for part in parts)
    words = ['"$DISK"' if isinstance(part, Disk) else quote(part) if plain else escaped(part) for part in parts]
    return f"printf '{'%s' if plain else '%b'}' {' '.join(words) or quote('')}"


def _text(part: str | SecretRef, prompts: Mapping[str, str]) -> str:
    return f"<{prompts.get(part.name, part.name)}>" if isinstance(part, SecretRef) else part
