"""Sequences of steps on one machine: drawn from a seed, played, judged after each run, shrunk where something breaks.

A step is a word and a number that settles every choice in it, so that a sequence without one of its steps is the same
otherwise. Words: an event's name; whole (the retired disk is to be erased), run, cut, undo, cut-undo, old (an older
script), edit (another spec), survey (a new survey, and compiled again), draft.
"""

from __future__ import annotations

import shutil
import tomllib
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from random import Random

from attrs import field, frozen, mutable

from world import plans
from world.events import EVENTS, named
from world.invariants import broken, look, use
from world.machine import World, copy, machine, make_template
from world.plans import Plan, Wishes
from world.running import Ran, run

Step = tuple[str, int]
WORK = ("run", "run", "run", "cut", "undo", "cut-undo", "old", "edit", "edit", "survey", "draft")
EDITS: tuple[Wishes, ...] = (
    {"label": "other-root"},
    {"root": "5GiB"},
    {"home_size": "3GiB"},
    {"home_kind": "ext4"},
    {"loader": "harbour"},
    {"home": False},
    {"keymap": "de"},
    {"zone": "Europe/Oslo"},
    {"warden": "Keeper"},
    {"menu_time": 9},
    {"swap": "512MiB"},
    {"packages": ["less", "rsync"]},
    {"filesystem": "xfs"},
    {"filesystem": "btrfs"},
)


@mutable
class Story:
    """A sequence while it is played."""

    world: World
    survey: str
    wishes: Wishes = field(factory=dict)
    plan: Plan | None = None
    older: list[Plan] = field(factory=list)
    finished: set[str] = field(factory=set)
    pending: list[str] = field(factory=list)
    """Events since the survey that no run has taken notice of."""
    tally: Counter[tuple[str, str]] = field(factory=Counter)
    said: list[str] = field(factory=list)


@frozen(kw_only=True)
class Outcome:
    """How a sequence ended: the first broken invariant with the step it was at, or nothing."""

    steps: tuple[Step, ...]
    broken: str = ""
    at: int = -1
    tally: Counter[tuple[str, str]] = field(factory=Counter)
    log: str = ""

    @property
    def kind(self) -> str:
        """The invariant, without names and places."""
        return self.broken.split(":")[0]


def drawn(seed: int) -> tuple[Step, ...]:
    """A sequence from its seed: most begin with a machine that is installed, or half installed."""
    random = Random(seed)
    names = sorted(EVENTS)
    words = random.choice((["run"],) * 6 + (["cut"], ["cut"], [], ["whole", "run"], ["whole", "cut"], ["whole"])).copy()
    for _ in range(random.randint(1, 3)):
        words.append(random.choice(names) if random.random() < 0.7 else random.choice(WORK))
    if words[-1] in EVENTS or words[-1] in {"edit", "survey", "draft"}:
        words.append(random.choice(("run", "run", "run", "undo", "cut", "old")))
    return tuple((word, random.randrange(1 << 20)) for word in words)


# --- playing ---------------------------------------------------------------------------------------------------------


def play(steps: Sequence[Step], template: Path) -> Outcome:
    """Play a sequence on a fresh machine."""
    base = "fresh"
    rest = list(steps)
    if rest and rest[0][0] == "run":
        base, rest = "installed", rest[1:]
    with machine(template / base) as world:
        story = Story(world=world, survey=(template / "survey.toml").read_text())
        story.plan = _compiled(story)
        assert story.plan is not None
        if base == "installed":
            story.finished = _used(story.plan)
        for index, (word, number) in enumerate(rest, len(steps) - len(rest)):
            try:
                wrong = _step(story, word, Random(number))
            except Exception as crash:  # a crash of the program, or of this bench, is told like any other fault
                wrong = f"crashed: {type(crash).__name__}: {crash}"[:500]
            if wrong:
                return Outcome(steps=tuple(steps), broken=wrong, at=index, tally=story.tally, log="\n".join(story.said))
        return Outcome(steps=tuple(steps), tally=story.tally, log="\n".join(story.said))


def _compiled(story: Story) -> Plan | None:
    told = plans.compiled(plans.spec(story.wishes), story.survey)
    if isinstance(told, str):
        story.said.append(f"check: {told}")
        for name in story.pending:
            if named(name, told):
                story.tally[name, "found"] += 1
        return None
    return told


def _step(story: Story, word: str, random: Random) -> str:
    """One step; the first broken invariant."""
    if word in EVENTS:
        assert story.plan is not None
        if EVENTS[word].apply(story.world, story.plan, random):
            story.pending.append(word)
            story.tally[word, "happened"] += 1
        return ""
    match word:
        case "whole":
            story.wishes["whole"] = plans.erased(story.survey, "SM-SATA-0404")
            plan = _compiled(story)
            assert plan is not None, story.said
            story.plan = plan
            return ""
        case "edit":
            _edit(story, random)
            return ""
        case "survey":
            return _survey(story)
        case "draft":
            return _draft(story)
        case "old":
            plan = random.choice(story.older) if story.older else story.plan
            return _run(story, plan, random.random() < 0.3, 0)
        case _:
            assert story.plan is not None
            cut = random.randint(1, 60) if word.startswith("cut") else 0
            return _run(story, story.plan, word.endswith("undo"), cut)


def _edit(story: Story, random: Random) -> None:
    wishes = story.wishes
    story.wishes = {**wishes, **random.choice(EDITS)}
    new = _compiled(story)
    if new is None or story.plan is None:
        story.wishes = wishes
        story.tally["edit", "found"] += 1
        return
    story.older.append(story.plan)
    story.plan = new
    story.pending.append("edit")
    story.tally["edit", "happened"] += 1


def _survey(story: Story) -> str:
    """A new survey, and the same spec compiled again; what does not compile is found."""
    old = story.survey
    story.survey = plans.surveyed(story.world)
    new = _compiled(story)
    if new is None or story.plan is None:
        story.survey = old
        return ""
    story.older.append(story.plan)
    story.plan = new
    return ""


def _draft(story: Story) -> str:
    """A draft never writes the word that erases."""
    told = plans.drafted(plans.surveyed(story.world))
    wishes = tomllib.loads(told).get("disk", {})
    if "table" in wishes and wishes["table"] != "keep":
        return f"a draft erases: {told}"
    return "" if told else "a draft is empty"


def _run(story: Story, plan: Plan | None, undo: bool, cut: int) -> str:
    assert plan is not None
    before = look(story.world, plan)
    options = ("--undo",) if undo else ()
    ran = run(story.world, plan.text, *options, cut_at=cut)
    story.said.append(f"--- {'undo' if undo else 'run'}: status {ran.status}{', cut' if ran.cut else ''}\n{ran.text}")
    after = look(story.world, plan)
    wrong = next(broken(before, after, plan, ran, undo, story.world, story.finished), "")
    if wrong:
        return wrong
    if undo and ran.done:
        story.finished.clear()
    if ran.done and not undo:
        use(story.world, plan)
        story.finished |= _used(plan)
    return _told(story, ran)


def _used(plan: Plan) -> set[str]:
    """Partitions of ours in which people keep files."""
    return {part.uuid for part in plan.layout.partitions if part.new and part.mount in plans.CANARIES}


def _told(story: Story, ran: Ran) -> str:
    """A refusal names an event; what ran to its end has survived all."""
    if ran.cut:
        return ""
    if ran.done:
        for name in story.pending:
            story.tally[name, "survived"] += 1
        return ""
    how = "refused" if ran.refused else "stopped"
    by = [name for name in story.pending if name == "edit" or named(name, ran.reason)]
    for name in by:
        story.tally[name, how] += 1
    if not by and story.pending:
        return f"{how} without a word about it: {', '.join(story.pending)}: {ran.reason.strip()[:300]}"
    if not by:
        return f"{how} though nothing had happened: {ran.reason[-300:]}"
    return ""


# --- shrinking -------------------------------------------------------------------------------------------------------


def shrunk(outcome: Outcome, template: Path) -> Outcome:
    """The shortest sequence found that breaks the same invariant: steps are left out one by one, until none can be."""
    best = play(outcome.steps[: outcome.at + 1], template)
    if best.kind != outcome.kind:
        return outcome
    smaller = True
    while smaller:
        smaller = False
        for index in range(len(best.steps) - 1, -1, -1):
            tried = play((*best.steps[:index], *best.steps[index + 1 :]), template)
            if tried.kind == outcome.kind:
                best, smaller = tried, True
                break
    return best


def spelled(steps: Iterable[Step]) -> str:
    """The line that plays it again."""
    return " ".join(f"{word}:{number}" for word, number in steps)


def read(line: str) -> tuple[Step, ...]:
    """The steps of such a line."""
    return tuple((word, int(number)) for word, _, number in (part.partition(":") for part in line.split()))


# --- templates -------------------------------------------------------------------------------------------------------


def make_templates(folder: Path) -> None:
    """A fresh machine with its survey, and one on which the plan has been carried out."""
    make_template(folder / "fresh")
    with machine(folder / "fresh") as world:
        (folder / "survey.toml").write_text(plans.surveyed(world))
        story = Story(world=world, survey=(folder / "survey.toml").read_text())
        story.plan = _compiled(story)
        assert story.plan is not None, story.said
        wrong = _run(story, story.plan, False, 0)
        assert not wrong, f"{story.said[-1][-3000:]}\n{wrong}"
        (folder / "installed").mkdir()
        for item in world.folder.iterdir():
            if item.suffix == ".img":
                copy(item, folder / "installed" / item.name)
            elif item.name in {"firmware", "medium"}:
                shutil.copytree(item, folder / "installed" / item.name)
