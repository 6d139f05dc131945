"""What each command does: reads, calls the stages, prints. Data goes to standard output, words to standard error."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from typing import TextIO

from bedplate.cli import files, output_files
from bedplate.compiling import pipeline
from bedplate.faults import Fault, Place, Rejected, as_json, describe, nearest, ordered, reject, shown, visible
from bedplate.hookspecs import Renderer
from bedplate.install_graph import InstallGraph
from bedplate.loading import registry
from bedplate.loading.plugin_errors import Origin
from bedplate.reading import validation as checking
from bedplate.reading.document import LIMIT, Document, read
from bedplate.serialize import as_text, has_hashes, without_hashes
from bedplate.units import counted


def renderings() -> tuple[str, ...]:
    """Names of the installed renderings."""
    return tuple(_registry().renderers)


def version() -> str:
    """The installed version, or `unknown` when run from a folder that was never installed."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed_version

    try:
        return installed_version("bedplate")
    except PackageNotFoundError:
        return "unknown"


SLOW = 1.0
"""Seconds an import of one plugin may take before it is said."""


def _registry() -> registry.Registry:
    """What is installed. A plugin that prints while it is imported must not print into data."""
    with contextlib.redirect_stdout(sys.stderr):
        return pipeline.usable(registry.load(time.perf_counter))


def usable() -> registry.Registry:
    """What is installed; what of it is broken or slow is said on standard error."""
    installed = _registry()
    for one in installed.broken:
        print(f"bedplate: warning: {one}", file=sys.stderr)
    for plugin in installed.plugins:
        if plugin.seconds > SLOW:
            print(f"bedplate: warning: {_slow(plugin)}", file=sys.stderr)
    return installed


def _slow(plugin: registry.Plugin) -> str:
    return (
        f"plugin {plugin.origin.plugin!r} of {plugin.origin} took {plugin.seconds:.1f} s to import. Its author should "
        f"import what is slow inside the functions that use it; without it, Bedplate starts faster."
    )


def load_document(name: str) -> Document:
    """The document in the file `name` with everything it extends. Raises Rejected."""
    return documents(name)(name)


def documents(named: str, also: Sequence[str] = ()) -> Callable[[str], Document]:
    """What reads documents for the one that a person has named: it may name others below its own folder and below
    the folders `also`, links followed. A spec from somebody else shall not make us read what they cannot."""
    folders = [os.path.realpath(folder) for folder in (os.path.dirname(named) or ".", *also)]

    def content(file: str) -> bytes:
        real = os.path.realpath(file)
        if file != named and not any(os.path.commonpath((folder, real)) == folder for folder in folders):
            message = "this file lies outside the folder of the spec, and is not read without your word"
            allowed = f"a file below the spec's folder, or --also-from {shown(os.path.dirname(file) or '.')}"
            raise reject("outside-folder", message, place=Place(file=file), found=shown(file), allowed=allowed)
        return files.read_document(file, LIMIT)

    return lambda file: read(file, content)


def checked(name: str, installed: registry.Registry, also: Sequence[str] = ()) -> tuple[pipeline.Checked, InstallGraph]:
    """The checked spec in the file `name`, and its install graph. Raises Rejected."""
    load = documents(name, also)
    found = pipeline.check_spec(load(name), installed, load)
    return found, pipeline.plan(found, os.path.basename(name))


# --- check ---------------------------------------------------------------------------------------------------------


SHOWN = 200
"""As many faults and warnings of one spec are told in words at most."""


def check(arguments: argparse.Namespace) -> int:
    """All faults of each spec."""
    installed = usable()
    found = [_found(name, installed, arguments.also_from) for name in arguments.specs]
    faults = [fault for faults in found for fault in faults]
    if arguments.format == "json":
        sys.stdout.write(as_text([as_json(fault) for fault in faults]))
    else:
        for each in found:
            print_faults(each)
        _print_summary(len(arguments.specs), faults)
    return _status(faults)


_UNREADABLE = frozenset({"no-such-file", "not-a-file", "unreadable-file"})


def _status(faults: Iterable[Fault]) -> int:
    """2 if a file named on the command line cannot be read, 1 if there are faults, 0 if there are warnings at most."""
    wrong = [fault for fault in faults if not fault.warning]
    if any(fault.code in _UNREADABLE and not fault.path for fault in wrong):
        return 2
    return 1 if wrong else 0


def _found(name: str, installed: registry.Registry, also: Sequence[str]) -> tuple[Fault, ...]:
    try:
        return checked(name, installed, also)[0].warnings
    except Rejected as rejected:
        return ordered(rejected.faults)


def coloured(stream: TextIO) -> bool:
    """Whether colours may go there: only to a terminal that has them, and not where NO_COLOR is set."""
    return stream.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


def print_faults(faults: Sequence[Fault]) -> None:
    """The faults of one spec in words; of very many the first, warnings last to be among them."""
    colour = coloured(sys.stderr)
    first = sorted(range(len(faults)), key=lambda index: faults[index].warning)[:SHOWN]
    for index in sorted(first):
        head, newline, rest = describe(faults[index]).partition("\n")
        if colour:
            head = f"\033[{'33' if faults[index].warning else '1;31'}m{head}\033[0m"
        print(head + newline + rest, file=sys.stderr)
    if len(faults) > SHOWN:
        rest = f"... and {len(faults) - SHOWN} more; of a spec `bedplate check --format json` tells all"
        print(rest, file=sys.stderr)


def _print_summary(specs: int, faults: list[Fault]) -> None:
    wrong = sum(not fault.warning for fault in faults)
    warnings = len(faults) - wrong
    words = [counted(wrong, "fault") if wrong else "no faults"]
    words += [counted(warnings, "warning")] if warnings else []
    print(f"{counted(specs, 'spec')}: {', '.join(words)}", file=sys.stderr)


# --- compile -------------------------------------------------------------------------------------------------------


def compile_specs(arguments: argparse.Namespace) -> int:
    """The rendering of each spec; nothing is written if any has a fault."""
    installed = usable()
    own = renderer(arguments.rendering, installed)
    _refuse_pictures(own.renderer, arguments.out)
    status = 0
    graphs: list[tuple[str, InstallGraph]] = []
    for name in arguments.specs:
        try:
            graph = checked(name, installed, arguments.also_from)[1]
        except Rejected as rejected:
            status = max(status, refused(rejected))
            continue
        graphs.append((name, graph))
        _print_warnings(name, graph.warnings)
    if status:
        print("Nothing was written.", file=sys.stderr)
        return status
    try:
        texts = [(name, graph, pipeline.render(own, graph)) for name, graph in graphs]
    except Rejected as rejected:
        return refused(rejected)
    return _write_outputs(texts, own.renderer, arguments)


def _print_warnings(name: str, warnings: Sequence[Fault]) -> None:
    """One line each: `check` has shown them whole, and each rendering would show them again."""
    for fault in warnings:
        print(describe(fault).partition("\n")[0], file=sys.stderr)
    if warnings:
        print(f"bedplate: {counted(len(warnings), 'warning')}; `bedplate check {name}` tells more", file=sys.stderr)


_DOT = (".dot", ".gv", ".svg", "")


def _refuse_pictures(renderer: Renderer, out: str | None) -> None:
    """A graph is text, or a picture in SVG: nothing else is written under the name of a picture."""
    if renderer.name == "graph" and out is not None and not os.path.isdir(out) and os.path.splitext(out)[1] not in _DOT:
        raise SystemExit(usage(f"--out {out}: a graph is written as text (.dot, .gv) or drawn as .svg"))


def renderer(name: str, installed: registry.Registry) -> registry.InstalledRenderer:
    """The rendering of that name. Raises SystemExit, what there is being said."""
    found = installed.renderers.get(name)
    if found is None:
        near = nearest(name, installed.renderers)
        hint = f" (nearest: {near})" if near else ""
        raise SystemExit(usage(f"--as {name}: no such rendering; there are {', '.join(installed.renderers)}{hint}"))
    return found


def usage(message: str) -> int:
    """Say what is wrong with the command line; the exit status for it."""
    print(f"bedplate: {visible(message)}", file=sys.stderr)
    return 2


def _write_outputs(
    texts: list[tuple[str, InstallGraph, str]], renderer: Renderer, arguments: argparse.Namespace
) -> int:
    out: str | None = arguments.out
    if out is None or out == output_files.STANDARD_OUTPUT:
        if len(texts) > 1:
            return usage("several specs need --out DIR")
        return emit(texts[0][2], arguments, executable=renderer.executable)
    folder = out if len(texts) > 1 or os.path.isdir(out) or out.endswith(os.sep) else ""
    wanted = []
    for name, graph, text in texts:
        path = os.path.join(folder, _stem(name) + renderer.suffix) if folder else out
        if path.endswith(".svg") and renderer.name == "graph":
            text = _drawn(text, graph.machine.name)
        wanted.append(_output(path, text, renderer, graph.machine.name))
    return write(wanted, arguments, folder)


def _stem(name: str) -> str:
    return os.path.splitext(os.path.basename(name))[0]


def _output(path: str, text: str, renderer: Renderer, machine: str) -> output_files.Output:
    marks = tuple(mark.replace("{machine}", machine) for mark in renderer.marks)
    return _made(path, text, marks, renderer.executable)


def in_the_way(arguments: argparse.Namespace) -> bool:
    """Whether something at --out would be in the way of an output that a person edits later; then that is said."""
    if arguments.out is None:
        return False
    try:
        output_files.look([output_files.Output(path=arguments.out, text="")], force=arguments.force)
    except output_files.Refused as error:
        for sentence in error.sentences:
            usage(sentence)
        return True
    return False


def write(wanted: Sequence[output_files.Output], arguments: argparse.Namespace, folder: str = "") -> int:
    """Write these outputs, or none of them and say why; the exit status."""
    try:
        output_files.write(wanted, force=arguments.force, folder=folder)
    except output_files.Refused as error:
        for sentence in error.sentences:
            usage(sentence)
        if len(wanted) > 1:
            print("Nothing was written.", file=sys.stderr)
        return 2
    for one in wanted:
        print(f"wrote {visible(one.path)}", file=sys.stderr)
    return 0


def _drawn(dot: str, machine: str) -> str:
    """DOT as SVG, drawn by Graphviz. What was a comment there is an instruction for nobody here (XML 1.0, 2.6)."""
    import subprocess

    try:
        drawn = subprocess.run(["dot", "-Tsvg"], input=dot, capture_output=True, text=True, check=True)
    except FileNotFoundError:
        message = "an SVG needs Graphviz (the command dot), which is not installed; a PATH ending in .dot works without"
        raise SystemExit(usage(message)) from None
    head, line_end, rest = drawn.stdout.partition("\n")
    return f"{head}{line_end}<?bedplate install graph of {machine}?>\n{rest}"


def refused(rejected: Rejected) -> int:
    """Tell the faults; the exit status for them."""
    print_faults(ordered(rejected.faults))
    return _status(rejected.faults)


def emit(text: str, arguments: argparse.Namespace, marks: tuple[str, ...] = (), executable: bool = False) -> int:
    """The text to the file of --out, or to standard output; the exit status."""
    made = _made(arguments.out or output_files.STANDARD_OUTPUT, text, marks, executable)
    if made.path == output_files.STANDARD_OUTPUT:
        sys.stdout.write(made.text)
        return 0
    return write([made], arguments)


def _made(path: str, text: str, marks: tuple[str, ...], executable: bool) -> output_files.Output:
    """What is written: hashes of passwords only into what cannot work without them, and for the owner alone."""
    if not executable:
        return output_files.Output(path=path, text=without_hashes(text), marks=marks)
    return output_files.Output(path=path, text=text, marks=marks, executable=True, private=has_hashes(text))


# --- steps, schema -------------------------------------------------------------------------------------------------


def steps(arguments: argparse.Namespace) -> int:
    """Installed steps, extensions, renderings and broken plugins."""
    installed = _registry()
    if arguments.format == "json":
        sys.stdout.write(as_text(_inventory(installed)))
        return 2 if installed.broken else 0
    _print_table(
        ("SECTION", "CONTRACT", "PLUGIN", "FROM", "TITLE"),
        (
            (section, str(own.contract), own.origin.plugin, str(own.origin), own.step.title)
            for section, own in installed.steps.items()
        ),
    )
    _print_table(
        ("CHOICE OF", "WORD", "PLUGIN", "FROM", "BRINGS"),
        (
            (point, name, origin.plugin, str(origin), ", ".join(kinds))
            for (point, name, origin), kinds in installed.brought().items()
        ),
    )
    _print_table(
        ("RENDERING", "PLUGIN", "FROM", "SUMMARY"),
        ((name, own.origin.plugin, str(own.origin), own.renderer.summary) for name, own in installed.renderers.items()),
    )
    for plugin in installed.plugins:
        if plugin.seconds > SLOW:
            print(f"SLOW    {_slow(plugin)}")
    for broken in installed.broken:
        print(f"BROKEN  {broken}")
    return 2 if installed.broken else 0


def _inventory(installed: registry.Registry) -> dict[str, object]:
    return {
        "steps": [
            {
                "section": section,
                "title": own.step.title,
                "contract": own.contract,
                "required": own.step.required,
                **_origin(own.origin),
            }
            for section, own in installed.steps.items()
        ],
        "extensions": [
            {"point": point, "name": name, "brings": kinds, **_origin(origin)}
            for (point, name, origin), kinds in installed.brought().items()
        ],
        "renderings": [
            {"name": name, "summary": own.renderer.summary, **_origin(own.origin)}
            for name, own in installed.renderers.items()
        ],
        "slow": [
            {"seconds": round(one.seconds, 1), **_origin(one.origin)} for one in installed.plugins if one.seconds > SLOW
        ],
        "broken": [
            {**_origin(one.origin), "section": one.section or None, "reason": one.reason, "remedy": one.remedy or None}
            for one in installed.broken
        ],
    }


def _origin(origin: Origin) -> dict[str, str]:
    return {"plugin": origin.plugin, "distribution": origin.distribution, "version": origin.version}


def _print_table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> None:
    table = [head, *rows]
    widths = [max(len(row[column]) for row in table) for column in range(len(head))]
    for row in table:
        print("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip())
    print()


def schema(arguments: argparse.Namespace) -> int:
    """The composed schema of a spec, or one of the other published ones."""
    import bedplate_schema

    if arguments.of != "spec":
        text = bedplate_schema.load(arguments.of)
    else:
        text = checking.compose_schema({section: own.step for section, own in usable().steps.items()})
    marks = (f'"$id": "{text["$id"]}"',)
    return emit(as_text(text), arguments, marks)


__all__ = ["check", "compile_specs", "schema", "steps", "version"]
