"""Installations from end to end: what Bedplate renders puts a system on a machine, and what was there survives."""

from pathlib import Path

import pytest

from .disks import fat_files, partition_digests, partitions
from .factory import DATA, ESP, RECOVERY, RESERVED, SERIAL, VENDOR_MARKER, FactoryMachine
from .install import Technician, begin, carry, known_of, table
from .machine import Machine
from .media import LiveMedium
from .sources import PackageSource

pytestmark = pytest.mark.bench

SUMMARY = r"^(\d+) proofs hold, (\d+) do not$"


def assert_kept(machine: Machine, factory: FactoryMachine, folder: Path, own: str) -> None:
    """Partitions that are kept hold the same bytes; on the EFI system partition only `own` is new."""
    sector = factory.disk.sector_bytes
    raw = machine.disks[0].raw_copy(folder / "after.raw")
    after, before = partition_digests(raw, sector_bytes=sector), factory.digests()
    for row in (RESERVED, DATA, RECOVERY):
        assert after[row.uuid] == before[row.uuid], row.title
    place = partitions(raw, sector_bytes=sector)[ESP.uuid]
    now = fat_files(raw, place, folder / "esp-after")
    was = fat_files(factory.disk.path, place, folder / "esp-before")
    raw.unlink()
    assert {path: digest for path, digest in now.items() if not path.startswith(f"EFI/{own}/")} == was
    assert any(path.startswith(f"EFI/{own}/") for path in now)


def test_beside_the_other_system_from_an_archive(
    factory_pc: Machine,
    factory: FactoryMachine,
    medium: LiveMedium,
    archive: Path,
    package_source: PackageSource,
    tmp_path: Path,
) -> None:
    person = Technician(machine=factory_pc, case="kelp-02")
    console = begin(factory_pc, medium)
    known = known_of(person.survey(console), SERIAL)
    person.write_spec({**known, **carry(archive, factory_pc), "suite": package_source.suite})
    person.compile()
    result = person.install(console)
    assert result.status == 0, result.output
    factory_pc.power_off(console)
    print("\n" + table("kelp-02", factory_pc, person.timings()))

    console = person.start_new_system("ana")
    person.become_root(console, "ana")
    said = person.audit(console)
    print(said)
    assert ", 0 do not" in said.splitlines()[-1], said
    console.answer("systemctl reboot")
    factory_pc.wait_off()

    console = factory_pc.boot_disk()
    with factory_pc.timed("other system from the menu"):
        console.choose_menu_entry("factory-system|Factory", downs=2)
        console.expect(VENDOR_MARKER, 120)
    factory_pc.wait_off()
    assert_kept(factory_pc, factory, tmp_path, "saltmarsh")
