"""The wrong disk, the wrong medium, the wrong moment: each is refused before the first write, in the machine itself.

A spec is compiled against the survey of a factory machine; then the machine is no longer what the survey saw. The
script has to say what is wrong in words that can be acted on, end with 1, and leave every byte of the disk as it was.
That is the design's rule that everything is checked before anything is written (no source); what has gone wrong for
people who had no such rule stands with its sources in tests/accidents.
"""

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from attrs import evolve, frozen

from .console import Console, Result
from .disks import Disk
from .factory import DATA, ESP, SERIAL, FactoryMachine
from .install import Technician, answer_all, begin, carry, known_of
from .machine import SHARE_MOUNT, Hardware, Machine
from .media import LiveMedium
from .rack import Rack
from .sources import PackageSource

pytestmark = pytest.mark.bench

NODE = f"/dev/disk/by-id/virtio-{SERIAL}"
LOCAL, NETWORK = "kelp-02", "barnacle-05"
"""Cases with the base from an archive and over the network."""

Bench = Callable[..., tuple[Machine, Console]]


@frozen(kw_only=True)
class Desk:
    """Scripts that were compiled for the factory machine, by case, and the base archive beside them."""

    share: Path

    def lay_out(self, machine: Machine) -> None:
        """Let a machine see them."""
        shutil.copytree(self.share, machine.share, copy_function=_link, dirs_exist_ok=True)


def _link(source: str, target: str) -> None:
    Path(target).hardlink_to(source)


@pytest.fixture(scope="module")
def desk(
    tmp_path_factory: pytest.TempPathFactory,
    factory: FactoryMachine,
    medium: LiveMedium,
    archive: Path,
    package_source: PackageSource,
) -> Iterator[Desk]:
    """Survey the factory machine once, and compile every case against that survey."""
    machine = factory.unpack(archive.parent.parent / "runs" / tmp_path_factory.mktemp("desk").name)
    try:
        console = begin(machine, medium)
        first = Technician(machine=machine, case=LOCAL)
        known = {**known_of(first.survey(console), SERIAL), "suite": package_source.suite, **carry(archive, machine)}
        machine.power_off(console)
        shutil.copyfile(first.survey_file, Technician(machine=machine, case=NETWORK).survey_file)
        for case in (LOCAL, NETWORK):
            technician = Technician(machine=machine, case=case)
            technician.write_spec(known)
            technician.compile()
            (machine.share / "script.sh").rename(machine.share / f"{case}.sh")
        yield Desk(share=machine.share)
    finally:
        machine.off()
        shutil.rmtree(machine.folder)


def attempt(
    machine: Machine, console: Console, case: str = LOCAL, *, typed: str | None = None, node: str = NODE
) -> Result:
    """Run the script and answer it; the disk holds the same bytes before and after, whatever it says."""
    before = _frozen(machine, console, node, "before")
    console.start(f"sh {SHARE_MOUNT}/{case}.sh")
    answer_all(console, typed or case)
    result = console.finish(120)
    after = _frozen(machine, console, node, "after")
    assert after.same_bytes_as(before), result.output
    return result


def _frozen(machine: Machine, console: Console, node: str, name: str) -> Disk:
    """The disk as a power cut would leave it this moment, with all that the machine has written flushed."""
    console.check(f"sync; for node in {node}*; do sync $node; done")
    with machine.stopped():
        return machine.disks[0].copy(machine.folder / f"{name}.qcow2")


def refused(result: Result, *words: str) -> None:
    """Refused with status 1, and all of these words stand in what it said."""
    assert result.status == 1, result.output
    assert "Nothing was changed." in result.output
    missing = [text for text in words if re.search(text, result.output) is None]
    assert missing == [], result.output


@pytest.fixture
def on_bench(rack: Rack, factory: FactoryMachine, medium: LiveMedium, desk: Desk) -> Bench:
    """Starts a factory machine with this hardware on the live medium, scripts at hand."""

    def start(hardware: Hardware | None = None, disk: Disk | None = None) -> tuple[Machine, Console]:
        machine = rack.factory("pc", factory, hardware)
        machine.disks = [evolve(disk or machine.disks[0], durable=True)]
        desk.lay_out(machine)
        return machine, begin(machine, medium)

    return start


def test_the_machine_as_surveyed_comes_to_the_question_for_its_name(on_bench: Bench) -> None:
    """What the refusals are compared with: here nothing is wrong, but another machine's name is typed."""
    machine, console = on_bench()
    refused(attempt(machine, console, typed="kelp-20"), "That is not kelp-02")
    machine.power_off(console)


CHANGES_OF_THE_TABLE = {
    "a partition was added where nothing is planned": (
        f"printf 'start={(16 * 1024 - 1) * 2048}, size=1024\\n' | sfdisk --no-reread --append {NODE}",
        ("nobody knew of the partition",),
    ),
    "a partition was added in the planned region": (
        f"printf 'start={8 * 1024 * 2048}, size={1024 * 2048}\\n' | sfdisk --no-reread --append {NODE}",
        ("nobody knew of the partition",),
    ),
    "a kept partition was moved": (
        f"printf 'start={(16 * 1024 - 700) * 2048}\\n' | sfdisk --no-reread -N 4 {NODE}",
        ("factory-recovery lies where the survey saw it",),
    ),
}


@pytest.mark.parametrize("change", CHANGES_OF_THE_TABLE)
def test_the_table_is_not_the_one_surveyed(on_bench: Bench, change: str) -> None:
    machine, console = on_bench()
    command, words = CHANGES_OF_THE_TABLE[change]
    console.check(f"{command} && udevadm settle")
    refused(attempt(machine, console), *words)
    machine.power_off(console)


def test_another_disk_has_taken_the_name(
    on_bench: Bench, rack: Rack, factory: FactoryMachine, medium: LiveMedium, desk: Desk
) -> None:
    """The first disk of the machine is a stranger's, and the one that was surveyed is not connected."""
    machine = rack.factory("pc", factory)
    machine.disks = [evolve(machine.disks[0], serial="SALTMARSH0009", durable=True)]
    desk.lay_out(machine)
    console = begin(machine, medium)
    node = "/dev/disk/by-id/virtio-SALTMARSH0009"
    refused(attempt(machine, console, node=node), "The disk of kelp-02 was not found", "SALTMARSH0009")
    machine.power_off(console)


def test_another_disk_calls_itself_the_same(rack: Rack, medium: LiveMedium, desk: Desk) -> None:
    """Same serial number, same size, but another table on it, as cheap controllers of cases without numbers do."""
    machine = rack.blank("pc", size_mib=16 * 1024, serial=SERIAL)
    machine.disks = [evolve(machine.disks[0], durable=True)]
    desk.lay_out(machine)
    console = begin(machine, medium)
    console.check(f"printf 'label: gpt\\n,1GiB\\n,2GiB\\n' | sfdisk --quiet {NODE} && udevadm settle")
    refused(attempt(machine, console), "on the disk now", "the survey saw")
    machine.power_off(console)


def test_the_target_is_taken(on_bench: Bench) -> None:
    """A file manager has mounted partitions: one where the new system is to be put together, a kept one elsewhere."""
    machine, console = on_bench()
    console.check("mount -t tmpfs mine /mnt")
    refused(attempt(machine, console), "/mnt")
    console.check("umount /mnt && mkdir -p /media/stick")
    console.check(f"mount /dev/disk/by-partuuid/{ESP.uuid.lower()} /media/stick")
    refused(attempt(machine, console), "/media/stick")
    machine.power_off(console)


def test_a_kept_partition_is_in_use(on_bench: Bench) -> None:
    """The data volume is mounted read-only by somebody who looks for a file: it is in use all the same."""
    machine, console = on_bench()
    console.check(f"ntfs-3g -o ro /dev/disk/by-partuuid/{DATA.uuid.lower()} /media")
    attempt(machine, console, typed="kelp-20")
    console.check("umount /media")
    machine.power_off(console)


def test_the_efi_system_partition_has_become_full(on_bench: Bench) -> None:
    machine, console = on_bench()
    partition = f"/dev/disk/by-partuuid/{ESP.uuid.lower()}"
    console.check(f"mount {partition} /media && ! cat /dev/zero >/media/update.log; umount /media", 120)
    refused(attempt(machine, console), "EFI system partition", r"MiB|bytes|KiB")
    machine.power_off(console)


def test_a_tool_is_missing(on_bench: Bench) -> None:
    machine, console = on_bench()
    console.check("mv $(command -v efibootmgr) /root/")
    refused(attempt(machine, console), "efibootmgr")
    machine.power_off(console)


def test_firmware_in_legacy_mode(on_bench: Bench) -> None:
    machine, console = on_bench(Hardware(firmware="legacy"))
    refused(attempt(machine, console), "UEFI")
    machine.power_off(console)


def test_no_network(on_bench: Bench) -> None:
    machine, console = on_bench(Hardware(network="unplugged"))
    refused(attempt(machine, console, NETWORK), "network|route|reach")
    machine.power_off(console)


def test_the_clock_is_ten_years_ahead(on_bench: Bench) -> None:
    machine, console = on_bench(Hardware(clock="2036-01-31T12:00:00"))
    refused(attempt(machine, console, NETWORK), "the clock is [0-9]+ seconds away")
    machine.power_off(console)
