"""A disk as a factory makes it: surveyed, planned, shrunk by the other system, partitioned and formatted by the
rendered script, read back by sfdisk and blkid (util-linux). What is kept is the same, byte for byte.

The disk is an image behind a loop device, which takes root; without it these tests are skipped.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from attrs import evolve, frozen

from bedplate.actions import Call, Stage
from bedplate.compiling import pipeline
from bedplate.facts import LaidPartition, Layout
from bedplate.install_graph import InstallGraph, Node
from bedplate.loading import registry
from bedplate.reading import document
from bedplate.rendering import script
from bedplate.survey import Firmware, Link, Survey, SurveyedMachine
from bedplate.surveying import capture
from bedplate.surveying import draft as drafting
from bedplate.units import MIB
from library import LIBRARY
from rendering import Sandbox

COLLECTOR = Path(__file__).resolve().parents[2] / "compiler" / "bedplate" / "surveying" / "collector.sh"
ESP, MSR = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "E3C9E316-0B5C-4DB8-817D-F92DF00215AE"
DATA, RECOVERY = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7", "DE94BBA4-06D1-4D40-A16A-BFD50179D6AC"
"""UEFI specification 5.3.3 and `sfdisk --label gpt -T`."""

ROWS = [
    ("86CC7105-853D-4D39-AA11-593635FA098E", 1, 300, ESP, "EFI system partition", "esp"),
    ("DE896EAD-533A-4961-8DB3-71F448D61E4B", 301, 16, MSR, "Microsoft reserved partition", "reserved"),
    ("0379071F-4CA3-4CC9-895E-395DE7D95941", 317, 5000, DATA, "Basic data partition", "system"),
    ("47B3F63A-FDD0-4FEC-9A7E-81F2561B814E", 5317, 100, RECOVERY, "", "recovery"),
]
"""Unique GUID, start and size in MiB, type, name, role: the order that the CreatePartitions sample of the other
system's maker gives; sizes are ours."""

MACHINE = Survey(
    machine=SurveyedMachine(memory_bytes=8 << 30, cpu_vendor="intel"),
    firmware=Firmware(mode="uefi", secure_boot="off"),
    links=(Link(name="enp1s0", mac="00:00:5e:00:53:01", carrier=True),),
)
"""The machine around the disk: made up, so that the test does not depend on where it runs."""

SHRUNK_MIB = 1200
WANTED = [
    {"name": "root", "size": "2600MiB", "filesystem": "ext4", "label": "kelp-root", "mount": "/"},
    {"name": "swap", "size": "64MiB", "filesystem": "swap", "label": "kelp-swap"},
    {"name": "var", "size": "310MiB", "filesystem": "xfs", "label": "kelp-var", "mount": "/var"},
    {"name": "fat", "size": "260MiB", "filesystem": "vfat", "label": "KELP FAT", "mount": "/srv/fat"},
    {"name": "home", "size": "rest", "filesystem": "btrfs", "label": "kelp home", "mount": "/home"},
]


@frozen(kw_only=True)
class Factory:
    """The disk's node, the image behind it, its sector size, and what was compiled for it."""

    node: str
    image: Path
    sector: int
    graph: InstallGraph

    @property
    def layout(self) -> Layout:
        """The disk as compiled."""
        layout = self.graph.fact(Layout)
        assert layout is not None
        return layout


def call(*argv: object, text: str | None = None) -> str:
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True)
    assert ran.returncode == 0, f"{argv}: {ran.stderr}"
    return ran.stdout


def made(node: str, sector: int) -> None:
    mib = MIB // sector
    lines = [
        f"start={at * mib}, size={size * mib}, type={kind}, uuid={uuid}" + (f', name="{name}"' if name else "")
        for uuid, at, size, kind, name, _ in ROWS
    ]
    call("sfdisk", "--quiet", "--no-reread", node, text="label: gpt\nunit: sectors\n\n" + "\n".join(lines) + "\n")
    call("partx", "--update", node)
    call("mkfs.fat", "-F", "32", "-i", "0217ABCD", "-n", "SYSTEM", f"{node}p1")
    call("mkfs.ntfs", "--quick", "--force", "--label", "System", f"{node}p3")
    time.sleep(1.1)  # mkfs.ntfs(8) draws the serial number by the second; two of the same are twins
    call("mkfs.ntfs", "--quick", "--force", "--label", "Recovery", f"{node}p4")


def compiled(survey: Survey, by_id: Path) -> InstallGraph:
    """The whole graph of a spec drafted from the survey; its disk section keeps everything and adds what is wanted."""
    steps = {section: own.step for section, own in registry.load().steps.items()}
    spec = tomllib.loads(drafting.draft(survey, steps, name="kelp-02", survey_path="kelp-02.survey.toml"))
    spec["disk"] = {
        "by_id": str(by_id),
        "table": "keep",
        "keep": [_keep(row) for row in ROWS],
        "new": WANTED,
        "other_system": {"encryption": "none"},
    }
    text, surveyed = tomli_w.dumps(spec), survey_document(survey)
    checked = pipeline.check_spec(document.parse("kelp-02.toml", text.encode()), registry.load(), lambda _: surveyed)
    return pipeline.plan(checked, "kelp-02.toml")


def survey_document(survey: Survey) -> document.Document:
    return document.parse("kelp-02.survey.toml", capture.to_toml(survey).encode())


def _keep(row: tuple[str, int, int, str, str, str]) -> dict[str, str]:
    uuid, *_, role = row
    more = {"esp": {"mount": "/boot/efi"}, "system": {"shrink_to": f"{SHRUNK_MIB}MiB"}}.get(role, {})
    return {"name": f"factory-{role}", "partition": uuid, "role": role, **more}


@pytest.fixture(params=[512, 4096])
def factory(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Factory]:
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    image = tmp_path / "disk.img"
    with image.open("wb") as file:
        file.truncate(5450 * MIB)
    sector: int = request.param
    node = call("losetup", "--find", "--show", "--sector-size", sector, image).strip()
    by_id = Path("/dev/disk/by-id") / f"bedplate-test-{os.getpid()}-{sector}"
    try:
        by_id.parent.mkdir(parents=True, exist_ok=True)
        by_id.symlink_to(node)
        made(node, sector)
        survey = capture.survey_from(call("sh", COLLECTOR, node))
        [disk] = survey.disks
        survey = evolve(MACHINE, disks=(evolve(disk, by_id=(str(by_id),)),))
        yield Factory(node=node, image=image, sector=sector, graph=compiled(survey, by_id))
    finally:
        by_id.unlink(missing_ok=True)
        subprocess.run(["partx", "--delete", node], check=False, capture_output=True)
        call("losetup", "--detach", node)


def shrink_as_the_other_system_would(factory: Factory) -> None:
    """Volume first, then partition; the flag that asks for a check is what that system would clear."""
    mib = MIB // factory.sector
    volume = f"{factory.node}p3"
    call("ntfsresize", "--force", "--force", "--size", SHRUNK_MIB * MIB - 65536, volume, text="y\n")
    call("ntfsfix", "--clear-dirty", volume)
    call("sfdisk", "--quiet", "--no-reread", "-N", "3", factory.node, text=f"size={SHRUNK_MIB * mib}\n")
    call("partx", "--update", factory.node)


def rendered(factory: Factory) -> str:
    """The script of those actions of the compiled graph that partition and format, and all that comes before them."""
    graph = factory.graph
    last = max(node.number for node in graph.nodes if node.action.id.startswith(("disk.format-", "disk.finish-")))
    nodes = [node for node in graph.nodes if node.number <= last and (node.section == "disk" or _is_manual(node))]
    needed = {token.removeprefix("tool:") for node in nodes for token in node.action.needs if token.startswith("tool:")}
    return script.render(evolve(graph, nodes=tuple(nodes), tools=tuple(sorted(needed))))


def _is_manual(node: Node) -> bool:
    return node.action.stage in (Stage.OTHER_SYSTEM, Stage.FIRMWARE)


def run(factory: Factory, folder: Path) -> subprocess.CompletedProcess[str]:
    """Without copies, as a person may say: where the kernel has no vfat, mtools stand for the read-only mount."""
    sandbox = Sandbox(folder)
    copied = 'for to in "$@"; do from=${at-} at=$to; done; mcopy -s -n -i "$from" \'::*\' "$to" 2>/dev/null'
    sandbox.fake("mount", f'case $* in "-t vfat -o ro,"*) {copied}; exit 0 ;; esac\nexec /bin/mount "$@"')
    sandbox.fake("umount", 'case $2 in */esp) exec find "$2" -mindepth 1 -delete ;; esac\nexec /bin/umount "$@"')
    return sandbox.run(rendered(factory), answers="yes\nwithout copies\nkelp-02\n")


def rows_of(node: str) -> list[dict[str, Any]]:
    table: dict[str, Any] = json.loads(call("sfdisk", "--json", node))["partitiontable"]
    return sorted(table["partitions"], key=lambda row: int(row["start"]))


def blkid(node: str, tag: str) -> str:
    ran = subprocess.run(["blkid", "-p", "-o", "value", "-s", tag, node], capture_output=True, text=True)
    return ran.stdout.strip()


def digests(factory: Factory) -> dict[str, str]:
    """Of everything that is to be kept, and of nothing else."""
    return {part.name: digest(factory, part) for part in factory.layout.partitions if not part.new}


def digest(factory: Factory, part: LaidPartition) -> str:
    """Of every block that is not all zeros, and where it lies; holes of the sparse image are skipped."""
    call("sync")
    found, block = hashlib.sha256(), 65536
    begin, end = part.start * factory.sector, (part.end + 1) * factory.sector
    with factory.image.open("rb") as file:
        for at in blocks_with_data(file.fileno(), begin, end, block):
            file.seek(at)
            data = file.read(min(block, end - at))
            if data.strip(b"\0"):
                found.update(f"{at}:".encode() + data)
    return found.hexdigest()


def blocks_with_data(file: int, begin: int, end: int, block: int) -> Iterator[int]:
    at = begin
    while at < end:
        try:
            at = max(at, os.lseek(file, at, os.SEEK_DATA) // block * block)
        except OSError:
            return
        if at < end:
            yield at
        at += block


def test_partitions_and_file_systems_are_what_was_compiled(factory: Factory, tmp_path: Path) -> None:
    shrink_as_the_other_system_would(factory)
    before, dump = digests(factory), call("sfdisk", "--dump", factory.node)
    ran = run(factory, tmp_path / "first")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    layout = factory.layout
    assert [
        (row["start"], row["size"], row["type"], row["uuid"], row.get("name", "")) for row in rows_of(factory.node)
    ] == [(part.start, part.size, part.type, part.uuid, part.gpt_name) for part in layout.partitions]
    numbers = {row["uuid"]: row["node"].removeprefix(f"{factory.node}p") for row in rows_of(factory.node)}
    assert numbers == {part.uuid: str(part.number) for part in layout.partitions}
    assert "No errors detected" in call("sfdisk", "--verify", factory.node)
    assert digests(factory) == before
    for part in layout.partitions:
        if part.new:
            node = f"{factory.node}p{part.number}"
            found = tuple(blkid(node, tag) for tag in ("TYPE", "UUID", "LABEL"))
            assert found == (part.filesystem, part.fs_uuid, part.fs_label)
    assert blkid(f"{factory.node}p{named(layout, 'fat').number}", "VERSION") == "FAT32"
    again = run(factory, tmp_path / "again")
    assert again.returncode == 0, again.stdout
    # the partitions appended, the swap in use since the first run, and each file system
    assert again.stdout.count("already done, skipped") == 2 + len(WANTED)
    undo(factory, tmp_path)
    assert call("sfdisk", "--dump", factory.node) == dump
    assert digests(factory) == before


def named(layout: Layout, name: str) -> LaidPartition:
    return next(part for part in layout.partitions if part.name == name)


def undo(factory: Factory, folder: Path) -> None:
    """The way back of the appending, as the script's verb does it."""
    [append] = [node.action for node in factory.graph.nodes if node.action.id == "disk.append-partitions"]
    [back] = append.way_back.operations
    assert isinstance(back, Call)
    rows = script.render(factory.graph).split("OUR_ROWS='")[1].split("'\n")[0]
    text = LIBRARY.text([back.verb]) + f"\nNEW_LINE='\n'\nDISK={factory.node} WORK={folder}\n"
    text += f"OUR_ROWS='{rows}'\n"
    text += f"verb_delete_partitions {' '.join(str(word) for word in back.args)}\n"
    call("dash", "-c", text)


def not_shrunk(factory: Factory) -> None:
    """Nothing is done: the volume reaches as far as on the day of the survey."""


def foreign_row(factory: Factory) -> None:
    shrink_as_the_other_system_would(factory)
    start = named(factory.layout, "var").start
    call("sfdisk", "--quiet", "--no-reread", "--append", factory.node, text=f"start={start}, size={MIB}\n")
    call("partx", "--update", factory.node)


def moved_row(factory: Factory) -> None:
    shrink_as_the_other_system_would(factory)
    call("sfdisk", "--quiet", "--no-reread", "-N", "2", factory.node, text=f"size={8 * MIB // factory.sector}\n")
    call("partx", "--update", factory.node)


def another_table(factory: Factory) -> None:
    shrink_as_the_other_system_would(factory)
    call("sfdisk", "--quiet", "--no-reread", "--disk-id", factory.node, "11111111-2222-4333-8444-555555555555")


def hibernated(factory: Factory) -> None:
    """A hibernation file with its signature, as ntfs-3g.probe(8) looks for it."""
    shrink_as_the_other_system_would(factory)
    image = factory.image.with_name("hiberfil.sys")
    image.write_bytes(b"hibr".ljust(4096, b"\0"))
    call("ntfscp", "--force", f"{factory.node}p3", image, "hiberfil.sys")


def swap_in_use(factory: Factory) -> None:
    shrink_as_the_other_system_would(factory)
    call("mkswap", f"{factory.node}p2")
    call("swapon", f"{factory.node}p2")


@pytest.mark.parametrize("factory", [512], indirect=True)
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (not_shrunk, "factory-system ends where planned, or before"),
        (foreign_row, "Nothing lies where var goes"),
        (moved_row, "factory-reserved lies where the survey saw it"),
        (another_table, "The disk has the partition table of the survey"),
        (hibernated, "factory-system was shut down fully"),
        (swap_in_use, "Nothing on the disk is mounted, used as swap"),
    ],
)
def test_anything_not_as_planned_stops_everything(
    factory: Factory, tmp_path: Path, spoil: Callable[[Factory], None], words: str
) -> None:
    spoil(factory)
    try:
        dump, before = call("sfdisk", "--dump", factory.node), digests(factory)
        ran = run(factory, tmp_path / "run")
        assert ran.returncode == 1
        assert "Nothing was changed." in ran.stdout and words in ran.stdout, ran.stdout
        assert (call("sfdisk", "--dump", factory.node), digests(factory)) == (dump, before)
    finally:
        subprocess.run(["swapoff", f"{factory.node}p2"], check=False, capture_output=True)
