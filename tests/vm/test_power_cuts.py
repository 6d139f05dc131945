"""Pull the plug: an installation that was cut anywhere ends in the same state when it is run again, or goes back.

The rules tried are the design's own (no source). `BEDPLATE_CUTS` and `BEDPLATE_UNDOS` say how many; without them a
sample small enough for every change is taken.
"""

import os
from pathlib import Path

import pytest

from .campaign import Campaign, Outcome, report
from .disks import MIB
from .factory import SERIAL, FactoryMachine
from .media import LiveMedium
from .rack import Rack
from .small_archive import small_archive
from .sources import PackageSource

pytestmark = pytest.mark.bench


def test_a_power_cut_loses_what_was_not_flushed(rack: Rack, factory: FactoryMachine, medium: LiveMedium) -> None:
    """The bench's own promise: what was flushed stays, a write into a new cluster that was not flushed is lost."""
    machine = rack.factory("pc", factory)
    machine.disks = [type(disk)(path=disk.path, serial=disk.serial, durable=True) for disk in machine.disks]
    console = machine.boot_live(medium)
    node = f"/dev/disk/by-id/virtio-{SERIAL}"
    write = f"printf %s | dd of={node} bs=4096 conv=notrunc,sync oflag=direct"
    console.check(f"{write.replace('%s', 'kept')} seek={4000 * MIB // 4096} && sync {node}")
    console.check(f"{write.replace('%s', 'lost')} seek={5000 * MIB // 4096}")
    machine.power_cut()
    console = machine.boot_live(medium)
    read = f"dd if={node} bs=4 count=1 status=none"
    assert console.check(f"{read} skip={4000 * MIB // 4}") == "kept"
    assert "lost" not in console.check(f"{read} skip={5000 * MIB // 4} | tr '\\0' .")
    machine.power_off(console)


def test_cuts_and_ways_back(
    factory: FactoryMachine, medium: LiveMedium, archive: Path, package_source: PackageSource, rack: Rack
) -> None:
    cuts, undos = int(os.environ.get("BEDPLATE_CUTS", "2")), int(os.environ.get("BEDPLATE_UNDOS", "1"))
    campaign = Campaign(
        factory=factory,
        medium=medium,
        archive=small_archive(package_source, archive),
        suite=package_source.suite,
        folder=rack.folder,
    )
    campaign.prepare()
    watched = campaign.watched(max(cuts, undos))
    outcomes: list[Outcome] = []
    for outcome in campaign.outcomes(watched, cuts, undos):
        outcomes.append(outcome)
        print(report(watched, [outcome]), flush=True)
    table = report(watched, outcomes)
    print(table)
    (rack.folder / "table.txt").write_text(table)
    assert [one for one in outcomes if one.differences] == []
