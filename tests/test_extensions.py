"""Extension points: choices that plugins add to steps, through the same hook as our own."""

from __future__ import annotations

from pathlib import Path

import pytest
from attrs import evolve, frozen

from bedplate.compiling import pipeline
from bedplate.hookspecs import Extension, hookimpl
from bedplate.install_graph import InstallGraph
from bedplate.loading.plugin_errors import Origin
from bedplate.loading.registry import Registry, assemble, load
from bedplate.reading.document import read
from bedplate_steps import base, bootloader, clock, disk, families, locale, network, users
from bedplate_steps.base.family import PackageFamily
from bedplate_steps.bootloader.grub import GRUB
from bedplate_steps.clock.family import ZoneName
from bedplate_steps.network.managers import MANAGERS
from family_records import record

ROOT = Path(__file__).resolve().parent.parent
OWN = [
    (Origin(plugin=one.__name__, distribution="bedplate", version="0"), one)
    for one in (base, bootloader, clock, disk, families, locale, network, users)
]
REED = Origin(plugin="reed", distribution="saltmarsh-reed", version="3")


def adding(*extensions: Extension) -> Registry:
    class Plugin:
        bedplate_contract = 1

        @hookimpl
        def bedplate_extensions(self) -> list[Extension]:
            return list(extensions)

    plugins: list[tuple[Origin, object]] = [*OWN, (REED, Plugin())]
    return assemble(plugins)


def compiled(registry: Registry, *changes: tuple[str, str]) -> InstallGraph:
    """The graph of kelp-02 with some of its text changed."""

    def contents(name: str) -> bytes:
        text = (ROOT / "specs" / Path(name).name).read_text()
        for old, new in changes if name == "kelp-02.toml" else ():
            assert old in text
            text = text.replace(old, new, 1)
        return text.encode()

    checked = pipeline.check_spec(read("kelp-02.toml", contents), registry, lambda name: read(name, contents))
    return pipeline.plan(checked, "kelp-02.toml")


def choices(registry: Registry, section: str, key: str) -> list[str]:
    return list(registry.steps[section].step.schema["properties"][key]["enum"])


def test_our_own_choices_come_through_the_hook_and_into_the_schema() -> None:
    assert choices(load(), "base", "family") == ["apt", "pacman", "dnf"]
    assert choices(load(), "bootloader", "loader") == ["grub", "systemd-boot"]
    assert choices(load(), "network", "manager") == ["networkd", "networkmanager", "none"]


def test_a_strangers_manager_runs_the_network() -> None:
    manager = evolve(MANAGERS["networkd"], title="Reed", unit="reed.service", status="reed status")
    registry = adding(Extension(point="network.manager", name="reed", value=manager))
    assert choices(registry, "network", "manager") == ["networkd", "networkmanager", "reed", "none"]
    actions = {node.action.id: node.action for node in compiled(registry, ("networkmanager", "reed")).nodes}
    assert "service:reed.service" in actions["network.manager"].gives
    assert "Reed" in actions["network.manager"].title


FAMILY = record("pacman", PackageFamily)
LOADER = evolve(GRUB, image=lambda plan: "reed.efi")


def test_a_strangers_loader_is_what_the_firmware_starts() -> None:
    registry = adding(Extension(point="bootloader.loader", name="reed", value=LOADER))
    nodes = compiled(registry, ("[network]", '[bootloader]\nloader = "reed"\n\n[network]')).nodes
    assert "reed.efi" in str(next(node.action for node in nodes if node.action.id == "bootloader.boot-entry"))


@pytest.mark.parametrize(
    ("extension", "words"),
    [
        (Extension(point="base.flavour", name="sedge", value=FAMILY), "no step opens the point 'base.flavour'"),
        (Extension(point="base.family", name="Sedge", value=FAMILY), "lower-case"),
        (Extension(point="base.family", name="sedge", value=LOADER), "takes a PackageFamily"),
        (Extension(point="base.family", name="apt", value=FAMILY), "apt of base.family is built in"),
        (Extension(point="base.family", name="apt", value=ZoneName()), "ZoneName of apt is built in"),
        (Extension(point="base.family", name="apt", value="reed"), "an attrs value, and this is of type str"),
    ],
)
def test_an_extension_that_does_not_fit_is_named(extension: Extension, words: str) -> None:
    registry = adding(extension)
    [broken] = registry.broken
    assert words in broken.reason and broken.origin == REED
    assert choices(registry, "base", "family") == ["apt", "pacman", "dnf"]


@frozen
class Tides:
    """What a stranger's own step might ask a family for."""

    file: str


def test_anybody_may_say_more_of_a_family() -> None:
    registry = adding(Extension(point="base.family", name="apt", value=Tides(file="/etc/reed")))
    assert registry.broken == ()
    assert registry.brought()[("base.family", "apt", REED)] == ("Tides",)
    assert registry.extensions[Tides]["apt"].extension.value == Tides(file="/etc/reed")
    assert choices(registry, "base", "family") == ["apt", "pacman", "dnf"]
