"""Rules about what a step refuses: the examples that must be, and that its validation refuses anything at all."""

from __future__ import annotations

from collections.abc import Iterable

from bedplate.faults import describe
from bedplate.testing import hostile_input
from bedplate.testing.subject import Outcome, Subject, compiled


def bad_examples_are_refused(about: Subject) -> list[str]:
    """Each bad example is refused by the fault that was named, which helps a person; and a check refuses something."""
    if about.missing:
        return []
    found: list[str] = []
    outcomes = {code: compiled(host, about.registry) for code, host in about.bad.items()}
    for code, outcome in outcomes.items():
        own = [fault for fault in outcome.faults if fault.path[:1] == (about.section,)]
        if outcome.breach:
            found.append(f"the bad example {code}: {outcome.breach}")
        elif code not in {fault.code for fault in own}:
            lines = [describe(fault).split("\n")[0] for fault in outcome.faults if not fault.warning]
            told = " ".join(lines) or "nothing is said against it"
            found.append(f"the bad example {code} is not refused by a fault of that code: {told}")
        found += [
            f"the bad example {code}: the fault {fault.code} {what}"
            for fault in own
            for what in hostile_input.poor(fault, about)
        ]
    if about.step.validate is not None and about.graphs and not _refuses(about, outcomes.values()):
        found.append(
            "validate has refused nothing that was tried: give a bad example, "
            f"conformance_tests({about.section!r}, ..., bad={{'code-of-the-fault': BAD}})"
        )
    return found


def _refuses(about: Subject, outcomes: Iterable[Outcome]) -> bool:
    """Whether anything that keeps the schema was found at fault, or worth a warning, by the step."""
    tried = [trial.outcome for trial in (*hostile_input.trials(about), *hostile_input.spoilt(about))]
    every = [*outcomes, *tried, *(outcome for _, outcome in about.outcomes)]
    return any(fault.path[:1] == (about.section,) for outcome in every for fault in outcome.faults)


RULES = (bad_examples_are_refused,)
