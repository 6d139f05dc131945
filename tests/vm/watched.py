"""One undisturbed installation, and what a power cut would have left of its machine at moments on the way.

At a cut the emulator is held, its disk and its firmware variables are copied, and it goes on: the copy is what killing
it there would have left (see `Disk.durable`).
"""

import random
import re
from pathlib import Path

import pexpect
from attrs import define, field, frozen
from cattrs.preconf.json import make_converter

from .console import Console
from .disks import STICK
from .machine import LIVE_BOOT, Machine
from .state import State
from .tools import call

SAMPLE = tuple(re.compile(text) for text in ("in .* Unpack the base archive", "before .* Write the boot menu"))
"""Where the cuts of a small sample are taken."""

JSON = make_converter()
_SEED = 4
_PAUSES = (0.01, 0.03, 0.08, 0.2, 0.5)
"""By lot, how long after an action's line (or after the last cut inside it) it is cut.

Parts of the time that this machine took to start the live medium, so that a fast host finds as many moments.
"""


@frozen(kw_only=True)
class Cut:
    """A machine as a power cut left it."""

    number: int
    where: str
    """`before [14]`: as the action's line appeared; `in [14], 4 s on`: that long after the cut before it."""
    copies: str
    """Folder of the disk's and the variables' copies."""


@frozen(kw_only=True)
class Watched:
    """The installation from end to end, and its cuts."""

    after: State
    install_seconds: float
    rerun_seconds: float
    cuts: tuple[Cut, ...]

    def save(self, folder: Path) -> None:
        """Beside the cuts."""
        (folder / "watched.json").write_text(JSON.dumps(self))

    @staticmethod
    def load(folder: Path) -> "Watched":
        """What `save` has left there."""
        return JSON.loads((folder / "watched.json").read_text(), Watched)

    def chosen(self, count: int) -> tuple[Cut, ...]:
        """That many cuts, evenly over the installation, as is each beginning of them; ValueError if it has fewer."""
        if count > len(self.cuts):
            raise ValueError(f"{len(self.cuts)} moments to cut at, {count} asked for")
        halving = sorted(range(count), key=lambda index: f"{index:08b}"[::-1])
        return tuple(self.cuts[(2 * index + 1) * len(self.cuts) // (2 * count)] for index in halving)


@define(kw_only=True)
class Shears:
    """Takes the cuts of a running installation: at the line of each action as it appears, and at moments after it."""

    machine: Machine
    folder: Path
    sample: int | None
    """That many at fixed places; None: all of them."""
    cuts: list[Cut] = field(factory=list)

    def watch(self, console: Console) -> None:
        """Until the script says that all is done."""
        lot = random.Random(_SEED)
        unit = dict(self.machine.timings)[LIVE_BOOT]
        boundary, end = r"\r?\n\[(\d+)/\d+\] [^\r\n]*(?=[\r\n])", r"All \d+ actions that belong"
        last = ""
        while True:
            pause = unit * lot.choice(_PAUSES) if self.sample is None else 1.5
            index = console.child.expect([boundary, end, pexpect.TIMEOUT], timeout=pause)
            if index == 1:
                return
            if index == 0:
                last = str(console.child.after).strip()
            if last and "skipped" not in last:
                self._perhaps(f"before {last}" if index == 0 else f"in {last}, {pause:.1f} s on")

    def _perhaps(self, where: str) -> None:
        taken = [cut.where for cut in self.cuts]
        left = [place for place in SAMPLE[: self.sample] if not any(map(place.search, taken))]
        if self.sample is None or any(place.search(where) for place in left):
            self.cuts.append(self._cut(where))

    def _cut(self, where: str) -> Cut:
        copies = f"{len(self.cuts):03d}"
        (self.folder / copies).mkdir(parents=True)
        with self.machine.stopped():
            for path in (self.machine.disks[0].path, self.machine.variables, self.machine.folder / STICK):
                call(["cp", "--sparse=always", path, self.folder / copies / path.name])
        return Cut(number=len(self.cuts), where=where, copies=copies)
