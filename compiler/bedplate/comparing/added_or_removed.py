"""Sections that only one of the two specs has. Enters: the section's name and the actions of both. Leaves: a `Change`.

A step need not say how its section comes and goes: what it does in the target can be done on the running machine too,
and its ways back take it away again. Where one action cannot be done or undone there, nothing of the section is.
"""

from __future__ import annotations

from collections.abc import Mapping

from bedplate.actions import Action, ByHand, Stage
from bedplate.changes import Actions, Change, Cost, Extra, amend, stands_alone

_ELSEWHERE = {
    Stage.OTHER_SYSTEM: "in the other system",
    Stage.FIRMWARE: "in the firmware",
    Stage.LIVE: "on the live medium",
    Stage.FIRST_BOOT: "at the first start",
}


def comes(section: str, old: Actions, new: Actions) -> Change:
    """The section is new: its actions are done on the running machine, if each is work in the target, or for a person
    after the first start."""
    own, says = _own(section, new), f"the section [{section}] is new"
    for action in own.values():
        if action.transient or not (action.stage is Stage.TARGET or _for_people(action)):
            where = "only while the machine is installed" if action.transient else _ELSEWHERE[action.stage]
            return Change(
                says=says,
                cost=Cost.LIVE_MEDIUM,
                new=(),
                covers=tuple(own),
                why=f"Install the machine anew: “{action.title}” is done {where}.",
            )
    lasting = {name: one for name, one in own.items() if one.changes and one.stage is Stage.TARGET}
    extra = {name: Extra(back_first=one.way_back.operations) for name, one in lasting.items() if stands_alone(one, old)}
    rest = tuple(one for name, one in own.items() if name not in lasting)
    actions = (*amend(old, new, *lasting, extra=extra), *rest)
    cost, why = _cost(lasting, actions, "Its services start with the machine.")
    return Change(says=says, cost=cost, new=(), why=why, actions=actions)


def goes(section: str, old: Actions, new: Actions) -> Change:
    """The section is gone: the way back of each of its actions is carried out, if each that lasts has one."""
    own, says = _own(section, old), f"the section [{section}] is gone"
    lasting = {name: one for name, one in own.items() if one.changes and not one.transient}
    for action in lasting.values():
        back = action.way_back
        if action.stage is not Stage.TARGET and not _for_people(action):
            why = f"“{action.title}” was done {_ELSEWHERE[action.stage]}, and is not taken back on a running machine."
            return Change(says=says, cost=Cost.LIVE_MEDIUM, old=(), covers=tuple(own), why=why)
        if not back.possible or not back.operations:
            why = f"“{action.title}” has no way back on a running machine: {back.note}"
            return Change(says=says, cost=Cost.ASK, old=(), covers=tuple(own), why=why)
    extra = {name: Extra(before=one.way_back.operations) for name, one in lasting.items() if stands_alone(one, new)}
    actions = amend(old, new, *lasting, extra=extra)
    cost, why = _cost(lasting, actions, "What its services do goes on until then.")
    return Change(
        says=says,
        cost=cost,
        old=(),
        why=why,
        actions=actions,
        covers=tuple(name for name in own if name not in lasting),
    )


def _own(section: str, actions: Actions) -> dict[str, Action]:
    return {name: action for name, action in actions.items() if name.startswith(section + ".")}


def _for_people(action: Action) -> bool:
    return action.stage is Stage.FIRST_BOOT and all(isinstance(item, ByHand) for item in action.operations)


def _cost(lasting: Mapping[str, Action], actions: tuple[Action, ...], services: str) -> tuple[Cost, str]:
    """Services are neither started nor stopped: who writes the step knows how, see `Step.comes_and_goes`."""
    if any(token.startswith("service:") for action in lasting.values() for token in action.gives):
        return Cost.NEXT_BOOT, services
    return (Cost.IN_PLACE if actions else Cost.NOTHING), ""
