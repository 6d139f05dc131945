"""Whether the runtime functions that a plugin brings may be used. Enters: functions, and who brings them. Leaves: the
reason against them as a sentence, empty if there is none.

How they are written in further respects, the plugin's own tests with `bedplate.testing` find out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from bedplate.functions import SHARED, Function, shell_name
from bedplate.loading.plugin_errors import Origin
from bedplate.loading.shell_definitions import NotOnlyFunctions, defined

_NAME = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")


class UnusableFunctions(Exception):
    """The message is the reason, a sentence of ours."""


class Claims:
    """Which shell function is whose, so that none takes the place of another."""

    def __init__(self) -> None:
        self._owners = {shell_name(name): f"the compiler's {name}" for name in SHARED}
        self._called = {"": frozenset(SHARED)}
        """What may be called besides one's own: by anybody, and by extensions of a section."""

    def taken(
        self, section: str, functions: Mapping[str, Function], origin: Origin, extension: str = ""
    ) -> Mapping[str, Function]:
        """The functions of a step, or of an extension of it. Raises UnusableFunctions."""
        if origin.built_in:  # as they are: Bedplate's own tests have looked at them
            self._owners.update((shell_name(name), f"{section}/{name} of {origin}") for name in functions)
            self._called.setdefault(section, frozenset(functions))
            return functions
        if not isinstance(functions, Mapping):
            raise UnusableFunctions(f"functions of [{section}] must be a mapping from a name to a Function")
        known, begin = dict(functions.items()), f"{extension.replace('_', '-')}-" if extension else ""
        callable_here = self._called[""] | known.keys() | (self._called[section] if extension else frozenset())
        owners = dict(self._owners)
        for name, function in known.items():
            if found := next(_troubles(section, name, function, callable_here, begin, owners), ""):
                raise UnusableFunctions(f"the function {section}/{name}: {found}")
            owners.update(dict.fromkeys(defined(function.text), f"{section}/{name} of {origin}"))
        self._owners = owners
        self._called.setdefault(section, frozenset(known))
        return known


def _troubles(
    section: str, name: Any, function: Any, called: frozenset[str], begin: str, owners: Mapping[str, str]
) -> Iterator[str]:
    if not isinstance(name, str) or _NAME.fullmatch(name) is None:
        yield "a name has lower-case letters, digits and single dashes between them"
        return
    if not isinstance(function, Function) or not isinstance(function.text, str):
        yield "it must be a Function with a text"
        return
    if name in SHARED:
        yield f"{name} is one of the compiler's functions and cannot be replaced"
    if not name.startswith(begin):
        yield f"the names of an extension's functions begin with its own: {begin}"
    try:
        names = defined(function.text)
    except NotOnlyFunctions as error:
        yield str(error)
        return
    shell, prefix = shell_name(f"{section}/{name}"), shell_name(f"{section}/{begin}")
    if shell not in names:
        yield f"it must define the shell function {shell}"
    yield from (f"{one} must begin with {prefix}" for one in names if not one.startswith(prefix))
    yield from (f"{one} belongs to {owners[one]} already" for one in names if one in owners)
    for used in function.uses:
        if used not in called:
            yield f"it says that it uses {used}, and there is no such function of its own or of the compiler's"
