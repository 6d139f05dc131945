"""Many sequences: `python tests/world/campaign.py --count 10000` prints what broke and the table of events.

`--again LINE` plays one sequence, as a broken one was printed, with all that its scripts said.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from world.events import EVENTS  # the folder of tests comes first
from world.machine import room
from world.sequences import Outcome, drawn, make_templates, play, read, shrunk, spelled

COLUMNS = ("happened", "refused", "stopped", "survived", "found")


@contextmanager
def templates() -> Iterator[Path]:
    """The machines that sequences begin with."""
    with room() as folder:
        make_templates(folder)
        yield folder


def one(work: tuple[Path, int]) -> tuple[int, Outcome]:
    """One sequence, shrunk if it broke something."""
    folder, seed = _templates(work[0]), work[1]
    outcome = play(drawn(seed), folder)
    return seed, shrunk(outcome, folder) if outcome.broken else outcome


@cache
def _templates(folder: Path) -> Path:
    """The templates of this process."""
    own = folder / str(os.getpid())
    make_templates(own)
    return own


def many(first: int, count: int, jobs: int) -> Iterator[tuple[int, Outcome]]:
    """The sequences of these seeds, in any order."""
    with room() as folder:
        work = ((folder, seed) for seed in range(first, first + count))
        with multiprocessing.get_context("fork").Pool(jobs) as pool:
            yield from pool.imap_unordered(one, work)


def table(tally: Counter[tuple[str, str]]) -> str:
    """How often each event happened, and what came of it."""
    lines = ["| event | " + " | ".join(COLUMNS) + " |", "| --- |" + " ---: |" * len(COLUMNS)]
    for name in ("edit", *sorted(EVENTS)):
        lines.append(f"| {name} | " + " | ".join(str(tally[name, column]) for column in COLUMNS) + " |")
    return "\n".join(lines)


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="the first seed")
    parser.add_argument("--count", type=int, default=200, help="how many sequences")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="how many at a time")
    parser.add_argument("--minutes", type=int, default=0, help="stop after that time; 0: when all are played")
    parser.add_argument("--again", metavar="LINE", help="play this sequence")
    arguments = parser.parse_args()
    if arguments.again:
        with templates() as folder:
            outcome = play(read(arguments.again), folder)
        print(outcome.log, outcome.broken or "nothing broke", sep="\n")
        return 1 if outcome.broken else 0
    tally: Counter[tuple[str, str]] = Counter()
    kinds: Counter[str] = Counter()
    begun = time.monotonic()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that everything is taken down
    played = 0
    for seed, outcome in many(arguments.seed, arguments.count, arguments.jobs):
        if arguments.minutes and time.monotonic() - begun > 60 * arguments.minutes:
            break
        played += 1
        tally += outcome.tally
        if outcome.broken:
            kinds[outcome.kind] += 1
            print(f"seed {seed}: {outcome.broken}\n    --again '{spelled(outcome.steps)}'", flush=True)
    print(table(tally))
    print(f"{played} sequences in {time.monotonic() - begun:.0f} s; broken: {dict(kinds)}")
    return 1 if kinds else 0


if __name__ == "__main__":
    sys.exit(main())
