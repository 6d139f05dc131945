"""The bench proves itself first: a machine that lies would make every later result worthless."""

import os
from pathlib import Path

import pytest

from .archive import ARCHIVE_NAME
from .disks import partition_digests, partitions, sha256
from .factory import DATA, DATA_FILES, FALLBACK_MARKER, SERIAL, TABLE, VENDOR_MARKER, FactoryMachine
from .machine import SHARE_MOUNT, Hardware, Machine
from .media import LiveMedium
from .rack import Rack
from .tools import call

pytestmark = pytest.mark.bench


def test_live_medium_is_what_a_stick_would_be(factory_pc: Machine, medium: LiveMedium) -> None:
    """UEFI with writable variables, no Python, package source reached, files carried both ways."""
    console = factory_pc.boot_live(medium)
    assert console.run("test -d /sys/firmware/efi").status == 0
    assert console.run("command -v python3 || ls /usr/bin/python*").status != 0
    assert console.check("lsblk -dno SERIAL").split() == ["BENCHLIVE", SERIAL]
    assert factory_pc.hardware.mac in console.check("udevadm settle; ip -br link")
    # a boot entry goes in, is read back, and goes out again: efibootmgr(8)
    console.check("efibootmgr -q -C -d /dev/disk/by-id/virtio-SALTMARSH0001 -p 1 -L trial -l '\\trial'")
    assert "trial" in console.check("efibootmgr")
    console.check("apt-get -q update", 180)

    sent = os.urandom(200_000)
    (factory_pc.share / "there.bin").write_bytes(sent)
    factory_pc.mount_share(console)
    console.check(f"cat {SHARE_MOUNT}/there.bin {SHARE_MOUNT}/there.bin >{SHARE_MOUNT}/back.bin && sync")
    assert (factory_pc.share / "back.bin").read_bytes() == sent + sent
    factory_pc.power_off(console)


def test_console_tells_output_questions_and_status_apart(factory_pc: Machine, medium: LiveMedium) -> None:
    console = factory_pc.boot_live(medium)
    assert console.run("printf 'one\\ntwo\\n'; (exit 7)").status == 7
    assert console.check("printf 'one\\ntwo\\n'") == "one\ntwo\n"
    assert console.check("printf '%s' 'no newline'") == "no newline"
    console.start("printf 'Name: '; read -r a; stty -echo; printf 'Secret: '; read -r b; echo \"<$a/$b>\"")
    console.expect("Name: ")
    console.answer("kelp-02")
    console.expect("Secret: ")
    console.answer("tide 'n' \"pool\" $HOME")
    finished = console.finish()
    assert finished.status == 0
    assert "<kelp-02/tide 'n' \"pool\" $HOME>" in finished.output


def test_other_system_starts_from_its_boot_entry(factory_pc: Machine) -> None:
    factory_pc.boot_disk().expect(VENDOR_MARKER, 120)
    factory_pc.wait_off()


def test_other_system_starts_from_the_fallback_path(factory_pc: Machine) -> None:
    """With no boot entry left, firmware takes EFI/BOOT/BOOTX64.EFI: UEFI specification 2.10, 3.5.1.1."""
    factory_pc.variables.unlink()
    factory_pc.boot_disk().expect(FALLBACK_MARKER, 120)
    factory_pc.wait_off()


def test_4096_byte_sectors_reach_firmware_and_kernel(
    rack: Rack, factory_4096: FactoryMachine, medium: LiveMedium
) -> None:
    machine = rack.factory("pc", factory_4096)
    machine.boot_disk().expect(VENDOR_MARKER, 120)
    machine.wait_off()
    console = machine.boot_live(medium)
    disk = f"/dev/disk/by-id/virtio-{SERIAL}"
    assert console.check(f"blockdev --getss {disk}").strip() == "4096"
    assert len(console.check(f"sfdisk -d {disk} | grep -c uuid=").split()) == 1
    machine.power_off(console)


def test_data_of_the_other_system_is_readable_and_stays_as_it_was(
    factory_pc: Machine, factory: FactoryMachine, medium: LiveMedium, tmp_path: Path
) -> None:
    """Files are there, and a run that only reads leaves every partition with the same SHA-256."""
    console = factory_pc.boot_live(medium)
    console.check(f"ntfs-3g -o ro /dev/disk/by-partuuid/{DATA.uuid.lower()} /mnt")
    for name, size in DATA_FILES.items():
        assert console.check(f"LC_ALL=C.UTF-8 stat -c %s '/mnt/{name}'").strip() == str(size)
    console.check("umount /mnt")
    factory_pc.power_off(console)
    raw = factory_pc.disks[0].raw_copy(tmp_path / "after.raw")
    assert partitions(raw, sector_bytes=512) == partitions(factory.disk.path, sector_bytes=512)
    assert set(factory.digests()) == {row.uuid for row in TABLE}
    assert partition_digests(raw, sector_bytes=512) == factory.digests()
    assert factory_pc.disks[0].same_bytes_as(factory.disk)
    raw.unlink()


def test_a_changed_byte_is_seen(factory: FactoryMachine, tmp_path: Path) -> None:
    """The comparison above is able to fail."""
    place = partitions(factory.disk.path, sector_bytes=512)[DATA.uuid]
    layered = factory.disk.overlay(tmp_path / "changed.qcow2")
    call(["qemu-io", "-f", "qcow2", "-c", f"write -P 0x5a {place.start_bytes + 1_000_000} 1", layered.path])
    raw = layered.raw_copy(tmp_path / "changed.raw")
    assert sha256(raw, place) != factory.digests()[DATA.uuid]
    assert not layered.same_bytes_as(factory.disk)
    raw.unlink()


@pytest.mark.parametrize("network", ["isolated", "unplugged"])
def test_trouble_can_be_had_to_order(rack: Rack, factory: FactoryMachine, medium: LiveMedium, network: str) -> None:
    """No network, a clock that is ten years off, legacy firmware: as the refusal cases need them."""
    wrong = {"isolated": "uefi", "unplugged": "legacy"}[network]
    hardware = Hardware(network=network, clock="2036-01-31T12:00:00", firmware=wrong)  # type: ignore[arg-type]
    machine = rack.factory("pc", factory, hardware)
    console = machine.boot_live(medium)
    assert console.check("date -u +%Y").strip() == "2036"
    assert (console.run("test -d /sys/firmware/efi").status == 0) == (wrong == "uefi")
    assert console.run("apt-get -q update -o APT::Update::Error-Mode=any -o Acquire::Retries=0", 240).status
    machine.power_off(console)


def test_base_archive_holds_a_bootable_system(archive: Path) -> None:
    names = call(["tar", "--zstd", "-tf", archive]).splitlines()
    assert archive.name == ARCHIVE_NAME
    assert any(name.startswith("./boot/vmlinuz-") for name in names)
    assert any(name.startswith("./boot/initrd.img-") for name in names)
    assert "./usr/sbin/grub-install" in names
