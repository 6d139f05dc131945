"""The fault campaign: power cuts and ways back, at every action and inside them, compared with an undisturbed machine.

Each cut of a watched installation is a machine of its own: the live medium is started, the script run again (or with
--undo), and the end compared. Installation, cuts and the rows that came out well are kept by content, so a campaign
that broke off goes on where it was.

    python -m pytest tests/vm/test_power_cuts.py -s                      a sample
    BEDPLATE_CUTS=60 BEDPLATE_UNDOS=20 python -m pytest tests/vm/test_power_cuts.py -s     the campaign, with its table
"""

import os
import shutil
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from string import Template
from typing import Literal

from attrs import define, evolve, frozen

from .cache import built
from .console import ConsoleError
from .disks import Disk
from .factory import SERIAL, FactoryMachine
from .install import CASES, Technician, answer_all, begin, carry, known_of
from .machine import SHARE_MOUNT, Machine
from .media import LiveMedium
from .state import State, boot_entries, state_of
from .watched import JSON, SAMPLE, Cut, Shears, Watched

CASE = "kelp-02"
MACHINES_AT_ONCE = 2
"""Each has one processor, and takes one of the host's."""

_ROOMS = ("campaign", "watched", "state", "install", "machine", "console", "disks", "factory")
"""What makes a row: another text of one of these, and none is known any more."""

Kind = Literal["resumed", "undone"]


@frozen(kw_only=True)
class Outcome:
    """What became of one cut."""

    cut: Cut
    kind: Kind
    seconds: float
    differences: tuple[str, ...]


@define(kw_only=True)
class Campaign:
    """One watched installation, and machines that go on from its cuts."""

    factory: FactoryMachine
    medium: LiveMedium
    archive: Path
    suite: str
    folder: Path
    kept: Path | None = None
    """Where the watched installation lies, its cuts, and a file for each row that came out well."""
    before: State | None = None
    after: State | None = None

    def machine(self, name: str, copies: Path | None = None) -> Machine:
        """A machine on a durable disk: fresh from the factory, or as a cut left it."""
        machine = self.factory.unpack(self.folder / name) if copies is None else self._restored(name, copies)
        machine.disks = [evolve(disk, durable=True) for disk in machine.disks]
        machine.hardware = evolve(machine.hardware, processors=1)
        return machine

    def _restored(self, name: str, copies: Path) -> Machine:
        folder = self.folder / name
        folder.mkdir(parents=True)
        for item in (f"{SERIAL}.qcow2", "OVMF_VARS.fd"):
            shutil.copyfile(copies / item, folder / item)
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
        machine.disks[0].path.unlink()

    def person(self, machine: Machine) -> Technician:
        """A technician with script and archive at hand."""
        share = self.folder / "survey" / "share"
        for name in ("script.sh", "audit.sh", self.archive.name):
            if not (machine.share / name).exists():
                os.link(share / name, machine.share / name)
        return Technician(machine=machine, case=CASE)

    def watched(self, count: int) -> Watched:
        """The undisturbed installation: a sample's anew, a campaign's as it is kept for this script and this bench."""
        if count <= len(SAMPLE):
            self.kept = self.folder / "watched"
            self.kept.mkdir()
            self._watch(self.kept, count)
        else:
            share = self.folder / "survey" / "share"
            scripts = [(share / f"{name}.sh").read_text() for name in ("script", "audit")]
            bench = [Path(__file__).with_name(f"{room}.py").read_text() for room in _ROOMS]
            things = [str(self.medium.kernel), str(self.archive), str(self.before)]
            self.kept = built("power-cuts", [*scripts, *bench, *things], lambda folder: self._watch(folder, None))
        watched = Watched.load(self.kept)
        self.after = watched.after
        return watched

    def _watch(self, folder: Path, sample: int | None) -> None:
        machine = self.machine("whole")
        self.person(machine)
        shears = Shears(machine=machine, folder=folder, sample=sample)
        console = begin(machine, self.medium)
        with machine.timed("install"):
            console.start(f"sh {SHARE_MOUNT}/script.sh")
            answer_all(console, CASE)
            shears.watch(console)
            result = console.finish(600)
        assert result.status == 0, result.output[-3000:]
        entries = boot_entries(console)
        with machine.timed("rerun of the finished installation"):
            console.start(f"sh {SHARE_MOUNT}/script.sh")
            answer_all(console, CASE)
            assert console.finish(900).status == 0
        (_, install), (_, rerun) = machine.timings[-2:]
        machine.power_off(console)
        after = state_of(machine.disks[0], entries, machine.folder, installed=True)
        machine.disks[0].path.unlink()
        Watched(after=after, install_seconds=install, rerun_seconds=rerun, cuts=tuple(shears.cuts)).save(folder)

    def outcomes(self, watched: Watched, cuts: int, undos: int) -> Iterator[Outcome]:
        """That many cuts resumed and undone, two machines at a time, in order."""
        rows: list[tuple[Cut, Kind]] = [(cut, "resumed") for cut in watched.chosen(cuts)]
        rows += [(cut, "undone") for cut in watched.chosen(undos)]
        # A process of its own for each: a machine's console is a forked terminal, and threads do not go with fork.
        with ProcessPoolExecutor(MACHINES_AT_ONCE, get_context("spawn")) as pool:
            yield from pool.map(self.go_on, *zip(*rows, strict=True))

    def go_on(self, cut: Cut, kind: Kind) -> Outcome:
        """Start the live medium again and run the script: compare with the undisturbed machine, or the day before.

        What was resumed is started from its own disk as well, and audited. Known from an earlier time: as it was then.
        """
        assert self.kept is not None
        row = self.kept / f"{kind}-{cut.number:03d}.json"
        if not row.exists():
            outcome = self._go_on(cut, kind, self.kept / cut.copies)
            if outcome.differences:
                return outcome
            row.write_text(JSON.dumps(outcome))
        return JSON.loads(row.read_text(), Outcome)

    def _go_on(self, cut: Cut, kind: Kind, copies: Path) -> Outcome:
        option, wanted = ("", self.after) if kind == "resumed" else (" --undo", self.before)
        assert wanted is not None
        machine = self.machine(f"{kind}-{cut.number:03d}", copies)
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


def report(watched: Watched, outcomes: list[Outcome]) -> str:
    """The campaign's table."""
    lines = ["", f"{'cut':<64} {'then':<8} {'s':>6}  result"]
    for one in outcomes:
        lines.append(f"{one.cut.where[:64]:<64} {one.kind:<8} {one.seconds:6.0f}  {_result(one)}")
        lines += [f"      {line}" for line in one.differences]
    for kind in ("resumed", "undone"):
        mine = [one for one in outcomes if one.kind == kind]
        same = [one for one in mine if not one.differences]
        lines.append(f"{kind} to the same state: {len(same)} of {len(mine)}")
    whole, again = watched.install_seconds, watched.rerun_seconds
    lines.append(f"installation {whole:.0f} s; rerun when finished {again:.0f} s: {again / whole:.3f} of it")
    return "\n".join(lines)


def _result(one: Outcome) -> str:
    if one.differences:
        return "DIFFERS"
    return "same state, audit clean" if one.kind == "resumed" else "same state"
