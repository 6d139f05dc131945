"""The plugin contract: what a step brings, what it is given, and the hooks, in the order they are called.

A plugin is a module (or object) named in the entry-point group `bedplate`. It says which version of this contract it
was written for, imports `hookimpl` from `bedplate`, and answers any of the hooks below:

    bedplate_contract = 1

    @hookimpl
    def bedplate_steps():
        return [Step(...)]

A plugin may import `bedplate` and the modules at its top level (`bedplate.actions`, `bedplate.build`, ...), and
nothing from its packages; `bedplate.testing` is for a plugin's tests. An entry point is best named like the section its
plugin brings: if the plugin cannot even be imported, that is how the section is still told apart.

A plugin that breaks is left out and named with its distribution; specs that do not use it compile as before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from importlib import import_module
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import pluggy
from attrs import field, frozen

from bedplate.actions import Action
from bedplate.faults import Fault
from bedplate.functions import Function
from bedplate.schema import json_schema
from bedplate.spec import Machine
from bedplate.survey import Survey, SurveyedDisk

if TYPE_CHECKING:
    from bedplate.changes import Actions, Change
    from bedplate.install_graph import InstallGraph

CONTRACT = 1
"""Version of this contract. A plugin declares the version it was written for as a number, `bedplate_contract = 1`,
never by this name; one that asks for a newer version is refused by name."""

hookspec = pluggy.HookspecMarker("bedplate")
hookimpl = pluggy.HookimplMarker("bedplate")

T = TypeVar("T")


def later(name: str) -> Callable[..., Any]:
    """The function `module:function` that is imported when it is first called. For what only some commands need, such
    as drafts and changes: the others do not wait for it."""
    module, _, function = name.partition(":")

    def imported(*arguments: object) -> Any:
        return getattr(import_module(module), function)(*arguments)

    imported.__module__, imported.__qualname__ = module, function
    return imported


class Context(Protocol):
    """What a step is given besides its own section."""

    @property
    def machine(self) -> Machine:
        """The spec's `[machine]` table."""

    @property
    def survey(self) -> Survey | None:
        """The machine as it is; None if the spec names no survey."""

    def fact(self, kind: type[T]) -> T:
        """The fact of that type, from the step that gives it. Raises Rejected if none can."""

    def has(self, kind: type[object]) -> bool:
        """Whether some step of this spec gives a fact of that type."""

    def extensions(self, kind: type[T]) -> Mapping[str, T]:
        """Every installed extension whose value is of that type, by name. Empty if there is none. For the step that
        opened the point; the word in its section is one of these names, or one of its schema's own."""

    def of_family(self, kind: type[T]) -> T:
        """What the package family of this spec says of one concern: its value of that type, which belongs to whoever
        asks. Raises Rejected naming family and type if it says nothing."""


@frozen(kw_only=True)
class Side:
    """One of the two specs that are compared."""

    section: Any
    """The step's section, its model. None where that spec has no such section: see `Step.comes_and_goes`."""
    context: Context
    actions: Actions = field(hash=False)
    """Every action of the whole install graph, by id."""


@frozen(kw_only=True)
class Step:
    """A step: the owner of one section of the spec."""

    section: str
    """Name of the table in the spec: lower-case letters, digits and underscores, a letter first. The ids of all its
    actions begin with it, and it may be the kind of tokens of its own."""
    title: str
    """One line for `bedplate steps`."""
    model: type[Any]
    """The section, described once: a class made with `bedplate.schema.table`, from which its JSON Schema follows and
    which cattrs fills. Whatever it lets through reaches the step: a text has a pattern of one line without control
    characters unless you narrow it, and what becomes part of a path or of a file's own syntax has to be narrowed."""
    emit: Callable[[Any, Context], Iterable[Action]]
    """The actions of a section, in the order a person would do them. Pure: same input, same answer. What comes first in
    the end follows from their stages, needs and gives. May raise Rejected; anything else it raises is its own fault."""
    validate: Callable[[Any, Context], Iterable[Fault]] | None = None
    """Semantic faults of a section, paths relative to it. Called only when schema and types hold. A fault with
    `warning=True` is shown and stops nothing."""
    facts: Mapping[type[Any], Callable[[Any, Context], Any]] = field(factory=dict, hash=False)
    """Facts this step can give, by type. Called at most once each; may raise Rejected."""
    concerns: tuple[type[Any], ...] = ()
    """Types that it asks the package family for in every spec, see `Context.of_family`: a family that lacks one is a
    fault. What only some sections ask for, `check` looks for."""
    draft: Callable[[Survey, SurveyedDisk | None], str] | None = None
    """A commented TOML text of this section for a surveyed machine, `[section]` header included; the disk is the one a
    person asked for, if any. What only a person can
    decide is left out, with words why, and is a fault until then; the code of such a fault ends in `-undecided`."""
    draft_rank: int = 100
    """Where the section stands in a draft: lower first, equal ones by name."""
    required: bool = False
    """Whether every spec must have the section."""
    changes: Callable[[Side, Side], Iterable[Change]] | None = None
    """What differs between the old section and the new one, in words, what each change takes on an installed machine,
    and the actions where it can be done there: see `bedplate.changes`. Pure. What it leaves out is found by comparing
    the actions. Without it, changes are listed value by value and classed "ask the step's author"."""
    comes_and_goes: bool = False
    """Whether `changes` is also called where only one spec has the section; the other side's `section` is None then.
    Without it a new section's actions are done on the running machine if each is of the stage TARGET, or for a person
    in FIRST_BOOT; those of a section that is gone are taken back if the way back of each is possible and has
    operations. Services begin and end with the next start then: with `changes` they can be started at once."""
    functions: Mapping[str, Function] = field(factory=dict, hash=False)
    """Runtime shell functions by bare name: see `bedplate.functions`. `Folder(__name__)` reads those that lie in the
    package's folder `sh`."""
    points: Mapping[str, type[Any]] = field(factory=dict, hash=False)
    """Extension points: from a top-level text key of the section to the type of what it chooses among. A person may
    write the installed names, and those that the key's own `enum` has."""
    choices: Mapping[str, tuple[str, ...]] = field(factory=dict, hash=False)
    """Installed names for each of the points. Filled in when the registry is made."""

    @cached_property
    def schema(self) -> Mapping[str, Any]:
        """JSON Schema 2020-12 of the section: closed, each key with title and description. Raises TypeError."""
        schema = json_schema(self.model)
        for key in self.points:
            inner = schema["properties"][key]
            inner.pop("pattern", None)
            installed = self.choices.get(key, ())
            inner["enum"] = [*installed, *(name for name in inner.get("enum", ()) if name not in installed)]
        return schema


@frozen(kw_only=True)
class Extension:
    """One more choice of a step that leaves a choice open: a package family, a boot loader, a network manager; or what
    such a choice says of a further concern, which anybody may bring: a family is one extension for each concern."""

    point: str
    """`SECTION.PROPERTY` of the spec, an entry of that step's `points`: "base.family", "bootloader.loader",
    "network.manager"."""
    name: str
    """The word in the spec: lower-case letters, digits, `-` and `_`."""
    value: object = field(hash=False)
    """What the point takes: `bedplate_steps.base.family.PackageFamily`, `bedplate_steps.bootloader.plan.Loader`,
    `bedplate_steps.network.managers.Manager`. Or a frozen attrs value of another type, for whoever asks by that type:
    `Context.of_family`; the module `family` of each built-in step has the types that it asks a package family for."""
    functions: Mapping[str, Function] = field(factory=dict, hash=False)
    """Runtime shell functions of its own, by bare name; each begins with the extension's name and a dash. The step of
    the point calls them `SECTION/NAME`."""


@frozen(kw_only=True)
class Renderer:
    """A rendering of the install graph."""

    name: str
    """The word after `--as`."""
    summary: str
    suffix: str
    """File name suffix with its dot, for several specs with `--out DIR`."""
    render: Callable[[InstallGraph], str]
    """Text of the graph; of a change, it is a `ChangeGraph`. Pure: no clock, no environment. May raise Rejected."""
    executable: bool = False
    marks: tuple[str, ...] = ()
    """Texts that all stand in the first 4096 bytes of every output, with `{machine}` for the machine's name: by them an
    earlier output is known and may be replaced. Without any, `--out` replaces what is there only with `--force`."""


class Hooks:
    """The hooks. Each takes nothing, returns a list, and is called once, when the registry is made."""

    @hookspec
    def bedplate_steps(self) -> list[Step]:  # type: ignore[empty-body]
        """Steps this plugin brings. Called first."""

    @hookspec
    def bedplate_extensions(self) -> list[Extension]:  # type: ignore[empty-body]
        """Choices this plugin adds to steps, its own or another's. Called after `bedplate_steps`."""

    @hookspec
    def bedplate_renderers(self) -> list[Renderer]:  # type: ignore[empty-body]
        """Renderings this plugin brings. Called last."""
