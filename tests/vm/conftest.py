"""Fixtures of the proving bench. What takes minutes is built once and kept; machines live one test.

``BEDPLATE_BENCH_CACHE`` names the folder for what is kept. Serial logs and timings of the
last run of each test stay in its ``runs`` folder; disk images do not.
"""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from .archive import base_archive
from .cache import cache_root
from .factory import FactoryMachine, factory_machine
from .machine import Machine
from .media import LiveMedium, live_medium
from .rack import Rack
from .sources import PackageSource, host_package_source


@pytest.fixture(scope="session")
def package_source() -> PackageSource:
    """Where packages come from on this host."""
    return host_package_source()


@pytest.fixture(scope="session")
def medium(package_source: PackageSource) -> LiveMedium:
    """The live medium."""
    return live_medium(package_source)


@pytest.fixture(scope="session")
def archive(package_source: PackageSource) -> Path:
    """The local base archive."""
    return base_archive(package_source)


@pytest.fixture(scope="session")
def factory(medium: LiveMedium) -> FactoryMachine:
    """A machine with the other system on it, 512-byte sectors."""
    return factory_machine(medium)


@pytest.fixture(scope="session")
def factory_4096(medium: LiveMedium) -> FactoryMachine:
    """A machine with the other system on it, 4096-byte sectors."""
    return factory_machine(medium, sector_bytes=4096)


@pytest.fixture
def rack(request: pytest.FixtureRequest) -> Iterator[Rack]:
    """Where a test gets its machines; all are off and their disks gone when it ends."""
    folder = cache_root() / "runs" / re.sub(r"[^\w.-]+", "-", request.node.name)
    shutil.rmtree(folder, ignore_errors=True)
    rack = Rack(folder=folder)
    try:
        yield rack
    finally:
        rack.clear()


@pytest.fixture
def factory_pc(rack: Rack, factory: FactoryMachine) -> Machine:
    """A machine fresh from the factory."""
    return rack.factory("pc", factory)
