"""The fault campaign: power cuts and ways back, at every action and inside them, compared with an undisturbed machine.

One installation is watched. At a cut the emulator is held, its disk and its firmware variables are copied, and it goes
on: the copy is what killing it there would have left (see `Disk.durable`). Each copy is then a machine of its own: the
live medium is started, the script run again (or with --undo), and the end compared.

    python -m pytest tests/vm/test_power_cuts.py -s                      a sample
    BEDPLATE_CUTS=60 BEDPLATE_UNDOS=20 python -m pytest tests/vm/test_power_cuts.py -s     the campaign, with its table
"""

import os
import random
import re
import shutil
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from string import Template
from tempfile import TemporaryDirectory
from typing import Literal

import pexpect
from attrs import define, evolve, field, frozen

from .cache import built
from .console import Console, ConsoleError
from .disks import Disk
from .factory import SERIAL, FactoryMachine
from .install import CASES, Technician, answer_all, begin, carry, known_of
from .machine import SHARE_MOUNT, Machine
from .media import LiveMedium
from .sources import PackageSource
from .state import State, boot_entries, state_of
from .tools import call

CASE = "kelp-02"
MACHINES_AT_ONCE = 2
"""Each has one processor, and takes one of the host's."""
SAMPLE = tuple(re.compile(text) for text in ("in .* Unpack the base archive", "before .* Write the boot menu"))
"""Where the cuts of a small sample are taken."""

_KEPT_MODULES = (
    "fs/ext4", "fs/jbd2", "fs/mbcache.ko", "fs/fat", "fs/nls", "fs/efivarfs", "fs/autofs", "fs/configfs", "fs/fuse",
    "fs/binfmt_misc.ko", "fs/9p", "fs/netfs", "fs/fscache", "net/9p", "net/core", "net/packet", "net/ipv6",
    "drivers/net/virtio_net.ko", "drivers/net/net_failover.ko", "drivers/block", "drivers/virtio", "drivers/char",
    "drivers/rtc", "crypto", "lib", "arch",
)  # fmt: skip
_LEFT_OUT = ("usr/share/doc", "usr/share/man", "usr/share/locale", "usr/share/info", "var/cache/apt",
             "var/lib/apt/lists")  # fmt: skip
_RAMDISK = {
    "etc/initramfs-tools/conf.d/campaign": "MODULES=list\nCOMPRESS=zstd\nCOMPRESSLEVEL=1\n",
    "etc/initramfs-tools/modules": "virtio_pci\nvirtio_blk\next4\n",
}


def small_archive(source: PackageSource, whole: Path) -> Path:
    """The base archive without what an installation does not look at, so that a run takes minutes on an emulator."""
    recipe = [repr((_KEPT_MODULES, _LEFT_OUT, _RAMDISK)), str(whole), repr(source)]
    return built("campaign-archive", recipe, lambda folder: _pack(folder, whole)) / "base.tar.zst"


def _pack(folder: Path, whole: Path) -> None:
    with TemporaryDirectory(prefix="campaign.", dir=folder.parent) as scratch:
        root = Path(scratch) / "root"
        root.mkdir()
        call(["tar", "-C", root, "--numeric-owner", "--xattrs", "--xattrs-include=*", "-xpf", whole])
        for name in _LEFT_OUT:
            shutil.rmtree(root / name, ignore_errors=True)
        for name, text in _RAMDISK.items():
            (root / name).write_text(text)
        for kernel in (root / "usr/lib/modules").glob("*/kernel"):
            _thin(kernel)
            call(["chroot", root, "depmod", kernel.parent.name])
        names = sorted(item.name for item in root.iterdir())
        words = ["tar", "-C", root, "--numeric-owner", "--xattrs", "--xattrs-include=*"]
        call([*words, "-cf", folder / "base.tar", *names])
    call(["zstd", "-q", "--rm", "-T0", "-3", folder / "base.tar", "-o", folder / "base.tar.zst"])


def _thin(kernel: Path) -> None:
    kept = [kernel / name for name in _KEPT_MODULES]
    for path in sorted(kernel.rglob("*.ko*")):
        if not any(path == one or one in path.parents for one in kept):
            path.unlink()


# --- the campaign ----------------------------------------------------------------------------------------------------


@frozen(kw_only=True)
class Cut:
    """A machine as a power cut left it."""

    number: int
    where: str
    """`before [14]`: as the action's line appeared; `in [14] +3.2 s`: that long after it."""
    folder: Path


@frozen(kw_only=True)
class Outcome:
    """What became of one cut."""

    cut: Cut
    kind: str
    seconds: float
    differences: tuple[str, ...]


Kind = Literal["resumed", "undone"]


@define(kw_only=True)
class Campaign:
    """One watched installation, and machines that go on from its cuts."""

    factory: FactoryMachine
    medium: LiveMedium
    archive: Path
    suite: str
    folder: Path
    seed: int = 4
    before: State | None = None
    after: State | None = None
    install_seconds: float = 0.0
    rerun_seconds: float = 0.0
    steps: list[str] = field(factory=list)
    cuts: list[Cut] = field(factory=list)

    def machine(self, name: str, saved: Path | None = None) -> Machine:
        """A machine on a durable disk: fresh from the factory, or as a cut left it."""
        machine = self.factory.unpack(self.folder / name) if saved is None else self._restored(name, saved)
        machine.disks = [evolve(disk, durable=True) for disk in machine.disks]
        machine.hardware = evolve(machine.hardware, processors=1)
        return machine

    def _restored(self, name: str, saved: Path) -> Machine:
        folder = self.folder / name
        folder.mkdir(parents=True)
        for item in (f"{SERIAL}.qcow2", "OVMF_VARS.fd"):
            shutil.copyfile(saved / item, folder / item)
        disk = Disk(path=folder / f"{SERIAL}.qcow2", serial=SERIAL)
        return Machine(folder=folder, disks=[disk])

    def prepare(self) -> None:
        """Survey the factory's machine, note its state, and compile script and audit."""
        machine = self.machine("survey")
        person = Technician(machine=machine, case=CASE)
        console = begin(machine, self.medium)
        known = known_of(person.survey(console), SERIAL)
        entries = boot_entries(console)
        machine.power_off(console)
        text = (CASES / "campaign.toml").read_text()
        words = {**known, **carry(self.archive, machine), "suite": self.suite}
        person.spec.write_text(Template(text).substitute(words))
        person.compile()
        self.before = state_of(machine.disks[0], entries, machine.folder, installed=False)

    def person(self, machine: Machine) -> Technician:
        """A technician with script and archive at hand."""
        share = self.folder / "survey" / "share"
        for name in ("script.sh", "audit.sh", self.archive.name):
            if not (machine.share / name).exists():
                os.link(share / name, machine.share / name)
        return Technician(machine=machine, case=CASE)

    def watch(self, count: int) -> None:
        """The undisturbed installation; `count` cuts are taken from it on the way, half of them inside actions."""
        machine = self.machine("whole")
        self.person(machine)
        console = begin(machine, self.medium)
        with machine.timed("install"):
            console.start(f"sh {SHARE_MOUNT}/script.sh")
            answer_all(console, CASE)
            self._take_cuts(machine, console, count)
            result = console.finish(600)
        assert result.status == 0, result.output[-3000:]
        self.install_seconds = machine.timings[-1][1]
        entries = boot_entries(console)
        with machine.timed("rerun of the finished installation"):
            console.start(f"sh {SHARE_MOUNT}/script.sh")
            answer_all(console, CASE)
            assert console.finish(900).status == 0
        self.rerun_seconds = machine.timings[-1][1]
        machine.power_off(console)
        self.after = state_of(machine.disks[0], entries, machine.folder, installed=True)

    def _take_cuts(self, machine: Machine, console: Console, count: int) -> None:
        """At the line of each action as it appears, and at moments by lot after it; a sample has fixed places."""
        lot = random.Random(self.seed)
        sample = count <= len(SAMPLE)
        last = ""
        boundary, end = r"\r?\n\[(\d+)/\d+\] [^\r\n]*", r"All \d+ actions that belong"
        while True:
            pause = 1.5 if sample else lot.choice((0.4, 1.5, 4.0, 9.0, 20.0))
            index = console.child.expect([boundary, end, pexpect.TIMEOUT], timeout=pause)
            if index == 1:
                break
            if index == 0:
                last = str(console.child.after).strip()
                self.steps.append(last)
                where = f"before {last}"
            else:
                where = f"in {last}, {pause} s on"
            if "skipped" not in where and last and (not sample or self._sampled(where, count)):
                self.cuts.append(self._copy(machine, where))
        assert len(self.cuts) >= count, f"{len(self.cuts)} moments to cut at, {count} asked for"

    def _sampled(self, where: str, count: int) -> bool:
        left = [place for place in SAMPLE[:count] if not any(place.search(cut.where) for cut in self.cuts)]
        return any(place.search(where) for place in left)

    def outcomes(self, cuts: int, undos: int) -> Iterator[Outcome]:
        """That many cuts resumed and undone, two machines at a time, in order; the cuts are gone afterwards."""
        rows: list[tuple[Cut, Kind]] = [(cut, "resumed") for cut in self._chosen(cuts)]
        rows += [(cut, "undone") for cut in self._chosen(undos)]
        used = {cut.folder for cut, _ in rows}
        for cut in self.cuts:
            if cut.folder not in used:
                shutil.rmtree(cut.folder)
        # A process of its own for each: a machine's console is a forked terminal, and threads do not go with fork.
        with ProcessPoolExecutor(MACHINES_AT_ONCE, get_context("spawn")) as pool:
            yield from pool.map(self.go_on, *zip(*rows, strict=True))

    def _chosen(self, count: int) -> list[Cut]:
        """That many cuts, evenly over the installation."""
        count = min(count, len(self.cuts))
        return [self.cuts[(2 * index + 1) * len(self.cuts) // (2 * count)] for index in range(count)]

    def _copy(self, machine: Machine, where: str) -> Cut:
        folder = self.folder / "cuts" / f"{len(self.cuts):03d}"
        folder.mkdir(parents=True)
        with machine.stopped():
            for path in (machine.disks[0].path, machine.variables):
                call(["cp", "--sparse=always", path, folder / path.name])
        return Cut(number=len(self.cuts), where=where, folder=folder)

    def go_on(self, cut: Cut, kind: Kind) -> Outcome:
        """Start the live medium again and run the script: compare with the undisturbed machine, or the day before.

        What was resumed is started from its own disk as well, and audited.
        """
        option, wanted = ("", self.after) if kind == "resumed" else (" --undo", self.before)
        assert wanted is not None
        machine = self.machine(f"{kind}-{cut.number:03d}", cut.folder)
        person = self.person(machine)
        try:
            found = self._differences(machine, option, wanted)
            if not found and kind == "resumed":
                found = _audited(person)
        except ConsoleError as trouble:
            found = [f"stuck: {trouble}"]
        finally:
            machine.off()
            machine.disks[0].path.unlink()
        took = sum(seconds for what, seconds in machine.timings if what == "script")
        return Outcome(cut=cut, kind=kind, seconds=took, differences=tuple(found))

    def _differences(self, machine: Machine, option: str, wanted: State) -> list[str]:
        console = begin(machine, self.medium)
        with machine.timed("script"):
            console.start(f"sh {SHARE_MOUNT}/script.sh{option}")
            answer_all(console, CASE)
            result = console.finish(2400)
        (machine.folder / "said.txt").write_text(result.output)
        entries = boot_entries(console)
        console.run(f"cp /var/log/bedplate-{CASE}.log {SHARE_MOUNT}/install.log; sync")
        machine.power_off(console)
        if result.status:
            return [f"status {result.status}: {result.output[-1500:]}"]
        state = state_of(machine.disks[0], entries, machine.folder, installed=not option)
        return state.differences(wanted)


def _audited(person: Technician) -> list[str]:
    """Started from its own disk: the proofs that do not hold."""
    console = person.start_new_system("ana")
    person.become_root(console)
    lines = person.audit(console).splitlines()
    if lines[-1].endswith(" proofs hold, 0 do not"):
        return []
    return [f"audit: {line}" for line in lines if not line.startswith("holds ")]


def report(campaign: Campaign, outcomes: list[Outcome]) -> str:
    """The campaign's table."""
    lines = ["", f"{'cut':<64} {'then':<8} {'s':>6}  result"]
    for one in outcomes:
        result = ("DIFFERS" if one.differences else
                  "same state, audit clean" if one.kind == "resumed" else "same state")  # fmt: skip
        lines.append(f"{one.cut.where[:64]:<64} {one.kind:<8} {one.seconds:6.0f}  {result}")
        lines += [f"      {line}" for line in one.differences]
    for kind in ("resumed", "undone"):
        mine = [one for one in outcomes if one.kind == kind]
        same = [one for one in mine if not one.differences]
        lines.append(f"{kind} to the same state: {len(same)} of {len(mine)}")
    ratio = campaign.rerun_seconds / campaign.install_seconds if campaign.install_seconds else 0.0
    whole, again = campaign.install_seconds, campaign.rerun_seconds
    lines.append(f"installation {whole:.0f} s; rerun when finished {again:.0f} s: {ratio:.3f} of it")
    return "\n".join(lines)
