"""What steps are given of one another: facts, and whether there are any."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest
from attrs import evolve, frozen

from bedplate.facts import Family
from bedplate.faults import Fault, Rejected, describe
from bedplate.hookspecs import Context, Step, hookimpl
from bedplate.loading.plugin_errors import Origin
from bedplate.loading.registry import Registry, assemble
from bedplate.schema import key, table
from comparing import BASE, planned, registry


@table
class Sound:
    """Sound."""

    tone: int = key("How high, in hertz.", default=440, minimum=1)


@frozen(kw_only=True)
class Tone:
    """A fact: how high something sounds."""

    hertz: int


def listens(section: Any, context: Context) -> Iterable[Fault]:
    heard = str(context.fact(Tone).hertz) if context.has(Tone) else "silence"
    yield Fault(code="heard", message=heard)


def known() -> Registry:
    """The built-in steps, [horn], which sounds, and [ear], which hears it if there is one."""
    common: dict[str, Any] = {"title": "Sound", "model": Sound, "emit": lambda *_: ()}
    steps = [
        Step(section="ear", validate=listens, **common),
        Step(section="horn", facts={Tone: lambda section, _: Tone(hertz=section.tone)}, **common),
    ]

    class Plugin:
        bedplate_contract = 1

        @hookimpl
        def bedplate_steps(self) -> list[Step]:
            return steps

    own = assemble([(Origin(plugin="horn", distribution="saltmarsh-horn", version="1.0"), Plugin())])
    assert not own.broken
    return evolve(registry(), steps={**registry().steps, **own.steps})


@pytest.mark.parametrize(
    ("sections", "told"),
    [
        ("[ear]\n", ["ear: silence [heard]"]),
        ("[ear]\n[horn]\n", ["ear: 440 [heard]"]),
        ("[horn]\ntone = 220\n[ear]\n", ["ear: 220 [heard]"]),
        # Nobody is told that there is no horn, or what follows from that, because it is written wrong.
        ("[ear]\n[horn]\ntone = 0\n", ["horn.tone: this number is too small [number-too-small]"]),
    ],
)
def test_a_step_is_told_whether_another_gives_a_fact(sections: str, told: list[str]) -> None:
    with pytest.raises(Rejected) as refused:
        planned(f"{BASE}\n{sections}", known=known())
    faults = [evolve(fault, place=None) for fault in refused.value.faults if not fault.warning]
    assert [describe(fault).splitlines()[0] for fault in faults] == told


def test_a_need_that_the_family_names_no_package_for_is_a_fault() -> None:
    family = Family(
        name="marsh", architecture="amd64", rebuild_initramfs=(), packages={"sudo": ("sudo",), "time": ("chrony",)}
    )
    assert family.tokens("time", "sudo", "time") == ("package:chrony", "package:sudo")
    with pytest.raises(Rejected) as refused:
        family.tokens("sudo", "wifi", "boot-entries")
    [fault] = refused.value.faults
    assert fault.code == "family-lacks-package" and fault.message.endswith(
        "marsh names no package for wifi or boot-entries"
    )
