"""Runtime shell functions: what scripts call where one command is not enough, each a text of its own.

A step brings its functions in `Step.functions`, an extension in `Extension.functions`. `Call` and `conditions.holds`
name one `STEP/NAME`; what stands without a step is one of the compiler's, which every step may call. The text:

    # lamp-burns FILE HOURS: the lamp is set to burn that long after dusk.
    # uses: line-in
    verb_buoy_lamp_burns() {
        verb_line_in "$1" "hours=$2"
    }

Its first line names function and arguments. `# uses:` lists what it calls by bare names: functions of its own step
(of an extension: also of the step that it extends), and the compiler's. The shell function is called
`verb_STEP_NAME`, with underscores for dashes (Bedplate's own steps leave STEP out), and further ones in the same text
begin with `verb_STEP_`. It is POSIX shell for dash, bash and busybox; `$TARGET` is the new system's root (empty where
that is `/`), `$DISK` the node of the spec's disk, `$WORK` a folder in memory; names of variables begin with `v_`. A
text holds functions and comments and nothing else: nothing is run because a script was read.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from importlib.resources import files

from attrs import field, frozen

from bedplate.faults import nearest, reject

_USES = re.compile(r"^# uses:(.*)$", re.MULTILINE)


@frozen
class Function:
    """One runtime shell function as it is brought."""

    text: str

    @property
    def uses(self) -> tuple[str, ...]:
        """Names of the functions that its text says it calls."""
        return tuple(name for line in _USES.findall(self.text) for name in line.replace(",", " ").split())


class Folder(Mapping[str, Function]):
    """The functions whose texts lie in the folder `sh` of a package, by name, each read when it is asked for."""

    def __init__(self, package: str, *below: str) -> None:
        self._package, self._below = package, (*below, "sh")
        self._names: tuple[str, ...] | None = None
        self._read: Callable[[str], Function] = cache(lambda name: Function(self.text(f"{name}.sh")))

    def text(self, file: str) -> str:
        """The text of a file of the folder."""
        return files(self._package).joinpath(*self._below, file).read_text(encoding="utf-8")

    def __getitem__(self, name: str) -> Function:
        if name not in self._listed():
            raise KeyError(name)
        return self._read(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._listed())

    def __len__(self) -> int:
        return len(self._listed())

    def _listed(self) -> tuple[str, ...]:
        if self._names is None:
            found = (item.name for item in files(self._package).joinpath(*self._below).iterdir())
            self._names = tuple(sorted(name[:-3] for name in found if name.endswith(".sh") and name[0] != "_"))
        return self._names


SHARED = Folder("bedplate", "rendering")
"""The compiler's own: what its runtime calls, and what several steps share. Files whose names begin with an underscore
are parts of that runtime."""


@frozen
class Entry:
    """A function in its place among all."""

    call: str
    """The name of its shell function."""
    functions: Mapping[str, Function] = field(repr=False, eq=False)
    """Those that it came with, itself among them, by bare name."""


@frozen
class Library:
    """Every function that can be called, by name: `line-in`, `buoy/lamp-burns`."""

    entries: Mapping[str, Entry] = field(hash=False)

    @staticmethod
    def of(*brought: tuple[str, Mapping[str, Function], bool]) -> Library:
        """The compiler's functions, and those of each section; the last word says whether its shell functions go
        without the section's name."""
        entries = {name: Entry(shell_name(name), SHARED) for name in SHARED}
        for section, functions, bare in brought:
            for name in functions:
                call = shell_name(name if bare else f"{section}/{name}")
                entries[f"{section}/{name}"] = Entry(call, functions)
        return Library(entries)

    def __contains__(self, name: str) -> bool:
        return name in self.entries

    def call(self, name: str) -> str:
        """The name of its shell function. Raises Rejected if there is none."""
        return self._entry(name).call

    def __getitem__(self, name: str) -> Function:
        return self._entry(name).functions[name.rpartition("/")[2]]

    def uses(self, name: str) -> tuple[str, ...]:
        """What it calls, by the names of this library."""
        section, slash, _ = name.rpartition("/")
        named = ((section + slash + used, used) for used in self[name].uses)
        return tuple(own if own in self else used for own, used in named)

    def closure(self, names: Iterable[str]) -> tuple[str, ...]:
        """The functions and all they use, sorted by bare name. Raises Rejected for one that does not exist."""
        found: set[str] = set()
        pending = list(names)
        while pending:
            name = pending.pop()
            if name not in found:
                found.add(name)
                pending.extend(self.uses(name))
        return tuple(sorted(found, key=lambda name: (name.rpartition("/")[2], name)))

    def text(self, names: Iterable[str]) -> str:
        """The texts of the functions and of all they use. Raises Rejected for one that does not exist."""
        return "\n".join(self[name].text for name in self.closure(names))

    def unknown(self, name: str) -> str:
        """Why there is no such function, as a sentence with the nearest; empty if there is."""
        if name in self:
            return ""
        near = self._nearest(name)
        return f"there is no verb {name!r}" + (f" (nearest: {near})" if near else "")

    def _nearest(self, name: str) -> str | None:
        """The same function of a step, if the name stands there without one; else the nearest in spelling."""
        end = f"/{name.rpartition('/')[2]}"
        return next((one for one in self.entries if one.endswith(end)), None) or nearest(name, self.entries)

    def _entry(self, name: str) -> Entry:
        if name not in self.entries:
            raise reject("unknown-verb", f"no runtime verb is called {name!r}", nearest=self._nearest(name))
        return self.entries[name]


def shell_name(name: str) -> str:
    """`verb_buoy_lamp_burns` of `buoy/lamp-burns`."""
    return "verb_" + name.replace("-", "_").replace("/", "_")
