"""The collector on a machine that starts by UEFI: what it tells is what the factory put there, and nothing changes."""

from pathlib import Path

import pytest

from bedplate.survey import Survey
from bedplate.surveying import capture

from .disks import MIB
from .factory import BOOT_ENTRY, DISK_ID, ESP, FALLBACK_LOADER, SERIAL, TABLE, VENDOR_LOADER, FactoryMachine
from .machine import SHARE_MOUNT, Machine
from .media import LiveMedium
from .rack import Rack

pytestmark = pytest.mark.bench


def survey_of(machine: Machine, medium: LiveMedium) -> Survey:
    """Carry the collector in and its capture out, as a person does with a stick."""
    console = machine.boot_live(medium)
    machine.mount_share(console)
    (machine.share / "collector.sh").write_text(capture.collect_script())
    console.check(f"sh {SHARE_MOUNT}/collector.sh >{SHARE_MOUNT}/capture.txt && sync", 240)
    machine.power_off(console)
    return capture.survey_from((machine.share / "capture.txt").read_text())


@pytest.mark.parametrize("sector", [512, 4096])
def test_the_survey_of_a_factory_machine(
    rack: Rack, factory: FactoryMachine, factory_4096: FactoryMachine, medium: LiveMedium, sector: int, tmp_path: Path
) -> None:
    saved = {512: factory, 4096: factory_4096}[sector]
    machine = rack.factory("pc", saved)
    survey = survey_of(machine, medium)
    (tmp_path / "machine.survey.toml").write_text(capture.to_toml(survey))

    [disk] = [disk for disk in survey.disks if disk.serial == SERIAL]
    assert disk.sector_size == sector and disk.faults == ()
    assert f"/dev/disk/by-id/virtio-{SERIAL}" in disk.by_id
    assert disk.table is not None and disk.table.id == DISK_ID
    rows = [(part.type, part.uuid, part.name, part.size * sector // MIB) for part in disk.partitions]
    assert rows == [(row.type, row.uuid, row.title, row.size_mib) for row in TABLE]
    assert [part.attributes for part in disk.partitions] == [row.attributes for row in TABLE]

    esp = disk.partitions[0]
    assert set(esp.files) >= {f"/{VENDOR_LOADER}", f"/{FALLBACK_LOADER}"}
    inside = esp.filesystem
    assert inside is not None and inside.used_bytes and inside.free_bytes
    assert inside.used_bytes + inside.free_bytes <= ESP.size_mib * MIB
    data = disk.partitions[2].filesystem
    assert data is not None and data.type == "ntfs" and data.dirty is False
    assert data.used_bytes is not None and 89_000_000 < data.used_bytes < 200_000_000

    assert (survey.firmware.mode, survey.firmware.bits) == ("uefi", 64)
    assert survey.firmware.secure_boot in ("off", "setup")
    [entry] = [entry for entry in survey.firmware.entries if entry.label == BOOT_ENTRY]
    assert entry.number in survey.firmware.boot_order
    assert (entry.partition, entry.loader) == (ESP.uuid.lower(), "\\" + VENDOR_LOADER.replace("/", "\\"))
    assert [(link.mac, link.kind) for link in survey.links] == [(machine.hardware.mac, "ethernet")]
    assert 0 < survey.machine.memory_bytes <= machine.hardware.memory_mib * MIB
    assert machine.disks[0].same_bytes_as(saved.disk)
