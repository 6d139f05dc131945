"""Sections of the network step for tests, and what the step makes of them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any, TypeVar

import jsonschema
from attrs import field, frozen

from bedplate.actions import Action, InTarget, SecretRef, WriteFile
from bedplate.facts import Family
from bedplate.faults import Fault
from bedplate.loading.registry import load
from bedplate.reading.structuring import structured
from bedplate.spec import Machine
from bedplate.survey import Link as SurveyedLink
from bedplate.survey import Survey
from bedplate_steps.network.managers import MANAGERS, Manager
from bedplate_steps.network.model import Network
from family_records import record

T = TypeVar("T")
STEP = load().steps["network"].step
CABLE, AIR = "00:16:3e:5a:17:01", "00:16:3e:5a:17:02"
NEEDS = (
    "network-networkd",
    "network-resolved",
    "network-networkmanager",
    "wifi-iwd",
    "wifi-wpa",
    "wifi-networkmanager",
)
SURVEY = Survey(
    links=(
        SurveyedLink(name="enp1s0", mac=CABLE, kind="ethernet", carrier=True),
        SurveyedLink(name="wlp2s0", mac=AIR, kind="wifi"),
    )
)
LINK = f'[[links]]\nname = "cable"\nmac = "{CABLE}"\n'
WIFI = f'[[links]]\nname = "air"\nmac = "{AIR}"\nwifi = {{ ssid = "saltmarsh", security = "wpa-psk" }}\n'


@frozen(kw_only=True)
class Around:
    """A context with a machine, perhaps a survey, and one package family."""

    machine: Machine = field(factory=lambda: Machine(name="kelp-02"))
    survey: Survey | None = None
    family: str = "apt"
    from_archive: bool = False
    packages: tuple[str, ...] = field(default=NEEDS)
    managers: Mapping[str, Manager] = field(factory=lambda: MANAGERS)

    def extensions(self, kind: type[T]) -> Mapping[str, T]:
        return self.managers if kind is Manager else {}  # type: ignore[return-value]

    def has(self, kind: type[object]) -> bool:
        return kind is Family

    def of_family(self, kind: type[T]) -> T:
        return record(self.family, kind)

    def fact(self, kind: type[T]) -> T:
        family = Family(
            name=self.family,
            architecture="amd64",
            packages={need: (need,) for need in self.packages},
            rebuild_initramfs=(),
            from_archive=self.from_archive,
        )
        assert isinstance(family, kind)
        return family


def section(text: str) -> Network:
    data: dict[str, Any] = tomllib.loads(text)
    jsonschema.Draft202012Validator(STEP.schema).validate(data)
    return structured(data, Network)


def faults(text: str, around: Around | None = None) -> list[Fault]:
    assert STEP.validate is not None
    return list(STEP.validate(section(text), around or Around()))


def actions(text: str, around: Around | None = None) -> dict[str, Action]:
    around = around or Around()
    found = [fault for fault in faults(text, around) if not fault.warning]
    assert found == []
    return {action.id: action for action in STEP.emit(section(text), around)}


def written(action: Action) -> dict[str, str]:
    """The text of every file an action writes, secrets as <NAME>."""
    out: dict[str, str] = {}
    for operation in action.operations:
        if isinstance(operation, WriteFile):
            assert isinstance(operation.path, InTarget)
            parts = (f"<{part.name}>" if isinstance(part, SecretRef) else str(part) for part in operation.content)
            out[operation.path.path] = "".join(parts)
    return out
