"""Rules about bad and hostile input: texts that would run, escape or vanish if they were pasted instead of quoted.

Each text is put into each property that takes text, one at a time. What the schema refuses is done with; what gets
through must be refused by a fault of the step, or stay text in everything that is made of it.
"""

from __future__ import annotations

import copy
import re
import shlex
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from attrs import field, frozen
from jsonschema_rs import Draft202012Validator

from bedplate.actions import Action, WriteFile
from bedplate.faults import Fault, describe
from bedplate.install_graph import InstallGraph
from bedplate.rendering import audit, script
from bedplate.testing.action_rules import by_hand_lines, paths, plain_words
from bedplate.testing.schema_rules import is_table
from bedplate.testing.subject import Host, Outcome, Subject, compiled

MARK = "touch BROKEN"
TEXTS = (
    f"$({MARK})",
    f"`{MARK}`",
    f"'; {MARK}; '",
    f'"; {MARK}; "',
    f"; {MARK} #",
    f"| {MARK}",
    f"x\n{MARK}\n",
    "x\x1b[2J\x07",
    "x\0y",
    "--help",
    "-n",
    "../../etc/shadow",
    "%s%n%d",
    "back\\slash\\",
    "*",
    "größe 水",
    " blanks ",
    "<b>x</b>",
    "",
)
"""What a person, or somebody who sends a person a spec, might write."""
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_CODE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@frozen(kw_only=True)
class Trial:
    """One section with one text in one place, and what came of it."""

    where: str
    text: str
    host: Host = field(repr=False)
    outcome: Outcome = field(repr=False)


def hostile_texts_stay_text(about: Subject) -> list[str]:
    """Hostile text is refused by a fault, or stays text: in vectors, paths, files, and what a person types."""
    found: list[str] = []
    for trial in trials(about):
        begin = f"{trial.where} = {trial.text!r}"
        if trial.outcome.breach:
            found.append(f"{begin}: {trial.outcome.breach} Refuse such text with a pattern in the schema, or a fault.")
        for action in _own(trial.outcome.graph, about.section):
            found += [f"{begin}: {action.id} {what}" for what in _pasted(action, trial.text)]
    return list(dict.fromkeys(found))


def hostile_texts_never_run(about: Subject) -> list[str]:
    """Nothing in the rendered scripts runs a text: they parse, and showing what they would do leaves no trace."""
    found = []
    for trial in trials(about):
        graph = trial.outcome.graph
        if graph is None or MARK not in trial.text:
            continue
        for text, options in ((script.render(graph), SHOWING), (audit.render(graph), PARSING)):
            trouble = _ran(text, options)
            if trouble:
                found.append(f"{trial.where} = {trial.text!r}: {trouble}")
    return found


def faults_help_a_person(about: Subject) -> list[str]:
    """Every fault of the step has a code, a sentence and a place in the section, and bad input never makes it crash."""
    found = []
    for trial in (*trials(about), *spoilt(about)):
        begin = f"{trial.where} = {trial.text!r}"
        if trial.outcome.breach and trial.text == "":
            found.append("\n".join(filter(None, (f"{begin}: {trial.outcome.breach}", trial.outcome.traceback))))
        for fault in trial.outcome.faults:
            if fault.path[:1] == (about.section,):
                found += [f"{begin}: the fault {fault.code} {what}" for what in poor(fault, about)]
    return list(dict.fromkeys(found))


RULES = (hostile_texts_stay_text, hostile_texts_never_run, faults_help_a_person)


# --- what is looked for ----------------------------------------------------------------------------------------------


def _pasted(action: Action, text: str) -> Iterator[str]:
    if not text.strip():
        return
    if _CONTROL.search(text) and text in repr_free(action):
        yield "carries a control character: give the property the pattern ^[^\\u0000-\\u001f\\u007f]*$"
    for line in by_hand_lines(action):
        if text in line and shlex.quote(text) not in line and shlex.quote(text) != text:
            yield f"tells a person to type it unquoted: {line!r}; use shlex.quote"
    for argv, index, word in plain_words(action):
        if index and word == text and text.startswith("-") and "--" not in argv[:index]:
            yield f'hands it to {argv[0]} as an option: put "--" before it, or refuse a leading dash'
    if "\n" in text and any(text in path for path in paths(action)):
        yield "makes a path with a line end of it"
    if ".." in text and any(text in path for path in paths(action)):
        yield "makes a path of it that goes up"


def repr_free(action: Action) -> str:
    """All texts of an action that a file or a command gets, joined."""
    files = [
        part
        for item in action.operations
        if isinstance(item, WriteFile)
        for part in item.content
        if isinstance(part, str)
    ]
    return "\0\0".join([*files, *(word for _, _, word in plain_words(action)), action.title])


PARSING, SHOWING = ("-n",), ("-s", "--", "--show")
"""Options of sh: only read the script from standard input, or let it show what it would do."""


def _ran(text: str, options: tuple[str, ...]) -> str:
    """What went wrong when a shell read the script; empty if nothing did."""
    with tempfile.TemporaryDirectory(prefix="bedplate-kit-") as folder:
        done = subprocess.run(["sh", *options], input=text, capture_output=True, text=True, cwd=folder, timeout=60)
        left = [path.name for path in Path(folder).iterdir()]
    if left:
        return f"the text ran while the script was shown; it left {', '.join(left)}"
    return f"the script does not parse: {done.stderr.strip()}" if done.returncode else ""


def poor(fault: Fault, about: Subject) -> Iterator[str]:
    """What would leave a person without help."""
    if _CODE.fullmatch(fault.code) is None:
        yield "must have a code of lower-case words joined by dashes"
    if not fault.message.strip() or "\n" in fault.message:
        yield "must have a message of one sentence"
    if fault.path[:2] == (about.section, about.section) and about.section not in about.step.schema["properties"]:
        yield f"names [{about.section}] in its path {fault.path[1:]}: paths are relative to the section"
    if fault.place is None or not fault.place.line:
        yield f"has no place in the spec: its path {fault.path} must name keys of the section"
    if not all(line.isprintable() for line in describe(fault).split("\n")):
        yield "shows control characters: pass what stands there through faults.shown()"


# --- making trials ---------------------------------------------------------------------------------------------------


def trials(about: Subject) -> Iterator[Trial]:
    """Each text in each place of each example, as far as the schema lets it through."""
    if about.missing:
        return
    kept: list[Trial] = about.__dict__.setdefault("trials", [])
    if not kept:
        kept.extend(_made(about, TEXTS))
    yield from kept


def _made(about: Subject, values: tuple[Any, ...]) -> Iterator[Trial]:
    schema = dict(about.step.schema)
    judge = Draft202012Validator(schema)
    seen: set[str] = set()
    for host, _ in about.graphs:
        section = host.data[about.section]
        for path, inner in places(section, schema):
            if not _takes_text(inner):
                continue
            for value in values:
                changed = put(section, path, value)
                where = ".".join(str(part) for part in (about.section, *path))
                key = re.sub(r"\.\d+", "[]", f"{where}={value!r}")
                if key in seen or not judge.is_valid(changed):
                    continue
                seen.add(key)
                other = host.using("hostile", {about.section: changed})
                yield Trial(where=where, text=value, host=other, outcome=compiled(other, about.registry))


def spoilt(about: Subject) -> Iterator[Trial]:
    """Each example with one key left out, or one array empty, as far as the schema lets it through."""
    schema = dict(about.step.schema) if not about.missing else {}
    judge = Draft202012Validator(schema)
    for host, _ in about.graphs:
        section = host.data[about.section]
        for path, _inner in places(section, schema):
            for less in _lesser(section, path):
                if judge.is_valid(less):
                    other = host.using("spoilt", {about.section: less})
                    where = ".".join(str(part) for part in (about.section, *path))
                    yield Trial(where=where, text="", host=other, outcome=compiled(other, about.registry))


def _lesser(section: Mapping[str, Any], path: tuple[str | int, ...]) -> Iterator[Any]:
    try:
        value = _at(section, path)
    except (KeyError, IndexError):
        return
    if isinstance(path[-1], str):
        less = copy.deepcopy(dict(section))
        del _at(less, path[:-1])[path[-1]]
        yield less
    if isinstance(value, list):
        yield put(section, path, [])


def places(
    value: Any, schema: Mapping[str, Any], path: tuple[str | int, ...] = ()
) -> Iterator[tuple[tuple[str | int, ...], Mapping[str, Any]]]:
    """Every place in a value, keys that could be there but are not included, with its schema."""
    if is_table(schema) and isinstance(value, Mapping):
        for name, inner in schema["properties"].items():
            yield (*path, name), inner
            yield from places(value.get(name), inner, (*path, name))
    elif "items" in schema and isinstance(value, list):
        for index, item in enumerate(value):
            yield (*path, index), schema["items"]
            yield from places(item, schema["items"], (*path, index))


def _takes_text(schema: Mapping[str, Any]) -> bool:
    said = schema.get("type")
    return "string" in ([said] if isinstance(said, str) else said or []) and not {"enum", "const"} & set(schema)


def _at(value: Any, path: tuple[str | int, ...]) -> Any:
    for part in path:
        value = value[part]
    return value


def put(section: Mapping[str, Any], path: tuple[str | int, ...], value: Any) -> Any:
    """The section with that value in that place."""
    whole = copy.deepcopy(dict(section))
    _at(whole, path[:-1])[path[-1]] = value
    return whole


def _own(graph: InstallGraph | None, section: str) -> Iterator[Action]:
    if graph is not None:
        yield from (node.action for node in graph.nodes if node.section == section)
