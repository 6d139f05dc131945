"""The install graph as a value: actions in order, each with the reason for its place. Made by `bedplate.linking`."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import TypeVar, cast

from attrs import field, frozen

from bedplate.actions import Action, Milestone, Secret, Stage
from bedplate.faults import Fault
from bedplate.functions import Library
from bedplate.serialize import digest
from bedplate.spec import Machine
from bedplate.survey import Survey

T = TypeVar("T")

_STAGES = {stage: index for index, stage in enumerate(Stage)}
_STAGE_TOKENS = {f"stage:{stage.value.replace(' ', '-')}": stage for stage in Stage}


@frozen(kw_only=True)
class Edge:
    """Why one action stands after another: the `token` it needs and the id of the action that gives it."""

    token: str
    giver: str


@frozen(kw_only=True)
class Node:
    """An action in its place. `number` counts from 1 over the whole graph."""

    number: int
    action: Action
    section: str
    origin: str
    after: tuple[Edge, ...]

    @property
    def digest(self) -> str:
        """SHA-256 of the action, hexadecimal: changes whenever anything about the action does."""
        return digest(self.action)


@frozen(kw_only=True)
class InstallGraph:
    """The whole work, ordered. Everything a renderer needs and nothing else."""

    spec_file: str
    """Base name of the spec file."""
    machine: Machine
    survey: Survey | None
    nodes: tuple[Node, ...]
    tools: tuple[str, ...]
    """Commands the live medium must have, sorted, each with nobody in the graph who gives it."""
    facts: Mapping[type, object] = field(factory=dict, hash=False)
    warnings: tuple[Fault, ...] = ()
    library: Library = field(factory=Library.of, hash=False, eq=False, repr=False)
    """The runtime functions that its actions may call."""
    source_files: Mapping[str, bytes] = field(factory=dict, hash=False, repr=False)
    """Spec, what it extends, and survey, as they were read, by name: the script keeps them on the machine."""

    def fact(self, kind: type[T]) -> T | None:
        """The fact of that type, or None if no step of the spec gives it."""
        return cast("T | None", self.facts.get(kind))

    def stage(self, stage: Stage) -> tuple[Node, ...]:
        """The nodes of one stage, in order."""
        return tuple(node for node in self.nodes if node.action.stage is stage)

    def reaching(self, milestone: Milestone) -> tuple[Action, ...]:
        """The actions by which that is reached, in order."""
        return tuple(node.action for node in self.nodes if milestone in node.action.gives)

    @property
    def source(self) -> str:
        """What this is made from, for people."""
        return self.spec_file

    @property
    def secrets(self) -> tuple[Secret, ...]:
        """Every secret any action needs, each once, in order of first use."""
        found: dict[str, Secret] = {}
        for node in self.nodes:
            for secret in node.action.secrets:
                found.setdefault(secret.name, secret)
        return tuple(found.values())

    @cached_property
    def digest(self) -> str:
        """SHA-256 over machine and actions in order, hexadecimal."""
        return digest((self.machine, tuple(node.action for node in self.nodes)))


@frozen(kw_only=True)
class ChangeGraph(InstallGraph):
    """The work that makes an installed machine of one spec into one of another, on that machine, rooted at `/`.

    The spec of an `InstallGraph` is the new one.
    """

    old_spec_file: str
    """Base name of the spec that the machine is as yet."""
    done: tuple[str, ...] = ()
    """What it does, in the words of a technician."""
    left_out: tuple[Fault, ...] = ()
    """What differs between the specs and is not part of this work, and why."""

    @property
    def source(self) -> str:
        """Both specs."""
        return f"{self.old_spec_file} to {self.spec_file}"
