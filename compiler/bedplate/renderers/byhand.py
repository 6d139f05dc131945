"""Operations and checks as a person types them. Enters: values of `bedplate.actions`. Leaves: command lines.

The disk is `$DISK`, the target's root `/mnt/target`; a secret stands as `<its prompt>` in a file to be edited. A line
that begins with `# ` is no command but a sentence to the person.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping

from bedplate.actions import (
    TARGET,
    Argv,
    ByHand,
    Call,
    Coding,
    Content,
    Disk,
    Link,
    Operation,
    Outputs,
    Run,
    SecretRef,
    Succeeds,
    Test,
    Typed,
    Where,
    WriteFile,
)
from bedplate.faults import reject
from bedplate.renderers.shell import by_hand, escaped, hides, place, quote, typed


def commands(item: Operation, prompts: Mapping[str, str]) -> list[str]:
    """The commands of one operation, each may span lines. `prompts` gives the words for each secret."""
    if isinstance(item, Run) and item.by_hand:
        return lines(item.by_hand)
    match item:
        case Run():
            into = f" > {by_hand((item.stdout_to,))}" if item.stdout_to is not None else ""
            command = _fed(_inside(item.where) + by_hand(item.argv, item.where) + into, item.stdin, prompts)
            return [*_put_in(item.stdin or (), prompts), command]
        case WriteFile():
            return _write_file(item, prompts)
        case Link():
            return [f"ln -sfnT -- {typed(item.to)} {typed(place(item.path))}"]
        case Call():
            return lines(item.by_hand)
        case ByHand():
            return list(item.commands)


def lines(typed_lines: Iterable[Typed]) -> list[str]:
    """Lines for a person; names were gathered into them when the graph was linked. Raises Rejected if not."""
    if not all(isinstance(line, str) for line in typed_lines):
        raise reject("not-gathered", "names were never gathered into a line for a person")
    return [line for line in typed_lines if isinstance(line, str)]


def looking(test: Test) -> list[str]:
    """The commands with which a person looks whether a test holds; empty if a sentence has to do."""
    match test:
        case Succeeds() | Outputs():
            return [_inside(test.where) + by_hand(test.argv, test.where)]
        case Call():
            return lines(test.by_hand) or _looking(test)


def asking(test: Test) -> list[str]:
    """The same, but each prints a line only if the test holds. Empty: only the script can tell."""
    match test:
        case Succeeds():
            return [f"{looking(test)[0]} > /dev/null && echo yes"]
        case Outputs():
            return [_only(looking(test)[0], test.text.rstrip("\n"))]
        case Call():
            return lines(test.by_hand) or _asking(test)


def showing(test: Test) -> list[str]:
    """What proves to a person that work was done: the same as `asking`, but what a verb looks at is shown as it is."""
    return looking(test) if isinstance(test, Call) else asking(test)


def _only(command: str, line: str) -> str:
    """The command's output, if it is that line."""
    return f"{command} | grep -Fx -e {typed(line)}"


_ENABLED = "enabled|enabled-runtime|static|alias|indirect|generated"
"""States of a unit that the verb `service-enabled` takes; an extended regular expression (POSIX.1-2017, 9.4)."""


def _asking(test: Call) -> list[str]:
    """What the verb looks at, by commands whose output is known if it holds."""
    shown, args = _looking(test), [word for word in test.args if isinstance(word, str)]
    match test.verb, shown:
        case "file-is", [_, mode]:
            content = "".join(part for part in test.stdin or () if isinstance(part, str))
            if any(not isinstance(part, str) for part in test.stdin or ()):
                return shown  # the disk's node stands in it: a person has to read it
            path = by_hand((test.args[0],))
            total = hashlib.sha256(content.encode()).hexdigest()
            return [_only(f"sha256sum < {path}", f"{total}  -"), _only(mode, args[-1])]
        case "mode-is", [mode]:
            return [_only(mode, " ".join(args[-2:]))]
        case "link-is", [link]:
            return [_only(link, args[-1])]
        case "service-enabled", [state]:
            return [f"{state} | grep -Ex -e {quote(_ENABLED)}"]
    return shown


def _looking(test: Call) -> list[str]:
    words = [by_hand((word,)) for word in test.args]
    match test.verb, words:
        case "file-is", [path, _]:
            return [f"cat {path}", f"stat -c %a {path}"]
        case "mode-is", [path, _, _]:
            return [f"stat -c '%a %u:%g' {path}"]
        case "link-is", [path, _]:
            return [f"readlink {path}"]
        case "has-line", [path, line]:
            return [f"grep -Fx -e {line} {path}"]
        case "service-enabled", [root, unit]:
            return [f"systemctl --root={root} is-enabled {unit}"]
        case "is-gone", [path]:
            return [f"[ -e {path} ] || [ -L {path} ] || echo gone"]
        case "service-disabled", [root, unit]:
            enabled = quote("enabled|enabled-runtime|alias")
            return [f"systemctl --root={root} is-enabled {unit} | grep -Ex -e {enabled} > /dev/null || echo disabled"]
        case "tool-present", [tool]:
            return [f"command -v {tool}"]
    return []


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


def needs_disk(items: tuple[Operation, ...]) -> bool:
    """Whether any operation reaches for the disk's node."""
    return any(_has_disk(item.argv if isinstance(item, Run) else getattr(item, "args", ())) for item in items)


def _has_disk(argv: Argv) -> bool:
    return any(isinstance(part, Disk) for word in argv for part in getattr(word, "parts", (word,)))
