"""Actions of an installation as they are carried out on the installed machine: the target's root is `/`.

Enters: an action. Leaves: the same with plain paths, and with commands as a person types them there.
"""

from __future__ import annotations

from bedplate.actions import TARGET, Action, InTarget, StandIn, Where, map_words


def retarget(action: Action) -> Action:
    """The action, rooted at `/`."""
    return map_words(action, _at_root, _typed)


def _at_root(item: StandIn) -> object:
    match item:
        case InTarget():
            return item.path
        case Where():
            return Where.LIVE
    return item


def _typed(line: str) -> str:
    """What a person types, which is shown and never run."""
    return line.replace(f"chroot {TARGET} ", "").replace(f"{TARGET}/", "/").replace(TARGET, "/")
