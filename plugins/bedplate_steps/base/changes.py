"""What differs between two `[base]` sections, and between all packages that both specs gather.

Enters: both sides. Leaves: changes with the work each takes. The package tool of the installed machine does it.
"""

from __future__ import annotations

from collections.abc import Iterator

from attrs import evolve

from bedplate.actions import TARGET, Action, Call, Check, Run, Stage, WayBack
from bedplate.changes import Change, Cost, amend
from bedplate.conditions import holds
from bedplate.facts import Family
from bedplate.hookspecs import Side
from bedplate_steps.base.family import PackageChanges
from bedplate_steps.base.model import Base

_INSTALLS = "base.packages"
_ANEW = {
    "family": "Another family is another system: install anew, with a higher generation or on other partitions.",
    "release": "A machine moves to another release with its family's own tool and release notes, after a backup; "
    "then this spec describes it again.",
}
_UNSAID = "The package family {} does not say how packages come and go on an installed machine: ask its author."
_INSTALL_ONLY = {
    "keyring": "keyring of the medium",
    "archive": "base archive",
    "archive_sha256": "checksum of the base archive",
}


def changes(old: Side, new: Side) -> Iterator[Change]:
    """Family, release, sources, packages, services."""
    before, after = old.section, new.section
    assert isinstance(before, Base) and isinstance(after, Base)
    for key, why in _ANEW.items():
        one, other = getattr(before, key), getattr(after, key)
        if one != other:
            yield Change(
                says=f"{key} {other or 'none'} replaces {one or 'none'}",
                cost=Cost.LIVE_MEDIUM,
                old=(key,),
                new=(key,),
                why=why,
            )
    yield from _sources(before, after, old, new)
    if before.family == after.family:
        yield from _packages(before, after, old, new)
    yield from _services(before, after, old, new)
    for key, words in _INSTALL_ONLY.items():
        if getattr(before, key) != getattr(after, key):
            yield Change(
                says=f"the {words} is another one",
                cost=Cost.NOTHING,
                old=(key,),
                new=(key,),
                why="It only concerns a machine that is installed anew.",
            )
    if before.recommended != after.recommended:
        yes = "come along" if after.recommended else "stay away"
        yield Change(
            says=f"recommended packages {yes}",
            cost=Cost.NOTHING,
            old=("recommended",),
            new=("recommended",),
            why="It holds for what is installed from now on.",
        )


def _sources(before: Base, after: Base, old: Side, new: Side) -> Iterator[Change]:
    work = amend(old.actions, new.actions, "base.sources") if "base.sources" in new.actions else ()
    if before.source != after.source:
        says = f"package source {after.source or 'of the medium'} replaces {before.source or 'that of the medium'}"
        yield Change(
            says=says,
            cost=Cost.IN_PLACE if work or not after.source else Cost.LIVE_MEDIUM,
            old=("source",),
            new=("source",),
            actions=work,
            covers=("base.sources",),
            why="Packages that are installed stay as they are.",
        )
    if before.components != after.components:
        yield Change(
            says=f"components {' '.join(after.components) or 'as usual'} replace "
            f"{' '.join(before.components) or 'the usual ones'}",
            cost=Cost.IN_PLACE,
            old=("components",),
            new=("components",),
            actions=work,
        )
    if before.more_sources != after.more_sources:
        names = ", ".join(source.name for source in after.more_sources) or "none"
        yield Change(
            says=f"further package sources: {names}",
            cost=Cost.IN_PLACE,
            old=("more_sources",),
            new=("more_sources",),
            actions=work,
        )


# --- packages --------------------------------------------------------------------------------------------------------


def _gathered(side: Side) -> tuple[str, ...]:
    action = side.actions.get(_INSTALLS)
    tokens = action.gives if action else ()
    return tuple(token.removeprefix("package:") for token in tokens if token.startswith("package:"))


def _packages(before: Base, after: Base, old: Side, new: Side) -> Iterator[Change]:
    had, wanted = _gathered(old), _gathered(new)
    added = tuple(name for name in wanted if name not in had)
    gone = tuple(name for name in had if name not in wanted)
    own = new.actions.get("base.sources")
    sources = own.gives if own and own != old.actions.get("base.sources") else ()
    kernel = set(_core(old)) | set(_core(new))
    tool = new.context.extensions(PackageChanges).get(after.family)
    for names, word, work in ((added, "is added", _add), (gone, "is removed", _remove)):
        for name in names:
            section = (after if names is added else before).packages
            path = ("packages", section.index(name)) if name in section else ()
            change = Change(
                says=f"package {name} {word}",
                cost=Cost.NEXT_BOOT if name in kernel else Cost.IN_PLACE,
                old=path if names is gone else None,
                new=path if names is added else None,
                why="" if name in section else "Another section, or the kernel and firmware of this one, asks for it.",
                actions=(work(tool, after, names, wanted, sources),) if tool else (),
                covers=(_INSTALLS,),
            )
            yield change if tool else evolve(change, cost=Cost.ASK, why=_UNSAID.format(after.family))


def _core(side: Side) -> tuple[str, ...]:
    family = side.context.fact(Family)
    return tuple(name for need in ("kernel", "firmware", "microcode") for name in family.packages.get(need, ()))


def _add(
    tool: PackageChanges, base: Base, names: tuple[str, ...], wanted: tuple[str, ...], sources: tuple[str, ...]
) -> Action:
    return Action(
        id="base.packages-add",
        title=f"Install the package{'s' * (len(names) > 1)} {', '.join(names)}",
        reason="The new spec needs them.",
        stage=Stage.TARGET,
        operations=(_install(tool, base, names),),
        needs=sources,
        gives=("base", *(f"package:{name}" for name in names)),  # everything that builds on packages comes after
        guards=(
            holds(
                "The machine's package tool knows them",
                tool.known,
                *names,
                by_hand=("# The package tool says so before it changes anything.",),
                otherwise="Connect the machine and bring its package lists up to date, then run this again.",
            ),
        ),
        proofs=(_are_there(tool, names),),
        way_back=WayBack(
            note="They are removed again, where they were not there before.",
            operations=(_remove_by(tool, tool.take_back, names),),
        ),
        trouble="The package tool's last lines in the log say which name or address failed.",
    )


def _remove(
    tool: PackageChanges, base: Base, names: tuple[str, ...], wanted: tuple[str, ...], sources: tuple[str, ...]
) -> Action:
    can_go = holds(
        "Nothing the new spec asks for would go with them",
        tool.can_go,
        str(len(names)),
        *names,
        *wanted,
        by_hand=("# The package tool shows what goes with them before it asks: nothing else may go.",),
        otherwise="Keep them in the spec, or see what depends on them.",
    )
    missing = "The machine is not what the old spec says: find out who removed them."
    return Action(
        id="base.packages-remove",
        title=f"Remove the package{'s' * (len(names) > 1)} {', '.join(names)}",
        reason="The new spec no longer asks for them.",
        stage=Stage.TARGET,
        operations=(_remove_by(tool, tool.drop, names),),
        needs=("stage:target",),
        guards=(evolve(_are_there(tool, names), otherwise=missing, early=True), *((can_go,) if tool.can_go else ())),
        proofs=(
            holds(
                "They are gone", tool.gone, *names, early=False, by_hand=_listed(tool, names, "no installed version")
            ),
        ),
        way_back=WayBack(note="They are installed again.", operations=(_install(tool, base, names),)),
        cautions=(
            "Settings that these packages keep below /etc are removed with them.",
            *(
                ()
                if tool.can_go
                else ("The package tool shows what goes with them before it asks: nothing else may go.",)
            ),
        ),
    )


def _install(tool: PackageChanges, base: Base, names: tuple[str, ...]) -> Call:
    typed = f"{tool.add_by_hand} {' '.join(names)}"
    return Call(verb=tool.add, args=("yes" if base.recommended else "no", *names), by_hand=(typed,))


def _remove_by(tool: PackageChanges, verb: str, names: tuple[str, ...]) -> Call:
    return Call(verb=verb, args=names, by_hand=(f"{tool.drop_by_hand} {' '.join(names)}",))


def _are_there(tool: PackageChanges, names: tuple[str, ...]) -> Check:
    by_hand = _listed(tool, names, tool.installed_by_hand)
    return holds("They are installed", tool.there, *names, early=False, by_hand=by_hand)


def _listed(tool: PackageChanges, names: tuple[str, ...], wanted: str) -> tuple[str, ...]:
    """What the family's own data base says about each of them."""
    return (f"# Each of them has {wanted}:", f"chroot {TARGET} {tool.list_by_hand} {' '.join(names)}")


# --- services --------------------------------------------------------------------------------------------------------


def _services(before: Base, after: Base, old: Side, new: Side) -> Iterator[Change]:
    if before.services == after.services:
        return
    work = amend(old.actions, new.actions, "base.services")
    for unit in after.services:
        if unit not in before.services:
            yield Change(
                says=f"service {unit} is enabled",
                cost=Cost.IN_PLACE,
                new=("services", after.services.index(unit)),
                actions=(*work, _start(unit)),
            )
    for unit in before.services:
        if unit not in after.services:
            yield Change(
                says=f"service {unit} is no longer enabled",
                cost=Cost.NEXT_BOOT,
                old=("services", before.services.index(unit)),
                actions=work,
                why="It runs on until then: others may be using it.",
            )


def _start(unit: str) -> Action:
    running = holds(f"{unit} runs", "base/unit-runs", unit, early=False)
    return Action(
        id=f"base.start-{unit}",
        title=f"Start the service {unit}",
        reason="It is wanted from now on, not only from the next start.",
        stage=Stage.TARGET,
        operations=(Run(argv=("systemctl", "start", "--", unit)),),
        needs=(f"service:{unit}", "tool:systemctl"),
        proofs=(running,),
        way_back=WayBack(note="It is stopped again.", operations=(Run(argv=("systemctl", "stop", "--", unit)),)),
    )
