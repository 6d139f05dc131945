"""The floors of the house: what plugins may import is an allow-list, and no private module passes it.

Common practice, no source. The contracts stand in `pyproject.toml`; each private module is planted as an import of a
step and of the example plugin, in the graph of imports, and the contract has to say no.
"""

from __future__ import annotations

import copy
import sys
from pathlib import Path

import grimp
import pytest
from importlinter.api import read_configuration
from importlinter.configuration import configure
from importlinter.contracts.forbidden import ForbiddenContract

ROOT = Path(__file__).resolve().parent.parent
EXAMPLE = "saltmarsh_tide_gauge"
PUBLIC = {"bedplate", *(f"bedplate.{path.stem}" for path in (ROOT / "compiler/bedplate").glob("[a-z]*.py"))}

configure()


def built(*packages: str) -> grimp.ImportGraph:
    path = str(ROOT / "tests" / "plugin_example")
    sys.path.insert(0, path)
    try:
        return grimp.build_graph(*packages, cache_dir=None)
    finally:
        sys.path.remove(path)


HOUSE = built("bedplate", "bedplate_steps", "bedplate_schema")
PRIVATE = sorted(name for name in HOUSE.modules if name.startswith("bedplate.") and name not in PUBLIC)


def contract(plugin: str) -> ForbiddenContract:
    """The allow-list as `lint-imports` reads it, for any plugin."""
    tables = read_configuration(str(ROOT / "pyproject.toml"))["contracts_options"]
    [options] = [table for table in tables if table["name"] == "Plugins import what is public and nothing else"]
    if plugin != "bedplate_steps":
        allowed = [line.replace("bedplate_steps.**", plugin) for line in options["ignore_imports"]]
        options |= {"source_modules": [plugin], "ignore_imports": allowed}
    return ForbiddenContract(options["name"], {"root_packages": ["bedplate", plugin]}, options)


def keeps(graph: grimp.ImportGraph, plugin: str, importer: str = "", imported: str = "") -> bool:
    """Whether the contract holds once `importer` imports `imported` too."""
    graph = copy.deepcopy(graph)
    if imported:
        graph.add_import(importer=importer, imported=imported, line_number=1, line_contents=f"import {imported}")
    return contract(plugin).check(graph, verbose=False).kept


def test_the_top_level_is_the_allow_list() -> None:
    allowed = {line.partition(" -> ")[2] for line in contract("bedplate_steps").contract_options["ignore_imports"]}
    assert allowed == PUBLIC
    assert len(PRIVATE) > 50


def test_built_in_steps_and_the_example_keep_to_it() -> None:
    assert keeps(HOUSE, "bedplate_steps")
    assert keeps(built(EXAMPLE, "bedplate", "bedplate_schema"), EXAMPLE)


@pytest.mark.parametrize("module", sorted(PUBLIC))
def test_what_is_public_may_be_imported(module: str) -> None:
    assert keeps(HOUSE, "bedplate_steps", "bedplate_steps.clock.emit", module)


@pytest.mark.parametrize("module", PRIVATE)
def test_a_private_import_of_a_step_is_found(module: str) -> None:
    assert not keeps(HOUSE, "bedplate_steps", "bedplate_steps.clock.emit", module)
    assert not keeps(HOUSE, "bedplate_steps", "bedplate_steps.base.families.apt", module)


def test_a_private_import_of_the_example_is_found() -> None:
    graph = built(EXAMPLE, "bedplate", "bedplate_schema")
    passed = [module for module in PRIVATE if keeps(graph, EXAMPLE, EXAMPLE, module)]
    assert passed == []
