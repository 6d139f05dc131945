"""Extension points: choices that plugins add to steps, through the same hook as our own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from attrs import evolve

from bedplate.compiling import pipeline
from bedplate.faults import Rejected
from bedplate.hookspecs import Extension, hookimpl
from bedplate.install_graph import InstallGraph
from bedplate.loading.plugin_errors import Origin
from bedplate.loading.registry import Registry, assemble, load
from bedplate.reading.document import read
from bedplate_steps import base, bootloader, clock, disk, locale, network, users
from bedplate_steps.base.families.pacman import PACMAN
from bedplate_steps.bootloader.grub import GRUB
from bedplate_steps.network.managers import MANAGERS

ROOT = Path(__file__).resolve().parent.parent
OWN = [
    (Origin(plugin=one.__name__, distribution="bedplate", version="0"), one)
    for one in (base, bootloader, clock, disk, locale, network, users)
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


FAMILY = evolve(PACMAN, name="sedge", tools=("sedge-get",))
LOADER = evolve(GRUB, families=("apt", "sedge"), image=lambda plan: "reed.efi")


def test_a_strangers_loader_is_what_the_firmware_starts() -> None:
    registry = adding(Extension(point="bootloader.loader", name="reed", value=LOADER))
    nodes = compiled(registry, ("[network]", '[bootloader]\nloader = "reed"\n\n[network]')).nodes
    assert "reed.efi" in str(next(node.action for node in nodes if node.action.id == "bootloader.boot-entry"))


def test_a_loader_says_which_families_it_knows() -> None:
    registry = adding(Extension(point="base.family", name="sedge", value=FAMILY))
    with pytest.raises(Rejected) as caught:
        compiled(registry, ('"apt"', '"sedge"'), ('release = "bookworm"', ""))
    [fault] = [fault for fault in caught.value.faults if fault.code == "loader-unfit"]
    assert fault.path == ("bootloader", "loader") and fault.allowed == "a package family among apt, pacman or dnf"


def test_a_strangers_family_fills_the_base() -> None:
    def plain(action: Any) -> Any:
        return lambda plan: action(evolve(plan, family=evolve(plan.family, name="pacman")))

    loader = evolve(LOADER, configure=plain(GRUB.configure), install=plain(GRUB.install), menu=plain(GRUB.menu))
    registry = adding(
        Extension(point="base.family", name="sedge", value=FAMILY),
        Extension(point="bootloader.loader", name="reed", value=loader),
    )
    changes = (
        ('"apt"', '"sedge"'),
        ('release = "bookworm"', ""),
        ('"main", "non-free-firmware"', '"core"'),
        ('groups = ["dialout"]', ""),
        ("[network]", '[bootloader]\nloader = "reed"\n\n[network]'),
    )
    graph = compiled(registry, *changes)
    assert "sedge-get" in graph.tools
    assert {"base.packages", "bootloader.menu", "users.person-ana"} <= {node.action.id for node in graph.nodes}


@pytest.mark.parametrize(
    ("extension", "words"),
    [
        (Extension(point="base.flavour", name="sedge", value=FAMILY), "no step opens the point 'base.flavour'"),
        (Extension(point="base.family", name="Sedge", value=FAMILY), "lower-case"),
        (Extension(point="base.family", name="sedge", value=LOADER), "takes a PackageFamily"),
        (Extension(point="base.family", name="apt", value=FAMILY), "apt of base.family is built in"),
    ],
)
def test_an_extension_that_does_not_fit_is_named(extension: Extension, words: str) -> None:
    registry = adding(extension)
    [broken] = registry.broken
    assert words in broken.reason and broken.origin == REED
    assert choices(registry, "base", "family") == ["apt", "pacman", "dnf"]
