"""Installations from end to end: what Bedplate renders puts a system on a machine, and what was there survives.

Each run starts with a machine as it is delivered and ends when the new system has passed its audit and the other one
has been started from the new menu. Times of every part and action are printed, and kept beside the serial logs.
"""

from collections.abc import Mapping
from pathlib import Path

import pytest

from .archive import base_archive
from .console import Console
from .disks import fat_files, partition_digests, partitions
from .factory import DATA, ESP, RECOVERY, RESERVED, VENDOR_MARKER, FactoryMachine
from .install import PASSWORDS, Technician, begin, carry, known_of, table
from .machine import Machine
from .media import LiveMedium
from .rack import Rack
from .sources import PackageSource

pytestmark = pytest.mark.bench

MENU_ENTRY = "Factory boot manager"


def install(case: str, machine: Machine, medium: LiveMedium, known: Mapping[str, str]) -> Technician:
    """Survey, spec, script and installation; ends with the machine switched off."""
    technician = Technician(machine=machine, case=case)
    console = begin(machine, medium)
    survey = technician.survey(console)
    technician.write_spec({**known_of(survey, machine.disks[0].serial), **known})
    technician.compile()
    result = technician.install(console)
    assert result.status == 0, result.output
    machine.power_off(console)
    return technician


def audit(technician: Technician) -> None:
    """Start by the firmware's own entry, log in as everybody, run the audit as root: every proof holds."""
    console = technician.start_new_system("warden")
    console.logout()
    console.login("ana", PASSWORDS["ana"])
    technician.become_root(console)
    assert_audit(technician, console)


def assert_audit(technician: Technician, console: Console) -> None:
    """Run by root, every proof holds; then the machine goes off."""
    said = technician.audit(console)
    failed = "\n".join(line for line in said.splitlines() if not line.startswith("holds "))
    assert said.splitlines()[-1].endswith(" proofs hold, 0 do not"), failed
    console.answer("systemctl reboot")
    technician.machine.wait_off()


def start_other_system(machine: Machine) -> None:
    """Choose it in the new menu by its title."""
    console = machine.boot_disk()
    with machine.timed("other system from the menu"):
        console.choose_menu_entry(MENU_ENTRY, VENDOR_MARKER)
    machine.wait_off()


def assert_kept(machine: Machine, factory: FactoryMachine, folder: Path, *own: str) -> None:
    """Partitions that are kept hold the same bytes; on the EFI system partition only the folders `own` are new."""
    raw = machine.disks[0].raw_copy(folder / "after.raw")
    after, before = partition_digests(raw, sector_bytes=factory.disk.sector_bytes), factory.digests()
    for row in (RESERVED, DATA, RECOVERY):
        assert after[row.uuid] == before[row.uuid], row.title
    place = partitions(raw, sector_bytes=factory.disk.sector_bytes)[ESP.uuid]
    now = fat_files(raw, place, folder / "esp-after")
    was = fat_files(factory.disk.path, place, folder / "esp-before")
    raw.unlink()
    prefixes = tuple(f"{one}/" for one in own)
    assert {path: digest for path, digest in now.items() if not path.startswith(prefixes)} == was
    assert any(path.startswith(prefixes[0]) for path in now)


def assert_both_systems(technician: Technician, factory: FactoryMachine, folder: Path) -> None:
    """The new system passes its audit, the other one starts from the new menu, and all that is kept is as it was."""
    audit(technician)
    start_other_system(technician.machine)
    assert_kept(technician.machine, factory, folder, "EFI/saltmarsh")
    report(technician)


def report(technician: Technician) -> None:
    """The table of times, on the terminal and beside the serial logs."""
    text = table(technician.case, technician.machine, technician.timings())
    (technician.machine.folder / "actions.txt").write_text(text + "\n")
    print("\n" + text)


@pytest.fixture
def release(package_source: PackageSource) -> dict[str, str]:
    """The release the bench's packages are of."""
    return {"suite": package_source.suite}


@pytest.mark.proves(family="apt", loader="grub", manager="networkd", by="run")
def test_kelp_beside_the_other_system_from_an_archive(
    factory_pc: Machine,
    factory: FactoryMachine,
    medium: LiveMedium,
    archive: Path,
    release: dict[str, str],
    tmp_path: Path,
) -> None:
    """Shared EFI system partition, ext4, swap partition, 512-byte sectors."""
    technician = install("kelp-02", factory_pc, medium, {**release, **carry(archive, factory_pc)})
    assert_both_systems(technician, factory, tmp_path)


@pytest.mark.proves(family="apt", loader="grub", manager="networkd", by="run")
@pytest.mark.long
def test_kelp_encrypted_beside_the_other_system(
    factory_pc: Machine,
    factory: FactoryMachine,
    medium: LiveMedium,
    package_source: PackageSource,
    release: dict[str, str],
    tmp_path: Path,
) -> None:
    """Root, home and swap in containers of one passphrase; GRUB reads a /boot of its own."""
    archive = base_archive(package_source, extra=("cryptsetup-initramfs",))
    technician = install("kelp-07", factory_pc, medium, {**release, **carry(archive, factory_pc)})
    assert_both_systems(technician, factory, tmp_path)


@pytest.mark.proves(family="apt", loader="grub", manager="networkd", by="run")
@pytest.mark.long
def test_tern_btrfs_on_4096_byte_sectors(
    rack: Rack, factory_4096: FactoryMachine, medium: LiveMedium, archive: Path, release: dict[str, str], tmp_path: Path
) -> None:
    """Beside the other system: subvolumes, a swap file, a shared EFI system partition of 4096-byte sectors."""
    machine = rack.factory("pc", factory_4096)
    technician = install("tern-04", machine, medium, {**release, **carry(archive, machine)})
    assert_both_systems(technician, factory_4096, tmp_path)


@pytest.mark.proves(family="apt", loader="grub", manager="networkd", by="run")
@pytest.mark.long
def test_limpet_whole_disk_with_xfs(rack: Rack, medium: LiveMedium, archive: Path, release: dict[str, str]) -> None:
    """An empty disk; fixed addresses; /boot of its own; the loader also at the fallback path."""
    machine = rack.blank("pc")
    technician = install("limpet-01", machine, medium, {**release, **carry(archive, machine)})
    audit(technician)
    machine.variables.unlink()
    machine.boot_disk().expect("limpet-01 login: ", 420)
    machine.off()
    report(technician)


@pytest.mark.proves(family="apt", loader="grub", manager="networkmanager", by="run")
@pytest.mark.long
def test_barnacle_beside_the_other_system_over_the_network(
    factory_pc: Machine, factory: FactoryMachine, medium: LiveMedium, release: dict[str, str], tmp_path: Path
) -> None:
    """Packages from the source the medium is configured to use; NetworkManager runs the network."""
    technician = install("barnacle-05", factory_pc, medium, release)
    assert_both_systems(technician, factory, tmp_path)
