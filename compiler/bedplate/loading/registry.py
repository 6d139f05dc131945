"""Installed plugins. Enters: the entry-point group `bedplate`. Leaves: steps by section, extensions by type,
renderings by name, and what could not be used, each with its distribution, the reason, and what to do.

The rest of the program never touches pluggy; a plugin's crash becomes a sentence here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib.metadata import Distribution, EntryPoint, entry_points
from typing import Any, TypeVar

import pluggy
from attrs import evolve, field, frozen

from bedplate.functions import Library
from bedplate.hookspecs import Extension, Hooks, Renderer, Step
from bedplate.loading.plugin_errors import Origin, error_text, own_file
from bedplate.loading.validate_functions import Claims, UnusableFunctions
from bedplate.loading.validate_plugin import contract_trouble, extension_trouble, renderer_trouble, step_trouble

T = TypeVar("T")
_Bringer = TypeVar("_Bringer", Step, Extension)

GROUP = "bedplate"
"""The entry-point group plugins register in."""


@frozen(kw_only=True)
class Plugin:
    """A plugin that could be imported and keeps to the contract."""

    origin: Origin
    contract: int
    seconds: float = 0.0
    """How long its import took, by the clock that `load` was given."""


@frozen(kw_only=True)
class Broken:
    """A plugin, or one thing it brings, that cannot be used."""

    origin: Origin
    reason: str
    remedy: str = ""
    """What to do about it."""
    section: str = ""
    """The section it would have brought, where that is known."""

    def __str__(self) -> str:
        file = "" if self.remedy else own_file(self.origin)
        update = f"Update {self.origin.distribution}, or remove it; specs that do not use it compile."
        remedy = self.remedy or (f"Correct it in {file}." if file else update)
        return f"plugin {self.origin.plugin!r} of {self.origin} cannot be used: {self.reason}. {remedy}"


@frozen(kw_only=True)
class InstalledStep:
    """A usable step with its origin."""

    step: Step
    origin: Origin
    contract: int = 1


@frozen(kw_only=True)
class InstalledExtension:
    """A usable extension with its origin."""

    extension: Extension
    origin: Origin

    @property
    def section(self) -> str:
        """The section whose point it is."""
        return self.extension.point.partition(".")[0]


@frozen(kw_only=True)
class InstalledRenderer:
    """A usable rendering with its origin."""

    renderer: Renderer
    origin: Origin


@frozen(kw_only=True)
class Registry:
    """Everything that is installed."""

    steps: Mapping[str, InstalledStep]
    """By section, sorted by section. The schemas know every installed extension."""
    extensions: Mapping[type, Mapping[str, InstalledExtension]] = field(factory=dict)
    """By the type of the value, that of a point before all others; then by name, in the order they were found."""
    renderers: Mapping[str, InstalledRenderer]
    """By name, sorted by name."""
    broken: tuple[Broken, ...] = ()
    plugins: tuple[Plugin, ...] = ()
    library: Library = field(init=False, repr=False, eq=False)
    """Every runtime function that the compiler, these steps and these extensions bring."""

    @library.default
    def _library(self) -> Library:
        steps = ((own.step.section, own.step.functions, own.origin) for own in self.steps.values())
        choices = [one for of_point in self.extensions.values() for one in of_point.values()]
        added = ((one.section, one.extension.functions, one.origin) for one in choices)
        every = ((section, functions, origin.built_in) for section, functions, origin in (*steps, *added))
        return Library.of(*every)

    def brought(self) -> dict[tuple[str, str, Origin], tuple[str, ...]]:
        """Names of the types of all extensions, by point, name and origin, sorted by point."""
        found: dict[tuple[str, str, Origin], tuple[str, ...]] = {}
        for kind, names in self.extensions.items():
            for name, one in names.items():
                key = (one.extension.point, name, one.origin)
                found[key] = (*found.get(key, ()), kind.__name__)
        return dict(sorted(found.items(), key=lambda pair: pair[0][0]))

    def without(self, section: str, reason: str) -> Registry:
        """The registry with that step among the broken ones."""
        origin = self.steps[section].origin
        steps = {name: own for name, own in self.steps.items() if name != section}
        return evolve(self, steps=steps, broken=(*self.broken, Broken(origin=origin, reason=reason, section=section)))


def load(clock: Callable[[], float] = lambda: 0.0) -> Registry:
    """The registry of every installed plugin. Never raises for a broken plugin: it is listed in `broken`.

    `clock` gives seconds from any start; with the one given by default no import time is taken.
    """
    found = sorted(((_origin(point), point) for point in entry_points(group=GROUP)), key=lambda pair: _rank(pair[0]))
    loaded: list[tuple[Origin, object]] = []
    broken: list[Broken] = []
    seconds: dict[Origin, float] = {}
    for origin, point in found:
        begun = clock()
        try:
            loaded.append((origin, point.load()))
        except (Exception, SystemExit) as error:
            broken.append(_import_trouble(origin, error))
        seconds[origin] = clock() - begun
    installed = assemble(loaded, broken)
    return evolve(installed, plugins=tuple(evolve(one, seconds=seconds[one.origin]) for one in installed.plugins))


def _rank(origin: Origin) -> tuple[bool, str, str]:
    return not origin.built_in, origin.distribution, origin.plugin


def _import_trouble(origin: Origin, error: BaseException) -> Broken:
    remedy = "" if own_file(origin) else f"Install {origin.distribution} anew, update it, or remove it."
    if isinstance(error, ImportError) and (error.name or "").split(".")[0] == "bedplate":
        remedy = f"It wants another Bedplate than this one: update Bedplate, or {origin.distribution}."
    return Broken(origin=origin, reason=f"it cannot be imported: {_words(error, origin)}", remedy=remedy)


@frozen(kw_only=True)
class _Brought:
    """What the hooks of one plugin answered."""

    plugin: Plugin
    steps: list[Step]
    extensions: list[Extension]
    renderers: list[Renderer]


def assemble(plugins: Iterable[tuple[Origin, object]], broken: Iterable[Broken] = ()) -> Registry:
    """The registry of these plugins. Of two things with one name the first stays, the second is broken."""
    troubles = list(broken)
    brought = [given for origin, plugin in plugins if (given := _asked(origin, plugin, troubles)) is not None]
    steps: dict[str, InstalledStep] = {}
    renderers: dict[str, InstalledRenderer] = {}
    claims = Claims()
    for given in brought:
        for step in given.steps:
            _admit_step(step, given.plugin, steps, claims, troubles)
        for renderer in given.renderers:
            _admit_renderer(renderer, given.plugin.origin, renderers, troubles)
    extensions = _extensions(brought, steps, claims, troubles)
    whole = {section: _completed(own, extensions) for section, own in steps.items()}
    return Registry(
        steps=dict(sorted(whole.items())),
        extensions=extensions,
        renderers=dict(sorted(renderers.items())),
        broken=tuple(troubles),
        plugins=tuple(given.plugin for given in brought),
    )


# --- asking one plugin -----------------------------------------------------------------------------------------------


def _asked(origin: Origin, plugin: object, troubles: list[Broken]) -> _Brought | None:
    reason, remedy = contract_trouble(plugin)
    if reason:
        troubles.append(Broken(origin=origin, reason=reason, remedy=remedy))
        return None
    try:
        return _ask(origin, plugin)
    except (Exception, SystemExit) as error:
        troubles.append(Broken(origin=origin, reason=_words(error, origin)))
        return None


def _ask(origin: Origin, plugin: object) -> _Brought:
    """Call the hooks of one plugin, in a manager of its own so that its faults stay its own."""
    manager = pluggy.PluginManager(GROUP)
    manager.add_hookspecs(Hooks)
    manager.register(plugin, name=origin.plugin)
    _refuse_unmarked(plugin, manager)
    manager.check_pending()
    return _Brought(
        plugin=Plugin(origin=origin, contract=int(getattr(plugin, "bedplate_contract", 0))),
        steps=_typed(manager.hook.bedplate_steps(), Step, "bedplate_steps"),
        extensions=_typed(manager.hook.bedplate_extensions(), Extension, "bedplate_extensions"),
        renderers=_typed(manager.hook.bedplate_renderers(), Renderer, "bedplate_renderers"),
    )


def _refuse_unmarked(plugin: object, manager: pluggy.PluginManager) -> None:
    marked = {caller.name for caller in manager.get_hookcallers(plugin) or []}
    hooks = {name for name in vars(Hooks) if name.startswith("bedplate_")}
    forgotten = sorted(name for name in hooks - marked if callable(getattr(plugin, name, None)))
    if forgotten:
        raise _BrokenContract(f"{forgotten[0]} lacks the @hookimpl marker")
    if not marked:
        raise _BrokenContract(f"it answers none of the hooks {', '.join(sorted(hooks))}")


def _typed(answers: list[Any], kind: type[T], hook: str) -> list[T]:
    for answer in answers:
        if not isinstance(answer, list | tuple):
            raise _BrokenContract(f"{hook} must return a list, it returned {type(answer).__name__}")
        for item in answer:
            if not isinstance(item, kind):
                raise _BrokenContract(f"{hook} must return {kind.__name__} objects, it returned {type(item).__name__}")
    return [item for answer in answers for item in answer]


# --- admitting what it brought ---------------------------------------------------------------------------------------


def _admit_step(
    step: Step, plugin: Plugin, steps: dict[str, InstalledStep], claims: Claims, troubles: list[Broken]
) -> None:
    reason = step_trouble(step)
    if not reason and step.section in steps:
        reason = _taken(f"[{step.section}]", steps[step.section].origin, plugin.origin)
    if not reason:
        reason, step = _with_functions(step, step.section, plugin.origin, claims)
    if reason:
        troubles.append(Broken(origin=plugin.origin, reason=reason, section=str(step.section)))
    else:
        steps[step.section] = InstalledStep(step=step, origin=plugin.origin, contract=plugin.contract)


def _admit_renderer(
    renderer: Renderer, origin: Origin, renderers: dict[str, InstalledRenderer], troubles: list[Broken]
) -> None:
    reason = renderer_trouble(renderer)
    if not reason and renderer.name in renderers:
        reason = _taken(f"the rendering {renderer.name}", renderers[renderer.name].origin, origin)
    if reason:
        troubles.append(Broken(origin=origin, reason=reason))
    else:
        renderers[renderer.name] = InstalledRenderer(renderer=renderer, origin=origin)


def _extensions(
    brought: list[_Brought], steps: Mapping[str, InstalledStep], claims: Claims, troubles: list[Broken]
) -> dict[type, dict[str, InstalledExtension]]:
    points = {f"{section}.{key}": kind for section, own in steps.items() for key, kind in own.step.points.items()}
    given = [(one.plugin.origin, extension) for one in brought for extension in one.extensions]
    choices = {
        (one.point, one.name) for _, one in given if one.point in points and isinstance(one.value, points[one.point])
    }
    found: dict[type, dict[str, InstalledExtension]] = {}
    for origin, extension in given:
        reason = extension_trouble(extension, points, choices)
        kind, what = type(extension.value), f"{type(extension.value).__name__} of {extension.name}"
        if not reason and isinstance(extension.value, points[extension.point]):
            kind, what = points[extension.point], f"{extension.name} of {extension.point}"
        there = found.get(kind, {}) if not reason else {}
        if not reason and extension.name in there:
            reason = _taken(what, there[extension.name].origin, origin)
        if not reason:
            section = extension.point.partition(".")[0]
            reason, extension = _with_functions(extension, section, origin, claims, extension.name)
        if reason:
            troubles.append(Broken(origin=origin, reason=reason))
        else:
            found.setdefault(kind, {})[extension.name] = InstalledExtension(extension=extension, origin=origin)
    return found


def _with_functions(
    brought: _Bringer, section: str, origin: Origin, claims: Claims, extension: str = ""
) -> tuple[str, _Bringer]:
    """Why the functions of a step or an extension cannot be used, or nothing; and it with those that were looked at."""
    try:
        return "", evolve(brought, functions=claims.taken(section, brought.functions, origin, extension))
    except UnusableFunctions as error:
        return str(error), brought
    except Exception as error:
        return _words(error, origin), brought


def _completed(own: InstalledStep, extensions: Mapping[type, Mapping[str, InstalledExtension]]) -> InstalledStep:
    choices = {key: tuple(extensions.get(kind, ())) for key, kind in own.step.points.items()}
    return evolve(own, step=evolve(own.step, choices=choices)) if choices else own


def _taken(what: str, owner: Origin, other: Origin) -> str:
    if owner == other:
        return f"it brings {what} twice"
    return f"{what} is built in and cannot be replaced" if owner.built_in else f"{owner} has {what} already"


class _BrokenContract(Exception):
    """The reason is a sentence of ours already."""


def _origin(point: EntryPoint) -> Origin:
    distribution, version = _named(point.dist) if point.dist is not None else ("unknown", "0")
    return Origin(plugin=point.name, distribution=distribution, version=version, module=point.module)


@cache
def _named(distribution: Distribution) -> tuple[str, str]:
    """Name and version, from the head of the metadata: to read them whole, with the README, takes a hundred times as
    long (core metadata specification: fields, an empty line, the description)."""
    head = (distribution.read_text("METADATA") or distribution.read_text("PKG-INFO") or "").partition("\n\n")[0]
    fields = dict(line.split(": ", 1) for line in head.splitlines() if line.startswith(("Name: ", "Version: ")))
    return fields.get("Name", "unknown"), fields.get("Version", "0")


def _words(error: BaseException, origin: Origin) -> str:
    return str(error) if isinstance(error, _BrokenContract) else error_text(error, origin)
