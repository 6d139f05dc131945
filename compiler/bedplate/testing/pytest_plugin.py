"""The pytest plugin, loaded where Bedplate is installed: the fixture `bedplate_compile`."""

from __future__ import annotations

from collections.abc import Callable

import pytest


@pytest.fixture(scope="session")
def bedplate_compile() -> Callable[..., str]:
    """`bedplate_compile(example, rendering="checklist")`: the text of a rendering, the example's sections laid over the
    kit's machine. Fails the test with every fault if the example is not without fault."""
    from bedplate.compiling import pipeline
    from bedplate.faults import describe
    from bedplate.testing.subject import HOST, Host, compiled, installed

    def compile_example(example: str, rendering: str = "checklist") -> str:
        outcome = compiled(HOST.using("example", Host.parse(example)), installed())
        if outcome.graph is None:
            pytest.fail("\n".join([outcome.breach, *(describe(fault) for fault in outcome.faults)]).strip())
        return pipeline.render(installed().renderers[rendering], outcome.graph)

    return compile_example
