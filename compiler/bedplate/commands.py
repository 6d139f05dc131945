"""What each command does: reads, calls the stages, prints. Data goes to standard output, words to standard error."""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterable
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed_version
from pathlib import Path

from attrs import evolve

from bedplate import check as checking
from bedplate import files, pipeline, registry
from bedplate.document import LIMIT, Document, read
from bedplate.faults import Fault, Rejected, as_json, describe, nearest, ordered
from bedplate.graph import InstallGraph
from bedplate.hookspecs import Renderer, Step

CAPTURE_LIMIT = 64 * 1024 * 1024
"""The largest capture that is read, bytes."""


def version() -> str:
    """The installed version, or `unknown` when run from a folder that was never installed."""
    try:
        return installed_version("bedplate")
    except PackageNotFoundError:
        return "unknown"


def load_document(name: str) -> Document:
    """The document in the file `name` with everything it extends. Raises Rejected."""
    return read(name, lambda path: files.read_bytes(path, LIMIT))


def _checked(name: str, installed: registry.Registry) -> tuple[pipeline.Checked, InstallGraph]:
    checked = pipeline.check_spec(load_document(name), installed, load_document)
    return checked, pipeline.plan(checked, os.path.basename(name))


# --- check ---------------------------------------------------------------------------------------------------------


def check(arguments: argparse.Namespace) -> int:
    """All faults of each spec."""
    installed = registry.load()
    faults: list[Fault] = []
    for name in arguments.specs:
        try:
            faults.extend(_checked(name, installed)[0].warnings)
        except Rejected as rejected:
            faults.extend(ordered(rejected.faults))
    if arguments.format == "json":
        print(json.dumps([as_json(fault) for fault in faults], indent=2, ensure_ascii=False))
    else:
        _print_faults(faults)
        _print_summary(len(arguments.specs), faults)
    return 1 if any(not fault.warning for fault in faults) else 0


def _print_faults(faults: Iterable[Fault]) -> None:
    colour = sys.stderr.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    for fault in faults:
        head, newline, rest = describe(fault).partition("\n")
        if colour:
            head = f"\033[{'33' if fault.warning else '1;31'}m{head}\033[0m"
        print(head + newline + rest, file=sys.stderr)


def _print_summary(specs: int, faults: list[Fault]) -> None:
    wrong = sum(not fault.warning for fault in faults)
    warnings = len(faults) - wrong
    words = [_count(wrong, "fault") if wrong else "no faults"]
    words += [_count(warnings, "warning")] if warnings else []
    print(f"{_count(specs, 'spec')}: {', '.join(words)}", file=sys.stderr)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


# --- compile -------------------------------------------------------------------------------------------------------


def compile_specs(arguments: argparse.Namespace) -> int:
    """The rendering of each spec; nothing is written if any has a fault."""
    installed = registry.load()
    renderer = _renderer(arguments.rendering, installed)
    graphs: list[tuple[str, InstallGraph]] = []
    faults: list[Fault] = []
    for name in arguments.specs:
        try:
            graph = _checked(name, installed)[1]
        except Rejected as rejected:
            faults.extend(ordered(rejected.faults))
            continue
        graphs.append((name, graph))
        faults.extend(graph.warnings)
    _print_faults(faults)
    if any(not fault.warning for fault in faults):
        print("Nothing was written.", file=sys.stderr)
        return 1
    outputs = [(name, renderer.render(graph)) for name, graph in graphs]
    return _write_outputs(outputs, renderer, arguments.out)


def _renderer(name: str, installed: registry.Registry) -> Renderer:
    renderer = installed.renderers.get(name)
    if renderer is None:
        near = nearest(name, installed.renderers)
        hint = f" (nearest: {near})" if near else ""
        raise SystemExit(_usage(f"--as {name}: no such rendering; there are {', '.join(installed.renderers)}{hint}"))
    return renderer


def _usage(message: str) -> int:
    print(f"bedplate: {message}", file=sys.stderr)
    return 2


def _write_outputs(outputs: list[tuple[str, str]], renderer: Renderer, out: str | None) -> int:
    if out is None:
        if len(outputs) > 1:
            return _usage("several specs need --out DIR")
        sys.stdout.write(outputs[0][1])
        return 0
    folder = len(outputs) > 1 or os.path.isdir(out) or out.endswith(os.sep)
    if folder:
        os.makedirs(out, exist_ok=True)
    for name, text in outputs:
        path = Path(out, Path(name).stem + renderer.suffix) if folder else Path(out)
        if path.suffix == ".svg" and renderer.name == "graph":
            text = _drawn(text)
        files.write_text(path, text, executable=renderer.executable)
        print(f"wrote {path}", file=sys.stderr)
    return 0


def _drawn(dot: str) -> str:
    """DOT as SVG, drawn by Graphviz."""
    try:
        drawn = subprocess.run(["dot", "-Tsvg"], input=dot, capture_output=True, text=True, check=True)
    except FileNotFoundError:
        message = "an SVG needs Graphviz (the command dot), which is not installed; a PATH ending in .dot works without"
        raise SystemExit(_usage(message)) from None
    return drawn.stdout


# --- survey, draft -------------------------------------------------------------------------------------------------


def survey(arguments: argparse.Namespace) -> int:
    """The survey of this machine or of a capture; or the collector itself."""
    from bedplate import capture

    if arguments.collector:
        return _emit(capture.collect_script(), arguments.out, executable=True)
    try:
        surveyed = capture.survey_from(_capture_text(arguments.capture, capture.collect_script))
    except Rejected as rejected:
        return _refused(rejected)
    return _emit(capture.to_toml(surveyed), arguments.out)


def _capture_text(name: str | None, script: Callable[[], str]) -> str:
    if name is None:
        ran = subprocess.run(["sh", "-s"], input=script().encode(), capture_output=True, check=False)
        sys.stderr.write(ran.stderr.decode(errors="replace"))
        return ran.stdout.decode(errors="replace")
    if name == "-":
        return sys.stdin.buffer.read(CAPTURE_LIMIT).decode(errors="replace")
    return files.read_bytes(name, CAPTURE_LIMIT).decode(errors="replace")


def draft(arguments: argparse.Namespace) -> int:
    """A commented first spec."""
    from bedplate import draft as drafting

    try:
        surveyed = checking.structure_survey(load_document(arguments.survey))
        steps = {section: _guarded(own) for section, own in registry.load().steps.items()}
        base = os.path.dirname(arguments.out) if arguments.out else "."
        survey_path = os.path.relpath(arguments.survey, base or ".")
        name = arguments.name or Path(arguments.survey).name.split(".", 1)[0]
        text = drafting.draft(surveyed, steps, name=name, survey_path=survey_path)
    except Rejected as rejected:
        return _refused(rejected)
    return _emit(text, arguments.out)


def _guarded(own: registry.InstalledStep) -> Step:
    """The step, its draft's crash put into words."""
    suggest = own.step.draft
    if suggest is None:
        return own.step
    doing = f"drafting [{own.step.section}]"
    return evolve(own.step, draft=lambda survey: registry.call(own.origin, doing, suggest, survey))


def _refused(rejected: Rejected) -> int:
    _print_faults(ordered(rejected.faults))
    return 1


def _emit(text: str, out: str | None, executable: bool = False) -> int:
    if out is None:
        sys.stdout.write(text)
    else:
        files.write_text(Path(out), text, executable=executable)
        print(f"wrote {out}", file=sys.stderr)
    return 0


# --- steps, schema -------------------------------------------------------------------------------------------------


def steps(arguments: argparse.Namespace) -> int:
    """Installed steps, renderings and broken plugins."""
    installed = registry.load()
    rows = [
        {
            "section": section,
            "title": own.step.title,
            "plugin": own.origin.plugin,
            "distribution": own.origin.distribution,
            "version": own.origin.version,
            "contract": own.step.contract,
            "required": own.step.required,
        }
        for section, own in installed.steps.items()
    ]
    renderings = [{"name": name, "summary": one.summary} for name, one in installed.renderers.items()]
    broken = [
        {"plugin": one.origin.plugin, "distribution": one.origin.distribution, "version": one.origin.version,
         "section": one.section or None, "reason": one.reason}
        for one in installed.broken
    ]  # fmt: skip
    if arguments.format == "json":
        print(json.dumps({"steps": rows, "renderings": renderings, "broken": broken}, indent=2))
    else:
        _print_table("section", (_step_row(row) for row in rows))
        _print_table("rendering", ((row["name"], "", row["summary"]) for row in renderings))
        for one in broken:
            print(f"BROKEN  {one['plugin']} of {one['distribution']} {one['version']}: {one['reason']}")
    return 2 if broken else 0


def _step_row(row: dict[str, object]) -> tuple[str, str, str]:
    return str(row["section"]), f"{row['distribution']} {row['version']}", str(row["title"])


def _print_table(noun: str, rows: Iterable[tuple[str, str, str]]) -> None:
    for row in [(noun, "", ""), *rows]:
        print(f"{row[0]:<12}{row[1]:<18}{row[2]}".rstrip())
    print()


def schema(arguments: argparse.Namespace) -> int:
    """The composed schema of a spec, or one of the other published ones."""
    import bedplate_schema

    if arguments.of != "spec":
        text = bedplate_schema.load(arguments.of)
    else:
        text = checking.compose_schema({section: own.step for section, own in registry.load().steps.items()})
    return _emit(json.dumps(text, indent=2, ensure_ascii=False) + "\n", arguments.out)


__all__ = ["check", "compile_specs", "draft", "schema", "steps", "survey", "version"]
