"""Plugins: what is taken, what is refused, and in which words."""

from __future__ import annotations

from typing import Any

import pytest

from bedplate.hookspecs import Renderer, Step, hookimpl
from bedplate.loading.plugin_errors import Origin, PluginError, call
from bedplate.loading.registry import assemble, load
from bedplate.schema import key, table

ORIGIN = Origin(plugin="moor", distribution="saltmarsh-steps", version="2.0")


@table
class Moor:
    """A rope."""

    rope: str = key("Its length.", default="long")


def step(**fields: Any) -> Step:
    given: dict[str, Any] = {"section": "moor", "title": "t", "model": Moor, "emit": lambda s, c: []}
    return Step(**{**given, **fields})


def plugin(*steps: object) -> object:
    class Plugin:
        bedplate_contract = 1

        @hookimpl
        def bedplate_steps(self) -> Any:
            return list(steps)

    return Plugin()


def test_the_built_in_steps_and_renderers_are_there() -> None:
    registry = load()
    assert registry.broken == ()
    assert {"base", "bootloader", "clock", "disk", "locale", "network", "users"} <= set(registry.steps)
    assert {"checklist", "script", "graph", "json"} <= set(registry.renderers)


def test_a_step_is_found_by_its_section() -> None:
    registry = assemble([(ORIGIN, plugin(step()))])
    assert registry.steps["moor"].origin == ORIGIN


def test_the_second_owner_of_a_section_is_refused_with_the_first_one_named() -> None:
    other = Origin(plugin="other", distribution="other", version="1")
    registry = assemble([(ORIGIN, plugin(step())), (other, plugin(step()))])
    assert registry.steps["moor"].origin == ORIGIN
    assert registry.broken[0].origin == other
    assert "saltmarsh-steps 2.0" in registry.broken[0].reason


def test_a_crash_becomes_a_sentence() -> None:
    with pytest.raises(PluginError, match=r"plugin 'moor' of saltmarsh-steps 2.0 failed while emitting: ZeroDivision"):
        call(ORIGIN, "emitting", lambda: 1 // 0)


def test_renderers_come_through_their_hook() -> None:
    class Plugin:
        bedplate_contract = 1

        @hookimpl
        def bedplate_renderers(self) -> list[Renderer]:
            return [Renderer(name="chant", summary="s", suffix=".txt", render=lambda graph: "")]

    assert list(assemble([(ORIGIN, Plugin())]).renderers) == ["chant"]
