"""What is looked at: a step, and complete machines that use it. Enters: the section's name, examples, hosts. Leaves:
the checked spec and the install graph of each, or why there is none.
"""

from __future__ import annotations

import tomllib
import traceback
from collections.abc import Mapping, Sequence
from functools import cached_property, lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import tomli_w
from attrs import define, evolve, field, frozen

from bedplate.actions import Action
from bedplate.compiling import pipeline
from bedplate.faults import Fault, Rejected
from bedplate.hookspecs import Step
from bedplate.install_graph import InstallGraph
from bedplate.loading.plugin_errors import PluginError, own_file
from bedplate.loading.registry import Broken, Registry, load
from bedplate.reading.document import read
from bedplate.survey import Survey

SPEC, SURVEY = "spec.toml", "spec.survey.toml"


@frozen(kw_only=True)
class Host:
    """A complete machine: the data of its spec, and its survey's text."""

    name: str
    data: Mapping[str, Any] = field(hash=False)
    survey: str = ""

    @staticmethod
    def read(path: str | Path) -> Host:
        """The machine of a spec file, with what it extends and its survey. Raises Rejected and OSError."""
        document = read(str(path), lambda name: Path(name).read_bytes())
        machine = document.data["machine"]
        survey = Path(path).parent / machine["survey"] if "survey" in machine else None
        text = survey.read_text(encoding="utf-8") if survey else ""
        return Host(name=Path(path).stem, data=document.data, survey=text)

    @staticmethod
    def parse(text: str) -> dict[str, Any]:
        """The data of an example. Raises tomllib.TOMLDecodeError."""
        return tomllib.loads(text)

    def using(self, name: str, sections: Mapping[str, Any]) -> Host:
        """The same machine with these sections in place of its own."""
        return evolve(self, name=f"{self.name}, {name}", data={**self.data, **sections})

    @property
    def spec(self) -> str:
        """The text of the spec."""
        data = {**self.data, "machine": {**self.data["machine"], **({"survey": SURVEY} if self.survey else {})}}
        data.pop("extends", None)
        return tomli_w.dumps(data)


def _packed() -> Host:
    folder = files("bedplate.testing")
    text = (folder / "machine.toml").read_text(encoding="utf-8")
    survey = (folder / "machine.survey.toml").read_text(encoding="utf-8")
    return Host(name="kit", data=Host.parse(text), survey=survey)


HOST = _packed()
"""The kit's own machine: a small server with an empty disk, the apt family, a cable, no other system."""


@lru_cache(maxsize=1)
def installed() -> Registry:
    """Everything that is installed."""
    return pipeline.usable(load())


@frozen(kw_only=True)
class Outcome:
    """What came of compiling a machine: a graph, or faults, or a breach of the contract."""

    graph: InstallGraph | None = None
    checked: pipeline.Checked | None = None
    survey: Survey | None = None
    faults: tuple[Fault, ...] = ()
    breach: str = ""
    traceback: str = ""
    """Of the breach, if the step crashed: every line that it came through."""


def compiled(host: Host, registry: Registry) -> Outcome:
    """Check and plan a machine. Faults and breaches of the contract are told, not raised."""
    texts = {SPEC: host.spec.encode(), SURVEY: host.survey.encode()}
    try:
        document = read(SPEC, texts.__getitem__)
        checked = pipeline.check_spec(document, registry, lambda name: read(name, texts.__getitem__))
        graph = pipeline.plan(checked, SPEC)
    except Rejected as rejected:
        return Outcome(faults=tuple(rejected.faults))
    except PluginError as error:
        return Outcome(breach=str(error), traceback=traced(error))
    return Outcome(graph=graph, checked=checked, survey=checked.survey, faults=checked.warnings)


def traced(error: PluginError) -> str:
    """The whole traceback of what a plugin error stands for; empty if nothing crashed."""
    cause = error.__cause__
    return "" if cause is None else "".join(traceback.format_exception(cause)).rstrip("\n")


@define(kw_only=True, slots=False)
class Subject:
    """A step under test."""

    section: str
    hosts: tuple[Host, ...]
    """Complete machines, the section under test in each."""
    registry: Registry
    bad: Mapping[str, Host] = field(factory=dict)
    """Machines whose section must be refused, by the code of the fault that does."""

    @property
    def missing(self) -> str:
        """Why there is no step to look at; empty if there is one."""
        if self.section in self.registry.steps:
            return ""
        broken = [str(evolve(one, remedy=one.remedy or _remedy(one))) for one in self.registry.broken]
        known = ", ".join(self.registry.steps)
        return f"no step with the section [{self.section}] is installed; there are {known}. " + (
            " ".join(broken) or "Install the distribution first: python -m pip install --editable ."
        )

    @property
    def step(self) -> Step:
        """The step. Raises KeyError if it is not installed."""
        return self.registry.steps[self.section].step

    @cached_property
    def outcomes(self) -> tuple[tuple[Host, Outcome], ...]:
        """Each machine with what came of it; none if there is no step."""
        if self.missing:
            return ()
        return tuple((host, compiled(host, self.registry)) for host in self.hosts)

    @property
    def graphs(self) -> tuple[tuple[Host, InstallGraph], ...]:
        """The machines that could be compiled. `examples_compile` complains of the others."""
        return tuple((host, outcome.graph) for host, outcome in self.outcomes if outcome.graph is not None)

    @property
    def actions(self) -> tuple[Action, ...]:
        """Every action of the section, on every machine."""
        nodes = (node for _, graph in self.graphs for node in graph.nodes)
        return tuple(node.action for node in nodes if node.section == self.section)


def _remedy(broken: Broken) -> str:
    return f"Correct it in {own_file(broken.origin) or 'its source'}."


def subject(
    section: str, examples: Sequence[str] = (), hosts: Sequence[Host] = (HOST,), bad: Mapping[str, str] | None = None
) -> Subject:
    """The step of `section` on each host, once with each example; `bad` ones on the first host.

    Raises tomllib.TOMLDecodeError.
    """
    machines = [
        host.using(f"example {number}", Host.parse(text)) for host in hosts for number, text in enumerate(examples, 1)
    ]
    refused = {code: hosts[0].using(f"bad example {code}", Host.parse(text)) for code, text in (bad or {}).items()}
    return Subject(section=section, hosts=tuple(machines or hosts), registry=installed(), bad=refused)
