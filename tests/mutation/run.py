"""Mutation testing: whether a test fails where one place of the source is made wrong.

    .venv/bin/python tests/mutation/run.py                    all targets, a sample of each
    .venv/bin/python tests/mutation/run.py layout may-format  these
    .venv/bin/python tests/mutation/run.py --sample 100       every mutant, not 25 percent of a Python module's
    .venv/bin/python tests/mutation/run.py --again            survivors are tried again, after a test was written
    .venv/bin/python tests/mutation/run.py --table            tries nothing, prints the table of what is known

Root is needed: everything happens in a mount name space with a copy of the project in memory, in which the root file
system cannot be written and no disk of this machine can be reached. Answers are kept by the text of the mutated
function in `~/.cache/bedplate-mutation` (or BEDPLATE_MUTATION_CACHE): what was cut short goes on. Survivors that no
test can tell from the original stand with the reason in `explained.toml`. Exit status 1 where another one survives.
"""

from __future__ import annotations

import argparse
import fcntl
import hashlib
import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import mutants

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
ROOMS = ("compiler", "plugins", "schema")
PLACE = Path("/dev/shm/bedplate-mutation")
"""In memory, and in the name space only."""
COPY, TEMP, PROBES = PLACE / "copy", PLACE / "temp", PLACE / "probes"
WHOLE = PLACE / "whole" if "--inside" in sys.argv else ROOT
"""The project as it was when this began: people may work on it meanwhile."""
CACHE = Path(os.environ.get("BEDPLATE_MUTATION_CACHE", "~/.cache/bedplate-mutation")).expanduser()
ANSWERS = CACHE / "answers.jsonl"
LONGEST, BUSIEST = 1800, 200
"""Seconds, and seconds of work of one process, after which a mutant is taken for one that never ends."""
ENOUGH = 30
"""Seconds of tests for one mutant."""
NOT_FOUND = 4
"""Exit status of pytest where a test that was asked for is not there."""
PLAN = tomllib.loads((HERE / "targets.toml").read_text(encoding="utf-8"))
TARGETS: dict[str, dict[str, Any]] = PLAN["targets"]
EXPLAINED: dict[str, dict[str, str]] = tomllib.loads((HERE / "explained.toml").read_text(encoding="utf-8"))


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=", ".join(TARGETS))
    parser.add_argument("--sample", type=int, default=25, help="percent of the mutants of a Python module")
    parser.add_argument("--again", action="store_true", help="try survivors again")
    parser.add_argument("--table", action="store_true", help="try nothing")
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    names = arguments.targets or list(TARGETS)
    if unknown := [name for name in names if name not in TARGETS]:
        parser.error(f"no such target: {', '.join(unknown)}")
    if not (arguments.table or arguments.inside):
        CACHE.mkdir(parents=True, exist_ok=True)
        aside = [
            "unshare",
            "--mount",
            "--propagation",
            "private",
            "--pid",
            "--fork",
            "--kill-child",
            "--mount-proc",
            sys.executable,
            *sys.argv,
            "--inside",
        ]
        with (CACHE / "lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            return subprocess.call(["nice", *aside], close_fds=True)
    if arguments.inside:
        seclude()
        for name in names:
            try_all(name, arguments.sample, again=arguments.again)
    return table(names, arguments.sample)


# --- what is tried ---------------------------------------------------------------------------------------------------


def sources(target: str) -> list[Path]:
    """The files of a target, relative to the project."""
    found = [path for room in ROOMS for name in TARGETS[target]["files"] for path in (WHOLE / room).rglob(name)]
    assert found, f"{target}: no file is called {TARGETS[target]['files']}"
    return sorted(path.relative_to(WHOLE) for path in found)


def wanted(target: str, sample: int) -> Iterator[tuple[Path, str, mutants.Mutant]]:
    """The mutants to try, each with its file and the key of its answer. A sample is the same ones every time."""
    for file in sources(target):
        text = (WHOLE / file).read_text(encoding="utf-8")
        python = file.suffix == ".py"
        for mutant in mutants.python(text) if python else mutants.shell(text):
            key = hashlib.sha256(f"{file.name} {mutant.part}".encode()).hexdigest()
            if not python or int(key[:8], 16) % 100 < sample:
                yield file, key, mutant


def answers() -> dict[str, dict[str, str]]:
    """What is known, by key; the last answer counts."""
    lines = ANSWERS.read_text(encoding="utf-8").splitlines() if ANSWERS.exists() else []
    return {answer["key"]: answer for answer in map(json.loads, lines)}


def try_all(target: str, sample: int, *, again: bool) -> None:
    known = answers()
    todo = [
        one
        for one in wanted(target, sample)
        if one[1] not in known or (again and known[one[1]]["outcome"] == "survived")
    ]
    if not todo:
        return
    met = Meetings(target)
    for count, (file, key, mutant) in enumerate(todo, 1):
        tests = met.tests(file, mutant.lines)
        outcome, by = attempt(file, mutant.text, tests) if tests else ("survived", "no test comes here")
        answer = {"key": key, "target": target, "file": file.name, "outcome": outcome, "by": by, "words": mutant.words}
        with ANSWERS.open("a", encoding="utf-8") as kept:
            kept.write(json.dumps(answer) + "\n")
        print(f"{target} {count}/{len(todo)} {outcome:8} {file.name}:{mutant.lines[0]}  {mutant.words}", flush=True)


# --- in a name space of its own --------------------------------------------------------------------------------------


def seclude() -> None:
    """A copy in memory; nothing else can be written, no disk but loop devices reached."""

    def mount(*words: object) -> None:
        subprocess.run(["mount", *map(str, words)], check=True)

    mount("--bind", CACHE, CACHE)
    for folder in ("/tmp", "/dev/shm", "/run", "/var/tmp"):
        mount("-t", "tmpfs", "-o", "mode=1777", "mutation", folder)
    mount("-o", "remount,bind,ro", "/")
    listed = subprocess.run(["lsblk", "-nrpo", "NAME,TYPE"], capture_output=True, text=True, check=True).stdout
    for node, kind in (line.split() for line in listed.splitlines()):
        if kind != "loop" and not node.startswith("/dev/loop") and Path(node).exists():
            mount("--bind", "/dev/null", node)
    unwanted = shutil.ignore_patterns(".venv", ".git", ".*_cache", ".hypothesis", "__pycache__")
    for copy in (WHOLE, COPY):
        shutil.copytree(ROOT, copy, symlinks=True, ignore=unwanted)
    for folder in (TEMP, PROBES):
        folder.mkdir()
    tidy()
    rooms = [str(COPY / room) for room in ROOMS]
    os.environ |= {"HOME": "/tmp", "TMPDIR": str(TEMP), "PYTHONPATH": os.pathsep.join(rooms)}
    sys.path[:0] = rooms
    import attrs, cattrs, hypothesis, jinja2, jsonschema, jsonschema_rs, pytest, tomli_w  # noqa: E401, F401, I001  # for all children


class Meetings:
    """Which tests come by which lines, and the seconds each takes: seen once for every test file as it is."""

    def __init__(self, target: str) -> None:
        group = TARGETS[target]["tests"]
        self.files = {file for each in TARGETS if TARGETS[each]["tests"] == group for file in sources(each)}
        self.seconds: dict[str, float] = {}
        self.lines: dict[str, dict[str, set[str]]] = {}
        python = sorted(file for file in self.files if file.suffix == ".py")
        for test in (Path("tests", name) for name in PLAN["tests"][group]):
            digest = hashlib.sha256(b"".join((WHOLE / path).read_bytes() for path in (test, *python))).hexdigest()
            kept = CACHE / "meetings" / f"{group}-{test.stem}-{digest[:16]}.json"
            if not kept.exists():
                self.look(test, kept)
            seen = json.loads(kept.read_text(encoding="utf-8"))
            self.seconds |= seen["seconds"]
            for name, by in seen["lines"].items():
                for line, tests in by.items():
                    self.lines.setdefault(name, {}).setdefault(line, set()).update(tests)

    def look(self, test: Path, kept: Path) -> None:
        """Run one test file on the unchanged copy."""
        print(f"looking which lines {test} comes by", flush=True)
        for file in self.files:
            if file.suffix == ".sh":  # a function notes the test it is called in
                now, met = PROBES / "now", PROBES / file.name
                note = f"{{ read -r probe <{now} && printf '%s\\n' \"$probe\" >>{met}; }} 2>/dev/null"
                text = (WHOLE / file).read_text(encoding="utf-8")
                (COPY / file).write_text(text.replace("() {\n", f"() {{\n    {note}\n"), encoding="utf-8")
        own = {str(COPY / file): file.name for file in self.files if file.suffix == ".py"}
        out = PLACE / "seen.json"
        os.waitpid(fork(["-q", str(test)], PLACE / "look", Watch(own, out)), 0)
        tidy()
        seen = json.loads(out.read_text(encoding="utf-8"))
        if seen["failed"]:
            print(f"left out, since they fail here without a mutant: {', '.join(seen['failed'])}")
        for file in self.files:
            if file.suffix == ".sh":
                shutil.copy(WHOLE / file, COPY / file)
                probe = PROBES / file.name
                came = probe.read_text(encoding="utf-8").splitlines() if probe.exists() else []
                seen["lines"][file.name] = {"": sorted(set(came) & set(seen["seconds"]))}
                probe.unlink(missing_ok=True)
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(json.dumps(seen), encoding="utf-8")

    def tests(self, file: Path, lines: range) -> list[str]:
        """The tests that come by these lines, the fastest first, as many as ENOUGH seconds allow; of those that are
        made once for each shell, the last (dash). All tests where lines are carried out at the import."""
        by = self.lines.get(file.name, {})
        found = {test for line in ("", *map(str, lines)) for test in by.get(line, ())}
        if "import" in found:
            found |= set(self.seconds)
        once = {re.sub(r"\b(dash|bash|busybox)\b", "", test): test for test in sorted(found - {"import"})}
        spent, chosen = 0.0, []
        for test in sorted(once.values(), key=lambda test: (self.seconds.get(test, 0), test)):
            spent += self.seconds.get(test, 0)
            if spent < ENOUGH or not chosen:
                chosen.append(test)
        return chosen


class Watch:
    """A plugin of pytest that notes the lines of some files that each test comes by."""

    def __init__(self, own: dict[str, str], out: Path) -> None:
        self.own, self.out, self.test = own, out, "import"
        self.lines: dict[str, dict[str, set[str]]] = {name: defaultdict(set) for name in own.values()}
        self.seconds: dict[str, float] = defaultdict(float)
        self.failed: list[str] = []

    def called(self, frame: Any, event: str, argument: Any) -> Any:
        name = self.own.get(frame.f_code.co_filename)
        if name is None:
            return None
        lines, test = self.lines[name], self.test

        def line(inner: Any, event: str, argument: Any) -> Any:
            lines[str(inner.f_lineno)].add(test)
            return line

        return line(frame, event, argument)

    def pytest_configure(self) -> None:
        if self.own:
            sys.settrace(self.called)

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self.test = nodeid
        (PROBES / "now").write_text(f"{nodeid}\n", encoding="utf-8")

    def pytest_runtest_logreport(self, report: Any) -> None:
        self.seconds[report.nodeid] += report.duration
        if report.failed:
            self.failed.append(report.nodeid)

    def pytest_sessionfinish(self) -> None:
        sys.settrace(None)
        bad = set(self.failed)
        lines = {name: {line: sorted(tests - bad) for line, tests in by.items()} for name, by in self.lines.items()}
        seconds = {test: took for test, took in self.seconds.items() if test not in bad}
        self.out.write_text(json.dumps({"lines": lines, "seconds": seconds, "failed": sorted(bad)}))


def attempt(file: Path, text: str, tests: list[str]) -> tuple[str, str]:
    """Run the tests on the mutant: killed, survived or late, and the test that noticed."""
    path = COPY / file
    before = path.read_text(encoding="utf-8")
    for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*"):
        compiled.unlink()
    path.write_text(text, encoding="utf-8")
    outcome, by = answer(tests)
    if outcome == "lost":  # the mutant takes tests away that are made from data: the rest of their files has to notice
        outcome, by = answer(sorted({test.partition("::")[0] for test in tests}))
    path.write_text(before, encoding="utf-8")
    return outcome, by


def answer(tests: list[str]) -> tuple[str, str]:
    log = PLACE / "log"
    child = fork(["-q", "-x", "--tb=no", *tests], log)
    end, status = time.monotonic() + LONGEST, None
    while status is None and time.monotonic() < end:
        done, raw = os.waitpid(child, os.WNOHANG)
        status = os.waitstatus_to_exitcode(raw) if done else None
        time.sleep(0.02)
    if status is None:
        os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)
    tidy()
    said = [line for line in log.read_text(errors="replace").splitlines() if line.startswith(("FAILED", "ERROR"))]
    if status is None:
        return "killed", "too long"
    if status == NOT_FOUND:
        return "lost", ""
    return ("killed", said[0][:200] if said else f"status {status}") if status else ("survived", "")


def fork(words: list[str], log: Path, watch: Watch | None = None) -> int:
    """A pytest of its own, with everything imported that no mutant changes."""
    child = os.fork()
    if child:
        return child
    os.setsid()
    resource.setrlimit(resource.RLIMIT_CPU, (BUSIEST, BUSIEST) if watch is None else (-1, -1))
    with log.open("w") as out:
        for number in (1, 2):
            os.dup2(out.fileno(), number)
    os.chdir(COPY)
    import hypothesis
    import pytest

    sys.dont_write_bytecode = watch is None
    hypothesis.settings.register_profile(
        "mutation",
        derandomize=True,
        database=None,
        deadline=None,
        phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
    )
    fixed = [
        "-p",
        "no:cacheprovider",
        "--hypothesis-profile=mutation",
        f"--basetemp={TEMP}/pytest",
        "--rootdir",
        str(COPY),
    ]
    os._exit(pytest.main([*fixed, *words], plugins=[watch] if watch else []))


def tidy() -> None:
    """End what a test that was cut off has left: mounts, mapped devices and loop devices of ours."""
    for line in reversed(Path("/proc/self/mountinfo").read_text().splitlines()):
        if line.split()[4].startswith(f"{TEMP}/"):
            subprocess.run(["umount", "-l", line.split()[4]], check=False)
    listed = subprocess.run(["losetup", "--list", "-n", "-O", "NAME,BACK-FILE"], capture_output=True, text=True).stdout
    for node, image in (line.split(maxsplit=1) for line in listed.splitlines() if PLACE.name in line):
        assert image
        held = subprocess.run(["lsblk", "-nrpo", "NAME,TYPE", node], capture_output=True, text=True).stdout
        for name, kind in (each.split() for each in reversed(held.splitlines())):
            if kind in ("crypt", "lvm"):
                subprocess.run(["dmsetup", "remove", "--force", name], check=False, capture_output=True)
        subprocess.run(["partx", "--delete", node], check=False, capture_output=True)
        subprocess.run(["losetup", "--detach", node], check=False)
    shutil.rmtree(TEMP, ignore_errors=True)
    TEMP.mkdir(exist_ok=True)


# --- the table -------------------------------------------------------------------------------------------------------


STATES = ("killed", "explained", "survived", "untried")


def table(names: list[str], sample: int) -> int:
    """Every survivor, those with a reason with it; then the counts by target."""
    known, rows = answers(), []
    for name in names:
        counts = dict.fromkeys(STATES, 0)
        for file, key, mutant in wanted(name, sample):
            outcome = known[key]["outcome"] if key in known else "untried"
            reason = EXPLAINED.get(name, {}).get(mutant.words, "")
            state = "explained" if outcome == "survived" and reason else outcome
            counts[state] += 1
            if outcome == "survived":
                print(
                    f"{name} {state} {file.name}:{mutant.lines[0]}  {mutant.words}",
                    *([f"\n    {reason}"] if reason else []),
                )
        rows.append((name, sum(counts.values()), counts))
    print(f"\n{'target':18} mutants", *(f"{state:>9}" for state in STATES))
    for name, total, counts in rows:
        print(f"{name:18} {total:7}", *(f"{counts[state]:9}" for state in STATES))
    return 1 if any(counts["survived"] for _, _, counts in rows) else 0


if __name__ == "__main__":
    raise SystemExit(main())
