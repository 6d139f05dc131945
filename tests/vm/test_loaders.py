"""Boot loaders besides the usual one, from end to end, beside the other system.

What later updates do is done too, by the same commands, before the audit: a new initramfs must reach the loader by the
family's own scripts, and the loader's own update must leave the other system's fallback alone.
"""

from pathlib import Path

import pytest

from .archive import base_archive
from .factory import VENDOR_MARKER, FactoryMachine
from .install import Technician, carry
from .machine import Machine
from .media import LiveMedium
from .sources import PackageSource
from .test_install import MENU_ENTRY, assert_audit, assert_kept, install, report

pytestmark = pytest.mark.bench

OWN = ("EFI/systemd", "loader")
"""What systemd-boot adds to the EFI system partition: the folder of bootctl(1), and its settings and entries."""

STARTED = "/sys/firmware/efi/efivars/LoaderEntrySelected-4a67b082-0a4c-41cf-b6c7-440b29bb8c4f"


@pytest.fixture(scope="session")
def loader_archive(package_source: PackageSource) -> Path:
    """The local base archive with the loader's package in it."""
    return base_archive(package_source, extra=("systemd-boot",))


@pytest.mark.proves(family="apt", loader="systemd-boot", manager="networkd", by="run")
def test_systemd_boot_beside_the_other_system(
    factory_pc: Machine,
    factory: FactoryMachine,
    medium: LiveMedium,
    loader_archive: Path,
    package_source: PackageSource,
    tmp_path: Path,
) -> None:
    """Shared EFI system partition of 260 MiB, kernels on an extended boot partition."""
    known = {"suite": package_source.suite, **carry(loader_archive, factory_pc)}
    technician = install("kelp-06", factory_pc, medium, known)
    _update_and_audit(technician)
    _start_other_system(factory_pc)
    assert_kept(factory_pc, factory, tmp_path, *OWN)
    report(technician)


def _update_and_audit(technician: Technician) -> None:
    console = technician.start_new_system("ana")
    technician.become_root(console)
    # Boot Loader Interface: the loader itself says which entry it has started, in UTF-16
    assert "saltmarsh-" in console.check(f"tr -d '\\000' <{STARTED}")
    with technician.machine.timed("updates"):
        console.check("update-initramfs -u -k all", 1200)
        console.check("bootctl --graceful update", 120)
    assert_audit(technician, console)


def _start_other_system(machine: Machine) -> None:
    """systemd-boot(7): a digit moves to the entry of that number, and Enter starts it; ours is the first."""
    console = machine.boot_disk()
    with machine.timed("other system from the menu"):
        console.expect(MENU_ENTRY, 180)
        console.press("2")
        console.press("2")
        console.press("\r")
        console.expect(VENDOR_MARKER, 120)
    machine.wait_off()
