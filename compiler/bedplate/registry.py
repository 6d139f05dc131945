"""Installed plugins. Enters: the entry-point group `bedplate`. Leaves: steps by section, renderers by name, and the
plugins that could not be used, each with its distribution and the reason.

The rest of the program never touches pluggy; a plugin's crash becomes a sentence here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from importlib.metadata import EntryPoint, entry_points
from typing import Any, TypeVar, cast

import attrs
import pluggy
from attrs import frozen

from bedplate.faults import Rejected
from bedplate.hookspecs import CONTRACT, Hooks, Renderer, Step

T = TypeVar("T")

GROUP = "bedplate"
"""The entry-point group plugins register in."""


@frozen(kw_only=True)
class Origin:
    """Where a plugin comes from."""

    plugin: str
    """Name of its entry point."""
    distribution: str
    version: str

    def __str__(self) -> str:
        return f"{self.distribution} {self.version}"


@frozen(kw_only=True)
class Broken:
    """A plugin, or one thing it brings, that cannot be used."""

    origin: Origin
    reason: str
    section: str = ""


@frozen(kw_only=True)
class InstalledStep:
    """A usable step with its origin."""

    step: Step
    origin: Origin


@frozen(kw_only=True)
class Registry:
    """Everything that is installed."""

    steps: Mapping[str, InstalledStep]
    """By section, sorted by section."""
    renderers: Mapping[str, Renderer]
    """By name, sorted by name."""
    broken: tuple[Broken, ...] = ()


def load() -> Registry:
    """The registry of every installed plugin. Never raises for a broken plugin: it is listed in `broken`."""
    known: dict[int, tuple[str, str]] = {}
    found = [(_origin(point, known), point) for point in entry_points(group=GROUP)]
    loaded: list[tuple[Origin, object]] = []
    broken: list[Broken] = []
    for origin, point in sorted(found, key=lambda pair: (pair[0].distribution, pair[0].plugin)):
        try:
            loaded.append((origin, point.load()))
        except Exception as error:
            broken.append(Broken(origin=origin, reason=f"cannot be imported: {_words(error)}"))
    return assemble(loaded, broken)


def assemble(plugins: Iterable[tuple[Origin, object]], broken: Iterable[Broken] = ()) -> Registry:
    """The registry of these plugins. The first of two steps with one section stays, the second is broken."""
    troubles = list(broken)
    steps: dict[str, InstalledStep] = {}
    renderers: dict[str, Renderer] = {}
    for origin, plugin in plugins:
        try:
            brought_steps, brought_renderers = _ask(origin, plugin)
        except Exception as error:
            troubles.append(Broken(origin=origin, reason=_words(error)))
            continue
        for step in brought_steps:
            _admit(step, origin, steps, troubles)
        for renderer in brought_renderers:
            renderers.setdefault(renderer.name, renderer)
    return Registry(
        steps=dict(sorted(steps.items())), renderers=dict(sorted(renderers.items())), broken=tuple(troubles)
    )


def _ask(origin: Origin, plugin: object) -> tuple[list[Step], list[Renderer]]:
    """Call the hooks of one plugin, in a manager of its own so that its faults stay its own."""
    manager = pluggy.PluginManager(GROUP)
    manager.add_hookspecs(Hooks)
    manager.register(plugin, name=origin.plugin)
    _refuse_unmarked(plugin, manager)
    manager.check_pending()
    return (
        _typed(manager.hook.bedplate_steps(), Step, "bedplate_steps"),
        _typed(manager.hook.bedplate_renderers(), Renderer, "bedplate_renderers"),
    )


def _refuse_unmarked(plugin: object, manager: pluggy.PluginManager) -> None:
    marked = {caller.name for caller in manager.get_hookcallers(plugin) or []}
    names = {name for name in dir(plugin) if name.startswith("bedplate_") and callable(getattr(plugin, name))}
    forgotten = sorted(names - marked - {"bedplate_schema"})
    if forgotten:
        raise TypeError(f"{forgotten[0]} lacks the @hookimpl marker")


def _typed(answers: list[Any], kind: type[T], hook: str) -> list[T]:
    out: list[T] = []
    for answer in answers:
        if not isinstance(answer, list | tuple):
            raise TypeError(f"{hook} must return a list, it returned {type(answer).__name__}")
        for item in answer:
            if not isinstance(item, kind):
                raise TypeError(f"{hook} must return {kind.__name__} objects, it returned {type(item).__name__}")
            if cast(Any, item).contract > CONTRACT:
                raise TypeError(f"built for contract {cast(Any, item).contract}; this Bedplate has {CONTRACT}")
            out.append(item)
    return out


def _admit(step: Step, origin: Origin, steps: dict[str, InstalledStep], troubles: list[Broken]) -> None:
    owner = steps.get(step.section)
    if owner is not None:
        reason = f"its section [{step.section}] is owned by {owner.origin} already"
    elif step.section in {"format", "extends", "machine"}:
        reason = f"[{step.section}] belongs to the frame of a spec"
    elif not attrs.has(step.model):
        reason = f"the model of [{step.section}] is not an attrs class"
    else:
        steps[step.section] = InstalledStep(step=step, origin=origin)
        return
    troubles.append(Broken(origin=origin, reason=reason, section=step.section))


def call(origin: Origin, doing: str, function: Callable[..., T], *args: object) -> T:
    """`function(*args)`; a crash becomes PluginError. Rejected passes through: it is the user's fault, in words."""
    try:
        return function(*args)
    except (Rejected, PluginError):
        raise
    except Exception as error:
        raise PluginError(f"plugin {origin.plugin!r} of {origin} failed while {doing}: {_words(error)}") from error


class PluginError(Exception):
    """A plugin broke its contract. The message names plugin, distribution and what it was doing."""


def _origin(point: EntryPoint, known: dict[int, tuple[str, str]]) -> Origin:
    """Where the entry point comes from; `known` keeps each distribution's metadata from being parsed again."""
    distribution = point.dist
    if distribution is None:
        return Origin(plugin=point.name, distribution="unknown", version="0")
    if id(distribution) not in known:
        metadata = distribution.metadata
        known[id(distribution)] = (metadata["Name"], metadata["Version"])
    name, version = known[id(distribution)]
    return Origin(plugin=point.name, distribution=name, version=version)


def _words(error: Exception) -> str:
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text}" if text else type(error).__name__
