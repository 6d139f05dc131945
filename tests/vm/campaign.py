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
from .disks import STICK, Disk
from .factory import SERIAL, FactoryMachine
from .install import CASES, Technician, answer_all, begin, carry, known_of
from .machine import SHARE_MOUNT, Machine
from .media import LiveMedium
from .state import State, boot_entries, state_of
from .tools import call
from .watched import JSON, SAMPLE, Cut, Shears, Watched

CASE = "kelp-02"
MACHINES_AT_ONCE = 3
"""Each has one processor; while one waits for a disk, a clock or the host, the others have the host's two."""

_ROOMS = (
    "campaign",
    "watched",
    "state",
    "install",
    "machine",
    "console",
    "disks",
    "factory",
    "media",
    "small_system",
    "small_archive",
)
"""What makes a row: another text of one of these, and none is known any more."""

Kind = Literal["resumed", "undone", "audited"]


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
        for item in (f"{SERIAL}.qcow2", "OVMF_VARS.fd", STICK):
            call(["cp", "--sparse=always", copies / item, folder / item])
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
        if not (machine.folder / f"{CASE}.toml").exists():
            os.link(self.folder / "survey" / f"{CASE}.toml", machine.folder / f"{CASE}.toml")
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
        """That many cuts undone and resumed, some machines at a time; what was resumed well is audited after that."""
        backwards: list[tuple[Cut, Kind]] = [(cut, "undone") for cut in watched.chosen(undos)]
        forwards: list[tuple[Cut, Kind]] = [(cut, "resumed") for cut in watched.chosen(cuts)]
        # A process of its own for each: a machine's console is a forked terminal, and threads do not go with fork.
        with ProcessPoolExecutor(MACHINES_AT_ONCE, get_context("spawn")) as pool:
            well: list[Cut] = []
            for outcome in pool.map(self.go_on, *zip(*backwards, *forwards, strict=True)):
                well += [outcome.cut] if outcome.kind == "resumed" and not outcome.differences else []
                yield outcome
            yield from pool.map(self.go_on, well, ["audited"] * len(well))

    def go_on(self, cut: Cut, kind: Kind) -> Outcome:
        """Start the live medium again and run the script: compare with the undisturbed machine, or the day before.

        What was resumed is kept, and started from its own disk to be audited. A row that came out well at an earlier
        time is as it was then.
        """
        assert self.kept is not None
        row, resumed = self.kept / f"{kind}-{cut.number:03d}.json", self.kept / f"resumed-{cut.number:03d}"
        if not row.exists():
            machine = self.machine(row.stem, resumed if kind == "audited" else self.kept / cut.copies)
            found = self._tried(machine, kind)
            outcome = Outcome(cut=cut, kind=kind, differences=tuple(found), seconds=_took(machine))
            if not outcome.differences:
                if kind == "resumed":
                    _keep(machine, resumed)
                row.write_text(JSON.dumps(outcome))
            machine.disks[0].path.unlink(missing_ok=True)
            if outcome.differences:
                return outcome
        return JSON.loads(row.read_text(), Outcome)

    def _tried(self, machine: Machine, kind: Kind) -> list[str]:
        person = self.person(machine)
        try:
            if kind == "audited":
                return _audited(person)
            option, wanted = ("", self.after) if kind == "resumed" else (" --undo", self.before)
            assert wanted is not None
            return self._differences(machine, option, wanted)
        except ConsoleError as trouble:
            return [f"stuck: {trouble}"]
        finally:
            machine.off()

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


def _keep(machine: Machine, folder: Path) -> None:
    """Disk and variables of a machine that is off, for its audit."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for path in (machine.disks[0].path, machine.variables, machine.folder / STICK):
        shutil.move(path, folder / path.name)


def _took(machine: Machine) -> float:
    """Seconds of the script, or of the audit."""
    return sum(seconds for what, seconds in machine.timings if what in ("script", "audit"))


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
    for kind in ("undone", "resumed", "audited"):
        mine = [one for one in outcomes if one.kind == kind]
        same = [one for one in mine if not one.differences]
        lines.append(f"{kind}{'' if kind == 'audited' else ' to the same state'}: {len(same)} of {len(mine)}")
    whole, again = watched.install_seconds, watched.rerun_seconds
    lines.append(f"installation {whole:.0f} s; rerun when finished {again:.0f} s: {again / whole:.3f} of it")
    return "\n".join(lines)


def _result(one: Outcome) -> str:
    if one.differences:
        return "DIFFERS"
    return "every proof holds" if one.kind == "audited" else "same state"
