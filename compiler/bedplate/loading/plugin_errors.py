"""Whose fault it is. Enters: a plugin's origin and what it did. Leaves: its answers, or a `PluginError` in words.

A crash is told with the innermost line that is the plugin's own; advice goes to its author where the distribution is
installed for editing, else to its user.
"""

from __future__ import annotations

import json
import traceback
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import suppress
from importlib.metadata import distributions
from importlib.util import find_spec
from typing import TypeVar

from attrs import field, frozen

from bedplate.faults import Rejected

T = TypeVar("T")


@frozen(kw_only=True)
class Origin:
    """Where a plugin comes from."""

    plugin: str
    """Name of its entry point."""
    distribution: str
    version: str
    module: str = field(default="", eq=False)
    """The module its entry point names; empty if that is not known."""

    @property
    def built_in(self) -> bool:
        """Whether it is Bedplate's own. Nothing may stand in for a step, rendering, choice or function of its."""
        return self.distribution == "bedplate"

    def __str__(self) -> str:
        return f"{self.distribution} {self.version}"


class PluginError(Exception):
    """A plugin broke its contract. The message names plugin, distribution and what it was doing."""


def call(origin: Origin, doing: str, function: Callable[..., T], *args: object) -> T:
    """`function(*args)`; a crash becomes PluginError. Rejected passes through: it is the user's fault, in words."""
    try:
        return function(*args)
    except (Rejected, PluginError):
        raise
    except (Exception, SystemExit) as error:
        message = (
            f"plugin {origin.plugin!r} of {origin} failed while {doing}: {error_text(error, origin)}{_correct(origin)}"
        )
        raise PluginError(message) from error


def breach(origin: Origin, wrong: str) -> PluginError:
    """A breach of the contract that is no crash, ready to raise."""
    return PluginError(f"plugin {origin.plugin!r} of {origin} broke the contract: {wrong}{_correct(origin)}")


def given(origin: Origin, name: str, answer: object, kind: type[T]) -> Iterator[T]:
    """What the plugin's function `name` gives, one after the other. Raises PluginError for whatever is no `kind`."""
    wanted = f"{name} must give {kind.__name__} objects"
    if not isinstance(answer, Iterable) or isinstance(answer, str | bytes):
        raise breach(origin, f"{wanted}: yield them, or return a list; it gave {type(answer).__name__}")
    for item in _whole(origin, name, answer) if isinstance(answer, Generator) else answer:
        if not isinstance(item, kind):
            raise breach(origin, f"{wanted}, it gave {type(item).__name__}")
        yield item


def _whole(origin: Origin, name: str, answer: Generator[object, None, object]) -> Iterator[object]:
    """Everything a generator yields. What it returns at its end would be lost without a word."""
    returned = yield from answer
    if returned is not None:
        kind = type(returned).__name__
        raise breach(origin, f"{name} yields, so what it returns is lost: yield the {kind} instead of returning it")


# --- words -----------------------------------------------------------------------------------------------------------


def error_text(error: BaseException, origin: Origin) -> str:
    """The error on one line: `ZeroDivisionError: division by zero (lab_printer.py, line 61, in emit)`."""
    text = " ".join(str(error).split())
    told = f"{type(error).__name__}: {text}" if text else type(error).__name__
    return f"{told}{_where(error, origin)}"


def _where(error: BaseException, origin: Origin) -> str:
    """The innermost line of the plugin's own modules that the error came through."""
    package, found = origin.module.partition(".")[0], ""
    for frame, line in traceback.walk_tb(error.__traceback__):
        if package and str(frame.f_globals.get("__name__", "")).partition(".")[0] == package:
            name = frame.f_code.co_name
            inside = f", in {name}" if name != "<module>" else ""
            found = f" ({_base(frame.f_code.co_filename)}, line {line}{inside})"
    return found


def _base(path: str) -> str:
    return path.replace("\\", "/").rpartition("/")[2]


def own_file(origin: Origin) -> str:
    """The file of a distribution that is installed for editing (PEP 660, direct_url.json); empty if it is not."""
    if not any(_for_editing(text) for text in _addresses(origin.distribution)):
        return ""
    with suppress(Exception):  # whatever a plugin's name does to the import system
        place = find_spec(origin.module.partition(".")[0])
        if place is not None and place.origin:
            parts = place.origin.replace("\\", "/").split("/")
            return "/".join(parts[-2:] if parts[-1] == "__init__.py" else parts[-1:])
    return ""


def _addresses(distribution: str) -> Iterator[str]:
    for one in distributions(name=distribution):
        yield one.read_text("direct_url.json") or "{}"


def _for_editing(text: str) -> bool:
    with suppress(ValueError, AttributeError):
        return json.loads(text).get("dir_info", {}).get("editable") is True
    return False


def _correct(origin: Origin) -> str:
    file = own_file(origin)
    return f". Correct it in {file}" if file else ""
