"""Boot loaders besides the usual one, from end to end, beside the other system.

What later updates do is done too, by the same commands, before the audit: a new initramfs must reach the loader by the
family's own scripts, and the loader's own update must leave the other system's fallback alone.
"""

from pathlib import Path

import pytest

from .archive import base_archive
from .disks import fat_files, partition_digests, partitions
from .factory import DATA, ESP, RECOVERY, RESERVED, VENDOR_MARKER, FactoryMachine
from .install import Technician, carry
from .machine import Machine
from .media import LiveMedium
from .sources import PackageSource
from .test_install import MENU_ENTRY, install, report

pytestmark = pytest.mark.bench

OWN = ("EFI/systemd/", "loader/")
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
    _assert_kept(factory_pc, factory, tmp_path)
    report(technician)


def _update_and_audit(technician: Technician) -> None:
    console = technician.start_new_system("ana")
    technician.become_root(console)
    # Boot Loader Interface: the loader itself says which entry it has started, in UTF-16
    assert "saltmarsh-" in console.check(f"tr -d '\\000' <{STARTED}")
    with technician.machine.timed("updates"):
        console.check("update-initramfs -u -k all", 1200)
        console.check("bootctl --graceful update", 120)
    said = technician.audit(console)
    failed = "\n".join(line for line in said.splitlines() if not line.startswith("holds "))
    assert said.splitlines()[-1].endswith(" proofs hold, 0 do not"), failed
    console.answer("systemctl reboot")
    technician.machine.wait_off()


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


def _assert_kept(machine: Machine, factory: FactoryMachine, folder: Path) -> None:
    raw = machine.disks[0].raw_copy(folder / "after.raw")
    after, before = partition_digests(raw, sector_bytes=factory.disk.sector_bytes), factory.digests()
    for row in (RESERVED, DATA, RECOVERY):
        assert after[row.uuid] == before[row.uuid], row.title
    place = partitions(raw, sector_bytes=factory.disk.sector_bytes)[ESP.uuid]
    now = fat_files(raw, place, folder / "esp-after")
    was = fat_files(factory.disk.path, place, folder / "esp-before")
    raw.unlink()
    assert {path: digest for path, digest in now.items() if not path.startswith(OWN)} == was
    assert any(path.startswith("EFI/systemd/") for path in now)
