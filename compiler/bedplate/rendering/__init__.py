"""Renderings of the install graph that come with Bedplate. Each takes an `InstallGraph` and gives text."""

from __future__ import annotations

from bedplate.hookspecs import Renderer, hookimpl, later

__all__ = ["bedplate_contract", "bedplate_renderers"]

bedplate_contract = 1

_CHECKLIST = Renderer(
    name="checklist",
    summary="Markdown form for a person, all five stages",
    suffix=".md",
    render=later("bedplate.rendering.checklist:render"),
    marks=("# {machine}: ", "; digest `"),
)
_SCRIPT = Renderer(
    name="script",
    summary="POSIX sh script that carries out the work on a live medium",
    suffix=".sh",
    render=later("bedplate.rendering.script:render"),
    executable=True,
    marks=("#!/bin/sh\n", " {machine} ", "\n# Digest: "),
)
_AUDIT = Renderer(
    name="audit",
    summary="POSIX sh script that only reads, and proves an installed machine",
    suffix=".audit.sh",
    render=later("bedplate.rendering.audit:render"),
    executable=True,
    marks=("#!/bin/sh\n", "# Proves that {machine} is installed", "\n# Digest: "),
)


_PAGE = Renderer(
    name="page",
    summary="one HTML file of the checklist, for phone, tablet and paper",
    suffix=".html",
    render=later("bedplate.rendering.page.page:render"),
    marks=('<meta name="generator" content="Bedplate, for {machine}">',),
)
_GRAPH = Renderer(
    name="graph",
    summary="the install graph in the DOT language",
    suffix=".dot",
    render=later("bedplate.rendering.graph_dot:render"),
    marks=("bedplate install graph of {machine}",),
)
_JSON = Renderer(
    name="json",
    summary="the whole install graph for other programs",
    suffix=".json",
    render=later("bedplate.rendering.graph_json:render"),
    marks=('{\n  "format": 1,\n  "spec": ', '\n  "digest": ', '"name": "{machine}"'),
)


@hookimpl
def bedplate_renderers() -> list[Renderer]:
    """The renderings that come with Bedplate."""
    return [_CHECKLIST, _PAGE, _SCRIPT, _AUDIT, _GRAPH, _JSON]
