"""The wrong disk, the wrong medium, the wrong moment: each is refused before the first write, in the machine itself.

A spec is compiled against the survey of a factory machine; then the machine is no longer what the survey saw. The
script has to say what is wrong in words that can be acted on, end with 1, and leave every byte of the disk as it was.
That is the design's rule that everything is checked before anything is written (no source); what has gone wrong for
people who had no such rule stands with its sources in tests/accidents.
"""

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from attrs import define, evolve

from .cache import cache_root
from .console import Console, Result
from .disks import STICK, Disk
from .factory import DATA, ESP, SERIAL, FactoryMachine
from .install import Technician, answer_all, begin, carry, known_of
from .machine import SHARE_MOUNT, Hardware, Machine
from .media import LiveMedium
from .rack import Rack
from .sources import PackageSource

pytestmark = pytest.mark.bench

NODE = f"/dev/disk/by-id/virtio-{SERIAL}"
ESP_NODE = f"/dev/disk/by-partuuid/{ESP.uuid.lower()}"
DATA_NODE = f"/dev/disk/by-partuuid/{DATA.uuid.lower()}"
LOCAL, NETWORK = "kelp-02", "barnacle-05"
"""Cases with the base from an archive and over the network."""
MIB_SECTORS = 2048


@define(kw_only=True)
class Bench:
    """A machine on the live medium with the scripts at hand that were compiled for the factory machine."""

    machine: Machine
    console: Console
    node: str = NODE

    def attempt(self, case: str = LOCAL, typed: str | None = None) -> Result:
        """Run the script and answer it; the disk holds the same bytes before and after, whatever it says."""
        before = self._disk("before")
        self.console.start(f"sh {SHARE_MOUNT}/{case}.sh")
        answer_all(self.console, typed or case)
        result = self.console.finish(120)
        after = self._disk("after")
        assert after.same_bytes_as(before), result.output
        return result

    def _disk(self, name: str) -> Disk:
        """The disk as a power cut would leave it this moment, with all that the machine has written flushed."""
        self.console.check(f"sync; for node in {self.node}*; do sync $node; done")
        with self.machine.stopped():
            return self.machine.disks[0].copy(self.machine.folder / f"{name}.qcow2")

    @contextmanager
    def changed(self, command: str, back: str) -> Iterator[None]:
        """Something is different for the length of the block."""
        self.console.check(command, 180)
        try:
            yield
        finally:
            self.console.check(back)


def refused(result: Result, *words: str) -> None:
    """Refused with status 1, and all of these words stand in what it said."""
    assert result.status == 1, result.output
    assert "Nothing was changed." in result.output
    missing = [text for text in words if re.search(text, result.output) is None]
    assert missing == [], result.output


@pytest.fixture(scope="module")
def as_surveyed(
    factory: FactoryMachine, medium: LiveMedium, archive: Path, package_source: PackageSource
) -> Iterator[Bench]:
    """The factory machine, surveyed; every case is compiled against that survey. It stays on for all tests."""
    folder = cache_root() / "runs" / "wrong-machine"
    shutil.rmtree(folder, ignore_errors=True)
    machine = factory.unpack(folder)
    machine.disks = [evolve(machine.disks[0], durable=True)]
    try:
        console = begin(machine, medium)
        first = Technician(machine=machine, case=LOCAL)
        known = {**known_of(first.survey(console), SERIAL), "suite": package_source.suite, **carry(archive, machine)}
        shutil.copyfile(first.survey_file, Technician(machine=machine, case=NETWORK).survey_file)
        for case in (LOCAL, NETWORK):
            technician = Technician(machine=machine, case=case)
            technician.write_spec(known)
            technician.compile()
            (machine.share / "script.sh").rename(machine.share / f"{case}.sh")
        yield Bench(machine=machine, console=console)
    finally:
        machine.off()
        for image in (*folder.glob("*.qcow2"), *folder.glob(STICK)):
            image.unlink()


def start(machine: Machine, medium: LiveMedium, as_surveyed: Bench) -> Bench:
    """Start another machine on the live medium, with the scripts of the surveyed one."""
    machine.disks = [evolve(disk, durable=True) for disk in machine.disks]
    for item in as_surveyed.machine.share.iterdir():
        (machine.share / item.name).hardlink_to(item)
    node = f"/dev/disk/by-id/virtio-{machine.disks[0].serial}"
    return Bench(machine=machine, console=begin(machine, medium), node=node)


def test_as_surveyed_it_comes_to_the_question_for_the_name(as_surveyed: Bench) -> None:
    """What the refusals are compared with: here nothing is wrong, but another machine's name is typed."""
    refused(as_surveyed.attempt(typed="kelp-20"), "That is not kelp-02")


ROWS = {
    "a partition was added where nothing is planned": (
        f"printf 'start={(16 * 1024 - 1) * MIB_SECTORS}, size=1024\\n' | sfdisk --no-reread --append {NODE}",
        "nobody knew of the partition",
    ),
    "a partition was added in the planned region": (
        f"printf 'start={8 * 1024 * MIB_SECTORS}, size={MIB_SECTORS}\\n' | sfdisk --no-reread --append {NODE}",
        "inside the planned",
    ),
    "a kept partition was moved": (
        f"printf 'start={(16 * 1024 - 700) * MIB_SECTORS}\\n' | sfdisk --no-reread -N 4 {NODE}",
        "factory-recovery lies where the survey saw it",
    ),
}


@pytest.mark.parametrize("what", ROWS)
def test_the_table_is_not_the_one_surveyed(as_surveyed: Bench, what: str) -> None:
    command, words = ROWS[what]
    back = f"sfdisk --no-reread --force {NODE} </root/table && udevadm settle"
    with as_surveyed.changed(f"sfdisk --dump {NODE} >/root/table && {command} && udevadm settle", back):
        refused(as_surveyed.attempt(), words)


def test_the_target_is_taken(as_surveyed: Bench) -> None:
    """Something is mounted where the new system is to be put together."""
    with as_surveyed.changed("mkdir -p /mnt/target && mount -t tmpfs mine /mnt/target", "umount /mnt/target"):
        refused(as_surveyed.attempt(), "/mnt/target")


def test_a_kept_partition_is_mounted(as_surveyed: Bench) -> None:
    """A file manager did that: the EFI system partition, and the data volume of the other system."""
    with as_surveyed.changed(f"mkdir -p /media/stick && mount {ESP_NODE} /media/stick", "umount /media/stick"):
        refused(as_surveyed.attempt(), "/media/stick")
    with as_surveyed.changed(f"ntfs-3g -o ro {DATA_NODE} /media/stick", "umount /media/stick"):
        refused(as_surveyed.attempt(), "/media/stick")


def test_the_efi_system_partition_has_become_full(as_surveyed: Bench) -> None:
    """An update of the firmware left a capsule behind."""
    fill = "! cat /dev/zero >/media/stick/capsule.bin; sync; umount /media/stick"
    empty = f"mount {ESP_NODE} /media/stick && rm /media/stick/capsule.bin && umount /media/stick"
    with as_surveyed.changed(f"mkdir -p /media/stick && mount {ESP_NODE} /media/stick && {{ {fill}; }}", empty):
        refused(as_surveyed.attempt(), "EFI system partition", "MiB|bytes|KiB")


def test_a_tool_is_missing(as_surveyed: Bench) -> None:
    with as_surveyed.changed("mv /usr/bin/efibootmgr /root/", "mv /root/efibootmgr /usr/bin/"):
        refused(as_surveyed.attempt(), "efibootmgr")


def test_another_disk_has_taken_the_name(
    rack: Rack, factory: FactoryMachine, medium: LiveMedium, as_surveyed: Bench
) -> None:
    """The first disk of the machine is a stranger's; the one that was surveyed is not connected."""
    machine = rack.factory("pc", factory)
    machine.disks = [evolve(machine.disks[0], serial="SALTMARSH0009")]
    bench = start(machine, medium, as_surveyed)
    refused(bench.attempt(), "The disk of kelp-02 was not found", "SALTMARSH0009")


def test_another_disk_calls_itself_the_same(rack: Rack, medium: LiveMedium, as_surveyed: Bench) -> None:
    """Same serial number, same size, another table: cases that give every disk their own number do that."""
    bench = start(rack.blank("pc", size_mib=16 * 1024, serial=SERIAL), medium, as_surveyed)
    bench.console.check(f"printf 'label: gpt\\n,1GiB\\n,2GiB\\n' | sfdisk --quiet {NODE} && udevadm settle")
    refused(bench.attempt(), "The disk has the partition table of the survey")


def test_firmware_in_legacy_mode(rack: Rack, factory: FactoryMachine, medium: LiveMedium, as_surveyed: Bench) -> None:
    bench = start(rack.factory("pc", factory, Hardware(firmware="legacy")), medium, as_surveyed)
    refused(bench.attempt(), "UEFI")


def test_no_network(rack: Rack, factory: FactoryMachine, medium: LiveMedium, as_surveyed: Bench) -> None:
    """The packages of this case come over the network."""
    bench = start(rack.factory("pc", factory, Hardware(network="unplugged")), medium, as_surveyed)
    refused(bench.attempt(NETWORK), "network|route|reach")


def test_the_clock_is_ten_years_ahead(
    rack: Rack, factory: FactoryMachine, medium: LiveMedium, as_surveyed: Bench
) -> None:
    """Ahead, for a clock that is behind the build of systemd is put right by systemd itself."""
    bench = start(rack.factory("pc", factory, Hardware(clock="2036-01-31T12:00:00")), medium, as_surveyed)
    refused(bench.attempt(NETWORK), "the clock shows 2036-.* days away")
