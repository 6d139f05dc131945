"""The plugin contract: what a step brings, what it is given, and the two hooks, in the order they are called.

A plugin is a module (or object) named in the entry-point group `bedplate`; it imports `hookimpl` from `bedplate` and
answers the hooks below. Everything a plugin may import stands in `bedplate`, `bedplate.actions`, `bedplate.checks`,
`bedplate.facts`, `bedplate.survey`, `bedplate.units` and `bedplate.faults`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import pluggy
from attrs import field, frozen

from bedplate.actions import Action
from bedplate.faults import Fault
from bedplate.spec import Machine
from bedplate.survey import Survey

if TYPE_CHECKING:
    from bedplate.graph import InstallGraph

CONTRACT = 1
"""Version of this contract. A step built for another version is refused by name."""

hookspec = pluggy.HookspecMarker("bedplate")
hookimpl = pluggy.HookimplMarker("bedplate")

T = TypeVar("T")


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


@frozen(kw_only=True)
class Step:
    """A step: the owner of one section of the spec."""

    section: str
    """Name of the table in the spec; the ids of all its actions begin with it."""
    title: str
    """One line for `bedplate steps`."""
    schema: Mapping[str, Any] = field(hash=False)
    """JSON Schema 2020-12 of the section: an object, closed with `unevaluatedProperties: false`, every property with
    `title` and `description`."""
    model: type[Any]
    """Frozen attrs class the section is turned into by cattrs. Fields of type `bedplate.units.Size` or `Request` take
    text such as "56GiB"."""
    emit: Callable[[Any, Context], Iterable[Action]]
    """The actions of a section, in the order a person would do them. Pure: same input, same answer."""
    check: Callable[[Any, Context], Iterable[Fault]] | None = None
    """Semantic faults of a section, paths relative to it. Called only when schema and types hold."""
    facts: Mapping[type[Any], Callable[[Any, Context], Any]] = field(factory=dict, hash=False)
    """Facts this step can give, by type. Called at most once each; may raise Rejected."""
    draft: Callable[[Survey], str] | None = None
    """A commented TOML text of this section for a surveyed machine, `[section]` header included."""
    draft_rank: int = 100
    """Where the section stands in a draft: lower first, equal ones by name."""
    required: bool = False
    """Whether every spec must have the section."""
    contract: int = CONTRACT


@frozen(kw_only=True)
class Renderer:
    """A rendering of the install graph."""

    name: str
    """The word after `--as`."""
    summary: str
    suffix: str
    """File name suffix with its dot, for several specs with `--out DIR`."""
    render: Callable[[InstallGraph], str]
    """Text of the graph. Pure: no clock, no environment."""
    executable: bool = False
    contract: int = CONTRACT


class Hooks:
    """The hooks. All are called once, when the registry is made; answers are lists."""

    @hookspec
    def bedplate_steps(self) -> list[Step]:  # type: ignore[empty-body]
        """Steps this plugin brings. Called first. Return an empty list for none."""

    @hookspec
    def bedplate_renderers(self) -> list[Renderer]:  # type: ignore[empty-body]
        """Renderings this plugin brings. Called after `bedplate_steps`."""
