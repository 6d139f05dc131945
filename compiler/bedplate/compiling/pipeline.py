"""The order of the stages, written in one place: documents in, checked spec and survey, then the install graph.

Pure: whatever has to be read from disk comes in through the caller.
"""

from __future__ import annotations

import posixpath
from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar, cast

from attrs import define, evolve, field, frozen

from bedplate.actions import Action
from bedplate.facts import Family
from bedplate.faults import Fault, Rejected, one_of, ordered, reject, shown
from bedplate.functions import Library
from bedplate.install_graph import InstallGraph
from bedplate.linking.link import Owned, link
from bedplate.loading import validate_action
from bedplate.loading.plugin_errors import breach, call, given
from bedplate.loading.registry import InstalledRenderer, InstalledStep, Registry
from bedplate.reading import validation
from bedplate.reading.document import Document
from bedplate.spec import Machine, Spec
from bedplate.survey import Survey

T = TypeVar("T")

SurveyReader = Callable[[str], Document]
"""Gives the document of a survey file, named as seen from where the program runs. Raises Rejected."""


@frozen(kw_only=True)
class Checked:
    """A spec without faults, and what checking it brought to light."""

    document: Document
    spec: Spec
    survey: Survey | None
    context: StepContext
    warnings: tuple[Fault, ...]
    source_files: Mapping[str, bytes]
    """The files this comes from, as they were read, by name: spec, what it extends, survey."""


def check_spec(document: Document, registry: Registry, read_survey: SurveyReader) -> Checked:
    """All stages that can find faults, up to the steps' own checks. Raises Rejected with every fault found."""
    steps = {section: installed.step for section, installed in registry.steps.items()}
    try:
        spec = validation.validate_spec(document, steps)
    except Rejected as rejected:
        told = [_with_broken_owner(fault, registry) for fault in rejected.faults]
        further = _further(document, registry, rejected.faults, read_survey)
        raise Rejected(ordered([*told, *further])) from None
    survey_document = _survey_document(document, spec.machine, read_survey)
    survey = validation.structure_survey(survey_document) if survey_document else None
    context = StepContext(spec=spec, survey=survey, registry=registry)
    found = [fault.at(document.place(fault.path)) for fault in _semantic(context)]
    if any(not fault.warning for fault in found):
        raise Rejected(ordered(found))
    files = document.source_files(*([survey_document] if survey_document else ()))
    return Checked(
        document=document, spec=spec, survey=survey, context=context, warnings=ordered(found), source_files=files
    )


def _further(document: Document, registry: Registry, faults: Iterable[Fault], read_survey: SurveyReader) -> list[Fault]:
    """Faults in meaning of the sections that are sound where others are not; warnings wait until those are mended."""
    steps = {section: installed.step for section, installed in registry.steps.items()}
    spec = validation.sound_part(document, steps, faults)
    if spec is None:
        return []
    try:
        survey = _survey(document, spec.machine, read_survey)
    except Rejected as rejected:
        return list(rejected.faults)
    wanted = {section for section, step in steps.items() if step.required or section in document.data}
    missing = frozenset(wanted.difference(spec.sections))
    context = StepContext(spec=spec, survey=survey, registry=registry, missing=missing)
    return [fault.at(document.place(fault.path)) for fault in _semantic(context) if not fault.warning]


def usable(registry: Registry) -> Registry:
    """The registry without steps whose schema cannot be read: they are among the broken ones then."""
    steps = {section: installed.step for section, installed in registry.steps.items()}
    for section, reason in validation.unreadable(steps).items():
        registry = registry.without(section, reason)
    return registry


def _with_broken_owner(fault: Fault, registry: Registry) -> Fault:
    """A section nobody knows, told apart from one whose plugin is installed and broken."""
    if fault.code != "unknown-section":
        return fault
    owners = [one for one in registry.broken if fault.path[0] in (one.section, one.origin.plugin)]
    if owners:
        message = "the plugin that brings this section is installed, but cannot be used"
        notes = tuple(str(one) for one in owners)
        return evolve(fault, code="broken-plugin", message=message, nearest=None, allowed=None, notes=notes)
    nameless = tuple(f"This may be it: {one}" for one in registry.broken if not one.section)
    return evolve(fault, notes=(*fault.notes, *nameless))


def plan(checked: Checked, spec_file: str) -> InstallGraph:
    """The install graph of a checked spec. Raises Rejected where actions cannot be joined."""
    try:
        owned = list(_owned(checked.context))
        nodes, tools = link(owned)
    except Rejected as rejected:
        document = checked.document
        raise Rejected(fault.at(document.place(fault.path)) for fault in rejected.faults) from None
    return InstallGraph(
        spec_file=spec_file,
        machine=checked.spec.machine,
        survey=checked.survey,
        nodes=nodes,
        tools=tools,
        facts=checked.context.facts(),
        warnings=tuple(map(_wherever, checked.warnings)),
        library=checked.context.registry.library,
        source_files=checked.source_files,
    )


def _wherever(fault: Fault) -> Fault:
    """The fault with the base name of its file: an output must not depend on where its spec lay."""
    if fault.place is None:
        return fault
    return evolve(fault, place=evolve(fault.place, file=posixpath.basename(fault.place.file)))


def render(own: InstalledRenderer, graph: InstallGraph) -> str:
    """The rendering as text. Raises Rejected, and PluginError where the renderer breaks."""
    doing = f"rendering {own.renderer.name}"
    text: object = call(own.origin, doing, own.renderer.render, graph)
    if not isinstance(text, str):
        raise breach(own.origin, f"it must give text when {doing}, it gave {type(text).__name__}")
    return text


def _survey(document: Document, machine: Machine, read_survey: SurveyReader) -> Survey | None:
    found = _survey_document(document, machine, read_survey)
    return validation.structure_survey(found) if found else None


def _survey_document(document: Document, machine: Machine, read_survey: SurveyReader) -> Document | None:
    if machine.survey is None:
        return None
    path = ("machine", "survey")
    file = document.beside(path, machine.survey)
    try:
        return read_survey(file)
    except Rejected as rejected:
        named = (fault.place is not None and fault.place.line == 0 for fault in rejected.faults)
        if not all(named):
            raise
        raise Rejected(_named_by(document, fault, file) for fault in rejected.faults) from None


def _named_by(document: Document, fault: Fault, file: str) -> Fault:
    """A fault of the survey file as a whole, at the line of the spec that names it."""
    path = ("machine", "survey")
    makes = "a survey beside the spec, as `bedplate survey --from CAPTURE --out FILE` writes it"
    allowed = makes if fault.code == "no-such-file" else fault.allowed
    return evolve(fault, place=document.place(path), path=path, found=shown(file), allowed=allowed)


# --- what steps are given ------------------------------------------------------------------------------------------


class _FactFaults(Rejected):
    """Faults of the step that owns a fact, paths below its section already."""


@define(kw_only=True)
class StepContext:
    """The `Context` of the plugin contract. Facts are computed at most once."""

    spec: Spec
    survey: Survey | None
    registry: Registry
    missing: frozenset[str] = frozenset()
    """Sections that are not there because they are faulty: what they would give is left open."""
    _known: dict[type, object] = field(factory=dict, init=False)
    _asking: list[type] = field(factory=list, init=False)

    @property
    def machine(self) -> Machine:
        return self.spec.machine

    def steps(self) -> Iterable[tuple[object, InstalledStep]]:
        """Each section's value with its step, in the order of the spec."""
        return ((value, self.registry.steps[section]) for section, value in self.spec.sections.items())

    def has(self, kind: type[object]) -> bool:
        return any(kind in installed.step.facts for _, installed in self.steps()) or self._left_open(kind)

    def _left_open(self, kind: type) -> bool:
        return any(kind in self.registry.steps[section].step.facts for section in self.missing)

    def extensions(self, kind: type[T]) -> Mapping[str, T]:
        installed = self.registry.extensions.get(kind, {})
        return {name: cast(T, one.extension.value) for name, one in installed.items()}

    def of_family(self, kind: type[T]) -> T:
        family, told = self.fact(Family).name, self.extensions(kind)
        if family not in told:
            raise reject(
                "family-lacks-concern",
                f"the package family {family} brings no {kind.__name__}, which this section asks for",
                allowed=f"a family that does: {one_of(list(told))}" if told else None,
                notes=(f"Its author adds {kind.__module__}.{kind.__name__} to what the family brings.",),
            )
        return told[family]

    def fact(self, kind: type[T]) -> T:
        if kind not in self._known:
            self._known[kind] = self._compute(kind)
        known = self._known[kind]
        if isinstance(known, _FactFaults):
            raise known
        return cast(T, known)

    def facts(self) -> dict[type, object]:
        """Every fact of the spec's steps that holds."""
        kinds = [kind for _, installed in self.steps() for kind in installed.step.facts]
        for kind in kinds:
            self.fact(kind)
        return {kind: self._known[kind] for kind in kinds}

    def _compute(self, kind: type) -> object:
        owner = next(((value, own) for value, own in self.steps() if kind in own.step.facts), None)
        if owner is None and self._left_open(kind):
            return _FactFaults([])
        if owner is None:
            givers = [f"[{name}]" for name, own in self.registry.steps.items() if kind in own.step.facts]
            message = f"this section asks for {kind.__name__}, and no section of this spec gives it"
            raise reject("missing-fact", message, allowed=f"the section {one_of(givers)} beside it" if givers else None)
        value, installed = owner
        if kind in self._asking:
            names = " -> ".join(asked.__name__ for asked in [*self._asking, kind])
            raise breach(installed.origin, f"it cannot give {kind.__name__}: facts wait for one another: {names}")
        self._asking.append(kind)
        try:
            doing = f"giving {kind.__name__}"
            return call(installed.origin, doing, installed.step.facts[kind], value, self)
        except _FactFaults as others:
            return others
        except Rejected as rejected:
            return _FactFaults(fault.under(installed.step.section) for fault in rejected.faults)
        finally:
            self._asking.pop()


def _semantic(context: StepContext) -> list[Fault]:
    found: list[Fault] = []
    for value, installed in context.steps():
        section = installed.step.section
        for kind in installed.step.facts:
            found.extend(_faults_of(section, lambda kind=kind: [context.fact(kind)][:0]))  # type: ignore[misc]
        for kind in installed.step.concerns:
            found.extend(_faults_of(section, lambda kind=kind: [context.of_family(kind)][:0]))  # type: ignore[misc]
        found.extend(_check_faults(value, installed, context))
    return list(dict.fromkeys(found))


def _check_faults(value: object, installed: InstalledStep, context: StepContext) -> list[Fault]:
    """What the step's check finds; what it found before a fact it asked for turned out faulty stays."""
    section, look = installed.step.section, installed.step.validate
    found: list[Fault] = []

    def run() -> list[Fault]:
        answer = look(value, context) if look is not None else ()
        for fault in given(installed.origin, f"check of [{section}]", answer, Fault):
            found.append(fault.under(section))
        return []

    rest = _faults_of(section, lambda: call(installed.origin, f"checking [{section}]", run))
    return found + rest


def _faults_of(section: str, work: Callable[[], list[Fault]]) -> list[Fault]:
    try:
        return [fault.under(section) for fault in work()]
    except _FactFaults as known:
        return list(known.faults)
    except Rejected as rejected:
        return [fault.under(section) for fault in rejected.faults]


# --- emission ------------------------------------------------------------------------------------------------------


def _owned(context: StepContext) -> Iterable[Owned]:
    for value, installed in context.steps():
        section = installed.step.section
        try:
            actions = call(installed.origin, f"emitting actions of [{section}]", _emit, installed, value, context)
        except _FactFaults:
            raise
        except Rejected as rejected:
            raise Rejected(fault.under(section) for fault in rejected.faults) from None
        for action in actions:
            _refuse_misshapen(action, installed, context.registry.library)
            yield Owned(action=action, section=section, origin=f"step {section}, {installed.origin}")


def _emit(installed: InstalledStep, value: object, context: StepContext) -> list[Action]:
    answer = installed.step.emit(value, context)
    return list(given(installed.origin, f"emit of [{installed.step.section}]", answer, Action))


def _refuse_misshapen(action: Action, installed: InstalledStep, library: Library) -> None:
    section = installed.step.section
    doing = f"emitting actions of [{section}]"
    wrong = call(installed.origin, doing, validate_action.trouble, action, section, library)
    if wrong:
        raise breach(installed.origin, wrong)
