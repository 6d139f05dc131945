"""The shell text that scripts carry along: runtime parts (`sh/_PART.sh`) and verbs (`sh/VERB.sh`).

Enters: verb names. Leaves: the text of those verbs and of every verb they use, each once, in a fixed order.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable
from importlib.resources import files

from bedplate.faults import nearest, reject

_USES = re.compile(r"^# uses:(.*)$", re.MULTILINE)
_VERB = re.compile(r"[a-z][a-z0-9-]*")


def part(name: str) -> str:
    """The runtime part `sh/_NAME.sh`."""
    return _text(f"_{name}")


def verbs(names: Iterable[str]) -> str:
    """The verbs and all they use, sorted by name. Raises Rejected for a verb that does not exist."""
    found: dict[str, str] = {}
    pending = sorted(set(names))
    while pending:
        verb = pending.pop()
        if verb not in found:
            found[verb] = _verb(verb)
            pending.extend(uses(found[verb]))
    return "\n".join(found[verb] for verb in sorted(found))


def uses(text: str) -> tuple[str, ...]:
    """Names of the verbs that a verb's text says it uses."""
    return tuple(name for line in _USES.findall(text) for name in line.replace(",", " ").split())


@functools.cache
def known() -> tuple[str, ...]:
    """Names of all verbs, sorted."""
    names = (item.name for item in (files("bedplate.rendering") / "sh").iterdir())
    return tuple(sorted(name.removesuffix(".sh") for name in names if name.endswith(".sh") and name[0] != "_"))


def function(verb: str) -> str:
    """The shell function of a verb."""
    return "verb_" + verb.replace("-", "_")


def _verb(verb: str) -> str:
    if _VERB.fullmatch(verb) is None or verb not in known():
        raise reject("unknown-verb", f"no runtime verb is called {verb!r}", nearest=nearest(verb, known()))
    return _text(verb)


@functools.cache
def _text(stem: str) -> str:
    return (files("bedplate.rendering") / "sh" / f"{stem}.sh").read_text(encoding="utf-8")
