"""The figures Bedplate holds itself to, as ratios measured side by side in one run. A benchmark, not a timed test.

    .venv/bin/python tests/bench/figures.py

Prints one line per figure: what was measured, the ratio, the aim. Times are the best of several rounds, the two sides
of a ratio taken alternately so that a busy machine disturbs both alike.
"""

from __future__ import annotations

import graphlib
import math
import os
import random
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

from bedplate.cli import commands
from bedplate.compiling import pipeline
from bedplate.linking.link import order
from bedplate.loading import registry
from bedplate.reading.document import read

ROOT = Path(__file__).resolve().parents[2]
SPEC = ROOT / "specs" / "kelp-02.toml"

Seconds = float


def side_by_side(ours: Callable[[], object], theirs: Callable[[], object], rounds: int) -> tuple[Seconds, Seconds]:
    """Best times of both, alternating."""
    best = [math.inf, math.inf]
    for _ in range(rounds):
        for side, work in enumerate((ours, theirs)):
            start = time.perf_counter()
            work()
            best[side] = min(best[side], time.perf_counter() - start)
    return best[0], best[1]


def report(words: str, ours: Seconds, theirs: Seconds, aim: str) -> None:
    """One line of the table."""
    print(f"{words:<62}{ours * 1000:>11.2f} ms{theirs * 1000:>11.2f} ms{ours / theirs:>8.2f}   {aim}")


def python(*arguments: str) -> Callable[[], object]:
    """A fresh Python process."""
    return lambda: subprocess.run(
        [sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


def cold_compile() -> None:
    """Wall time of `bedplate compile` against a process that imports the five libraries and parses the same file."""
    imports = f"import attrs, cattrs, tomli_w, pluggy, jsonschema, tomllib; tomllib.load(open({str(SPEC)!r}, 'rb'))"
    ours, theirs = side_by_side(python("-m", "bedplate.cli", "compile", str(SPEC)), python("-c", imports), 15)
    report("cold compile of kelp-02 / imports and parse", ours, theirs, "aim 1.25")


def thousand_specs() -> None:
    """A thousand specs checked and compiled in one process against tomllib.loads of the same texts."""
    survey = SPEC.with_name("kelp-02.survey.toml").read_bytes()
    common = SPEC.with_name("common.toml").read_bytes()
    text = SPEC.read_text(encoding="utf-8")
    texts = {f"specs/m{i}.toml": text.replace("kelp-02", f"kelp-{i}") for i in range(1000)}
    installed = registry.load()

    def reader(name: str) -> bytes:
        if name in texts:
            return texts[name].encode()
        return common if name.endswith("common.toml") else survey

    def ours() -> None:
        for name in texts:
            checked = pipeline.check_spec(read(name, reader), installed, lambda file: read(file, reader))
            pipeline.plan(checked, name)

    def theirs() -> None:
        for one in texts.values():
            tomllib.loads(one)

    mine, yours = side_by_side(ours, theirs, 1)
    report("1000 specs to graphs / tomllib.loads of their texts", mine, yours, "aim 4")


def graph_order() -> None:
    """Ordering 100,000 actions against graphlib on the same edges, and how the cost grows."""
    costs: list[tuple[int, Seconds]] = []
    for count in (25_000, 50_000, 100_000, 200_000):
        chance = random.Random(count)
        after = [[chance.randrange(max(0, i - 1000), i) for _ in range(min(i, 3))] for i in range(count)]
        edges = dict(enumerate(after))
        ours, theirs = side_by_side(
            lambda after=after, count=count: order(after, range(count)),
            lambda edges=edges: list(graphlib.TopologicalSorter(edges).static_order()),
            5,
        )
        costs.append((count, ours))
        if count == 100_000:
            report("ordering 100,000 actions / graphlib", ours, theirs, "aim 1.5")
    exponent = math.log(costs[-1][1] / costs[0][1]) / math.log(costs[-1][0] / costs[0][0])
    print(f"{'growth of the cost of ordering, 25,000 to 200,000 (exponent)':<62}{exponent:>36.2f}   aim 1.05")


def main() -> None:
    """Print the table."""
    os.chdir(ROOT)
    print(f"bedplate {commands.version()}, Python {sys.version.split()[0]}, {os.cpu_count()} cores")
    print(f"{'':<62}{'ours':>14}{'reference':>14}{'ratio':>8}")
    cold_compile()
    thousand_specs()
    graph_order()


if __name__ == "__main__":
    main()
