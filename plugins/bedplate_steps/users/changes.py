"""What differs between two `[users]` sections. Enters: both sides. Leaves: changes with the work each takes.

An account that is removed leaves its home folder behind, unless `[[users.former]]` says `home = "delete"`.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator

from attrs import evolve

from bedplate.actions import Action, Call, InTarget, Operation, Run
from bedplate.changes import STAMPS, Change, Cost, Extra, amend, paired, stamp
from bedplate.conditions import holds
from bedplate.hookspecs import Side
from bedplate_steps.users.emit import SUDOERS
from bedplate_steps.users.family import BaseGroups
from bedplate_steps.users.model import PersonEntry, Users

RIGHTS = "users.administrators"
_PASSWORD_LOST = "The old password cannot be read back: set it anew with passwd."


def changes(old: Side, new: Side) -> Iterator[Change]:
    """Groups, people, rights, the ssh server, root."""
    before, after = old.section, new.section
    assert isinstance(before, Users) and isinstance(after, Users)
    yield from _groups(before, after, old, new)
    yield from _people(before, after, old, new)
    if before.ssh_server != after.ssh_server:
        yield _ssh(after, old, new)
    yield from _root(before, after, old, new)


# --- groups ----------------------------------------------------------------------------------------------------------


def _groups(before: Users, after: Users, old: Side, new: Side) -> Iterator[Change]:
    pairs = paired(before.groups, after.groups)
    for index, group in pairs.made:
        yield Change(
            says=f"group {group.name} is made",
            cost=Cost.IN_PLACE,
            new=("groups", index),
            actions=amend(old.actions, new.actions, f"users.group-{group.name}"),
        )
    for index, group in pairs.gone:
        name = f"users.group-{group.name}"
        gone = holds(f"There is no group {group.name}", "users/group-gone", group.name, early=False)
        needs = tuple(f"user:{person.name}" for person in after.people)
        yield Change(
            says=f"group {group.name} is removed",
            cost=Cost.IN_PLACE,
            old=("groups", index),
            why="Files that belong to it keep its number.",
            actions=amend(old.actions, new.actions, name, extra={name: Extra(proofs=(gone,), needs=needs)}),
        )
    for place, one, index, group in pairs.both:
        if one.gid != group.gid:
            numbers = [str(each.gid or "any free one") for each in (group, one)]
            says = f"group {group.name} has the number {numbers[0]} instead of {numbers[1]}"
            yield Change(
                says=says,
                cost=Cost.LIVE_MEDIUM,
                old=("groups", place),
                new=("groups", index),
                why="Files keep the old number: groupmod --gid, then find -gid OLD and chgrp, with nobody logged in.",
                covers=(f"users.group-{group.name}",),
            )


# --- people ----------------------------------------------------------------------------------------------------------


def _people(before: Users, after: Users, old: Side, new: Side) -> Iterator[Change]:
    pairs = paired(before.people, after.people)
    renamed = {person.uid: (index, person) for index, person in pairs.gone if person.uid is not None}
    for index, person in pairs.made:
        known = renamed.pop(person.uid, None) if person.uid is not None else None
        if known is None:
            yield _made(index, person, old, new)
        else:
            place, one = known
            yield Change(
                says=f"user {one.name} is renamed to {person.name} (the same number, {person.uid})",
                cost=Cost.LIVE_MEDIUM,
                old=("people", place),
                new=("people", index),
                why="An account in use cannot be renamed: usermod --login and groupmod --new-name, with the "
                "person logged out.",
                covers=(*_ids(one.name), *_ids(person.name), RIGHTS),
            )
    for index, person in pairs.gone:
        if person.uid is None or person.uid in renamed:
            yield _removed(index, person, after, old, new)
    for place, one, index, person in pairs.both:
        yield from _person(one, person, (place, index), before, after, old, new)


def _ids(name: str) -> tuple[str, ...]:
    return f"users.person-{name}", f"users.password-{name}", f"users.keys-{name}"


def _made(index: int, person: PersonEntry, old: Side, new: Side) -> Change:
    rights = ", administrator" if person.administrator else ""
    return Change(
        says=f"user {person.name} is added{rights}",
        cost=Cost.IN_PLACE,
        new=("people", index),
        actions=amend(old.actions, new.actions, *_ids(person.name), RIGHTS),
    )


def _removed(index: int, person: PersonEntry, after: Users, old: Side, new: Side) -> Change:
    name, home = person.name, person.home_folder
    deletes = any(one.name == name and one.home == "delete" for one in after.former)
    own = f"users.person-{name}"
    gone = [holds(f"There is no account {name}", "users/user-gone", name, early=False)]
    gone += [holds(f"{home} is gone", "is-gone", home, early=False)] if deletes else []
    drop: tuple[Operation, ...] = (
        Call(
            verb="users/user-drop",
            args=(name, home if deletes else ""),
            by_hand=(f"userdel {'--remove ' if deletes else ''}{name}",),
        ),
    )
    password = old.actions[f"users.password-{name}"]
    extra = Extra(
        before=(*drop, Run(argv=("rm", "-f", "--", InTarget(f"{STAMPS}/{password.id}")))),
        proofs=tuple(gone),
        needs=(f"file:{SUDOERS}",) if person.administrator else (),
        back=(Call(verb="users/user-restore", args=(name,), by_hand=(f"passwd {name}",)), stamp(password)),
        lost="The home folder is deleted with all that is in it: only a copy brings it back." if deletes else "",
    )
    actions = (*amend(old.actions, new.actions, own, extra={own: extra}), *amend(old.actions, new.actions, RIGHTS))
    if deletes:
        return Change(
            says=f"user {name} is removed, and the home folder with it",
            cost=Cost.LOSES_DATA,
            loses=f"everything in {home}",
            old=("people", index),
            actions=actions,
            covers=_ids(name),
            why='The spec says so: users.former, home = "delete".',
        )
    return Change(
        says=f"user {name} is removed; {home} stays",
        cost=Cost.IN_PLACE,
        old=("people", index),
        why='To delete the home folder as well, say so in the spec: [[users.former]], home = "delete".',
        actions=actions,
        covers=_ids(name),
    )


def _person(
    one: PersonEntry, person: PersonEntry, at: tuple[int, int], before: Users, after: Users, old: Side, new: Side
) -> Iterator[Change]:
    name = person.name
    was, now = before.numbers()[name], after.numbers()[name]
    if was != now or one.home_folder != person.home_folder:
        yield _moved(one, person, was, now, at)
        return
    account = _account(one, person, old, new)
    for key, says, actions in _person_changes(one, person, account, old, new):
        yield Change(
            says=f"user {name} {says}",
            cost=Cost.IN_PLACE,
            old=("people", at[0], key),
            new=("people", at[1], key),
            actions=actions,
        )


def _moved(one: PersonEntry, person: PersonEntry, was: int, now: int, at: tuple[int, int]) -> Change:
    key = "uid" if was != now else "home"
    says = (
        f"has the number {now} instead of {was}"
        if was != now
        else (f"has the home {person.home_folder} instead of {one.home_folder}")
    )
    return Change(
        says=f"user {person.name} {says}",
        cost=Cost.LIVE_MEDIUM,
        old=("people", at[0], key),
        new=("people", at[1], key),
        why="Files have to follow, with the person logged out: usermod --uid or --home --move-home, then look for "
        "files of the old number with find -uid.",
        covers=(*_ids(person.name), RIGHTS),
    )


def _person_changes(
    one: PersonEntry, person: PersonEntry, account: tuple[Action, ...], old: Side, new: Side
) -> Iterator[tuple[str, str, tuple[Action, ...]]]:
    for group in person.groups:
        if group not in one.groups:
            yield "groups", f"joins group {group}", account
    for group in one.groups:
        if group not in person.groups:
            yield "groups", f"leaves group {group}", account
    if one.administrator != person.administrator:
        rights = amend(old.actions, new.actions, RIGHTS)
        says = "becomes administrator" if person.administrator else "is no longer administrator"
        yield "administrator", says, (*account, *rights)
    if one.shell != person.shell:
        yield "shell", f"gets the shell {person.shell} instead of {one.shell}", account
    if one.full_name != person.full_name:
        yield "full_name", f'has the full name "{person.full_name}" instead of "{one.full_name}"', account
    yield from _secrets(one, person, old, new)


def _secrets(
    one: PersonEntry, person: PersonEntry, old: Side, new: Side
) -> Iterator[tuple[str, str, tuple[Action, ...]]]:
    if one.password != person.password:
        says = {"ask": "gets a new password, which is asked for", "none": "can log in with keys only"}
        yield "password", says.get(person.password, "gets the password of the new spec"), _password(old, new, one.name)
    keys = amend(old.actions, new.actions, f"users.keys-{person.name}")
    for key in person.authorized_keys:
        if key not in one.authorized_keys:
            yield "authorized_keys", f"gets the ssh key {_key(key)}", keys
    for key in one.authorized_keys:
        if key not in person.authorized_keys:
            yield "authorized_keys", f"loses the ssh key {_key(key)}", keys


def _key(line: str) -> str:
    """A key by its comment; without one, by its kind and its end."""
    words = line.split()
    return " ".join(words[2:]) or f"{words[0]} ...{words[-1][-8:]}"


def _password(old: Side, new: Side, name: str) -> tuple[Action, ...]:
    own = f"users.password-{name}"
    return amend(old.actions, new.actions, own, extra={own: Extra(lost=_PASSWORD_LOST)})


def _account(one: PersonEntry, person: PersonEntry, old: Side, new: Side) -> tuple[Action, ...]:
    """The account's own action; what it joins and leaves, with the family's group of administrators."""
    was, now = _memberships(one, old), _memberships(person, new)
    left, joined = [name for name in was if name not in now], [name for name in now if name not in was]
    own = f"users.person-{person.name}"
    extra = Extra(
        before=_leaves(person.name, left),
        proofs=tuple(
            holds(f"{person.name} is not in the group {group}", "users/user-outside", person.name, group, early=False)
            for group in left
        ),
        back=_leaves(person.name, joined),
    )
    title, typed = f"Change the account {person.name}", _typed(person)
    return tuple(
        evolve(action, title=title, operations=tuple(_as_typed(item, typed) for item in action.operations))
        for action in amend(old.actions, new.actions, own, extra={own: extra})
    )


def _typed(person: PersonEntry) -> str:
    words = (
        "usermod",
        "--shell",
        person.shell,
        "--comment",
        person.full_name,
        "--append",
        "--groups",
        ",".join(person.groups),
        person.name,
    )
    return shlex.join(words)


def _as_typed(item: Operation, typed: str) -> Operation:
    """The account is there already: what a person types is not what makes it."""
    return evolve(item, by_hand=(typed,)) if isinstance(item, Call) and item.verb == "users/user-present" else item


def _memberships(person: PersonEntry, side: Side) -> tuple[str, ...]:
    return (*person.groups, *((side.context.of_family(BaseGroups).administrators,) if person.administrator else ()))


def _leaves(name: str, groups: list[str]) -> tuple[Operation, ...]:
    return tuple(
        Call(verb="users/user-leaves", args=(name, group), by_hand=(f"gpasswd --delete {name} {group}",))
        for group in groups
    )


# --- the ssh server and root -----------------------------------------------------------------------------------------


def _ssh(after: Users, old: Side, new: Side) -> Change:
    own = "users.ssh-server"
    action = new.actions.get(own) or old.actions.get(own)
    units = [token.removeprefix("service:") for token in action.gives] if action else []
    start = tuple(Run(argv=("systemctl", "start", "--", unit)) for unit in units)
    stop = tuple(Run(argv=("systemctl", "stop", "--", unit)) for unit in units)
    extra = Extra(after=start, back=stop) if after.ssh_server else Extra(after=stop, back=start)
    return Change(
        says=f"the ssh server {'is started' if after.ssh_server else 'is stopped'}",
        cost=Cost.IN_PLACE,
        old=("ssh_server",),
        new=("ssh_server",),
        why="" if after.ssh_server else "Whoever is logged in over ssh stays until the end of the session.",
        actions=amend(old.actions, new.actions, own, extra={own: extra}),
    )


def _root(before: Users, after: Users, old: Side, new: Side) -> Iterator[Change]:
    rescue = amend(old.actions, new.actions, "users.rescue")
    if before.root.password != after.root.password:
        locked = after.root.password == "locked"
        lock = "users.lock-root"
        unlock = Extra(lost="Root's old password cannot be read back: set one with passwd.")
        work = amend(old.actions, new.actions, lock, extra={lock: unlock}) if locked else _password(old, new, "root")
        yield Change(
            says="the root account is locked" if locked else "root gets a password",
            cost=Cost.IN_PLACE,
            old=("root", "password"),
            new=("root", "password"),
            actions=(*work, *rescue),
            covers=(lock, "users.password-root"),
        )
    if before.root.rescue != after.root.rescue:
        what = {
            "open-shell": "opens a root shell without a password",
            "live-medium": "ends without a shell",
            "": "asks for root's password",
        }
        yield Change(
            says=f"a failed start {what[after.root.rescue]}",
            cost=Cost.IN_PLACE,
            old=("root", "rescue"),
            new=("root", "rescue"),
            actions=rescue,
            covers=("users.lock-root",),
        )
