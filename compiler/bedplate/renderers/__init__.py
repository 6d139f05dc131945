"""Renderings of the install graph that come with Bedplate. Each takes an `InstallGraph` and gives text."""

from __future__ import annotations

from bedplate.hookspecs import Renderer, hookimpl
from bedplate.renderers import script

__all__ = ["bedplate_renderers"]


@hookimpl
def bedplate_renderers() -> list[Renderer]:
    """The renderings that come with Bedplate."""
    return [
        Renderer(
            name="script",
            summary="POSIX sh script that carries out the work on a live medium",
            suffix=".sh",
            render=script.render,
            executable=True,
        ),
    ]
