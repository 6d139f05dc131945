"""Semantic checks of the `[users]` section. Enters: the section and its context. Leaves: faults below the section."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bedplate.facts import Family
from bedplate.faults import Fault, Path, Rejected, nearest, one_of, shown
from bedplate.hookspecs import Context
from bedplate_steps.users.account_names import FORM, SYSTEMD_GROUPS, form_trouble, repaired, taken
from bedplate_steps.users.authorized_keys import key_faults
from bedplate_steps.users.family import BaseGroups, SshServer
from bedplate_steps.users.model import PersonEntry, Root, Users
from bedplate_steps.users.passwords import ASK, password_fault

SHELLS: dict[str, tuple[str, ...]] = {
    "/bin/bash": (),
    "/bin/sh": (),
    "/usr/bin/bash": (),
    "/usr/bin/fish": ("fish",),
    "/usr/bin/zsh": ("zsh",),
}
"""Login shells, each with the packages it needs; the same names in every family (from memory)."""

RESCUES = ("open-shell", "live-medium")

_SYSTEM_FOLDERS = (
    "/bin",
    "/boot",
    "/dev",
    "/etc",
    "/lib",
    "/mnt",
    "/proc",
    "/root",
    "/run",
    "/sbin",
    "/sys",
    "/tmp",
    "/usr",
)


def validate(section: Users, context: Context) -> Iterable[Fault]:
    """Every fault of the section."""
    yield from (fault.under("root") for fault in _root_faults(section.root))
    yield from _administrator_faults(section)
    for index, group in enumerate(section.groups):
        yield from _form_faults(group.name, ("groups", index, "name"))
    present = _present(context)
    for index, person in enumerate(section.people):
        for fault in _person_faults(person, section, present):
            yield fault.under("people", index)
        if present:
            yield from (fault.under("people", index) for fault in _group_faults(person, section, present, context))
    yield from _twin_faults(section)
    yield from _former_faults(section)
    if section.ssh_server:
        context.of_family(SshServer)


def _present(context: Context) -> frozenset[str]:
    """The groups of the base; empty where they are not known, which is a fault already."""
    try:
        return context.of_family(BaseGroups).present | SYSTEMD_GROUPS
    except Rejected:
        return frozenset()


def _former_faults(section: Users) -> Iterable[Fault]:
    """Somebody who has an account is not a former person: the home folder must not be in doubt."""
    present = {person.name for person in section.people}
    for index, former in enumerate(section.former):
        if former.name in present:
            yield Fault(
                code="former-person-present",
                message="this person has an account in the same spec",
                path=("former", index, "name"),
                found=shown(former.name),
                allowed="a name that is not among the people",
            )


# --- root ----------------------------------------------------------------------------------------------------------


def _root_faults(root: Root) -> Iterable[Fault]:
    fault = password_fault(root.password, ("locked", ASK))
    if fault is not None:
        yield fault.under("password")
        return
    if root.password == "locked" and not root.rescue:
        yield Fault(
            code="locked-root-without-rescue",
            message="with root locked, a failed start ends at a console "
            "that lets nobody in; choose what shall happen then",
            path=("rescue",),
            found="nothing",
            allowed=one_of([f'"{word}"' for word in RESCUES]),
            notes=(
                "open-shell: whoever stands at the console of a failed start is root, without a password.",
                "live-medium: no shell; the machine is mended from a live medium.",
            ),
        )
    if root.password != "locked" and root.rescue:
        yield Fault(
            code="needless-rescue",
            message="root has a password, which is asked for when a start fails",
            path=("rescue",),
            found=shown(root.rescue),
            allowed="no rescue",
        )


def _administrator_faults(section: Users) -> Iterable[Fault]:
    if section.root.password == "locked" and not section.administrators:
        yield Fault(
            code="no-administrator",
            message="root is locked and nobody is administrator: nobody could ever change anything",
            path=("people",),
            found="no administrator",
            allowed="administrator = true for one person, or a root password",
        )
    for index, person in enumerate(section.people):
        if person.administrator and person.password == "none":
            yield Fault(
                code="administrator-without-password",
                message="an administrator is asked for the own password and this account has none",
                path=("people", index, "password"),
                found='"none"',
                allowed='"ask", a hash or "file:/PATH"',
            )


# --- names and numbers ---------------------------------------------------------------------------------------------


def _form_faults(name: str, path: Path) -> Iterable[Fault]:
    trouble = form_trouble(name)
    if trouble:
        yield Fault(
            code="bad-user-name",
            message=f"this name does not work everywhere: {trouble}",
            path=path,
            found=shown(name),
            allowed=FORM,
            nearest=repaired(name),
        )


def _twin_faults(section: Users) -> Iterable[Fault]:
    people, groups = section.people, section.groups
    first = {person.name: index for index, person in reversed(list(enumerate(people)))}
    yield from _twins(
        "duplicate-user",
        "two people have this name",
        [(("people", index, "name"), person.name) for index, person in enumerate(people)],
    )
    yield from _twins(
        "duplicate-group",
        "two groups have this name; each person has a group of the own name",
        [
            *((("people", index, "name"), person.name) for index, person in enumerate(people)),
            *((("groups", index, "name"), group.name) for index, group in enumerate(groups)),
        ],
        skip=len(people),
    )
    yield from _twins(
        "duplicate-id",
        "this number is given twice; a person's own group has the person's number",
        [
            *((("people", index, "uid"), person.uid) for index, person in enumerate(people)),
            *((("groups", index, "gid"), group.gid) for index, group in enumerate(groups)),
        ],
    )
    yield from _twins(
        "duplicate-home",
        "two people have this home folder",
        [
            (("people", index, "home" if person.home else "name"), person.home_folder)
            for index, person in enumerate(people)
            if first[person.name] == index
        ],
    )


def _twins(code: str, message: str, places: Sequence[tuple[Path, str | int | None]], skip: int = 0) -> Iterable[Fault]:
    """A fault for every value that stands at an earlier place too; the first `skip` places are only looked at."""
    seen: set[str | int] = set()
    for index, (path, value) in enumerate(places):
        if value is not None and value in seen and index >= skip:
            yield Fault(code=code, message=message, path=path, found=shown(str(value)))
        if value is not None:
            seen.add(value)


# --- people --------------------------------------------------------------------------------------------------------


def _person_faults(person: PersonEntry, section: Users, present: frozenset[str]) -> Iterable[Fault]:
    yield from _form_faults(person.name, ("name",))
    owner = taken(person.name, present)
    if owner:
        yield Fault(
            code="reserved-user-name",
            message=f"this name is taken by {owner}",
            path=("name",),
            found=shown(person.name),
            allowed="a name of the person's own",
        )
    fault = password_fault(person.password, (ASK, "none"))
    if fault is not None:
        yield fault.under("password")
    yield from _shell_faults(person)
    yield from _home_faults(person)
    yield from _key_faults(person, section)


def _shell_faults(person: PersonEntry) -> Iterable[Fault]:
    if person.shell not in SHELLS:
        yield Fault(
            code="unknown-shell",
            message="Bedplate does not know which package brings this shell",
            path=("shell",),
            found=shown(person.shell),
            allowed=one_of(list(SHELLS)),
            nearest=nearest(person.shell, SHELLS),
        )


def _home_faults(person: PersonEntry) -> Iterable[Fault]:
    home = person.home_folder
    parts = home.split("/")
    inside = any(home == folder or home.startswith(folder + "/") for folder in _SYSTEM_FOLDERS)
    if not home.startswith("/") or len(parts) < 3 or inside or any(part in ("", ".", "..") for part in parts[1:]):
        yield Fault(
            code="bad-home",
            message="this cannot be a home folder",
            path=("home",),
            found=shown(home),
            allowed='a plain path outside the system, such as "/home/ana"',
        )


def _group_faults(person: PersonEntry, section: Users, present: frozenset[str], context: Context) -> Iterable[Fault]:
    family, known = context.fact(Family).name, present | {group.name for group in section.groups}
    first = {name: index for index, name in reversed(list(enumerate(person.groups)))}
    for index, name in enumerate(person.groups):
        path: Path = ("groups", index)
        if name in ("sudo", "wheel"):
            yield Fault(
                code="administrator-by-group",
                message="which group makes an administrator differs by family; say it in the person's own words",
                path=path,
                found=shown(name),
                allowed="administrator = true",
            )
        elif first[name] < index:
            yield Fault(code="duplicate-group", message="this group is given twice", path=path, found=shown(name))
        elif name not in known:
            yield Fault(
                code="unknown-group",
                message=f"the base of the {family} family has no such group, and the spec makes none",
                path=path,
                found=shown(name),
                allowed="a group of the base, or one of [[users.groups]]",
                nearest=nearest(name, known),
            )


def _key_faults(person: PersonEntry, section: Users) -> Iterable[Fault]:
    for index, line in enumerate(person.authorized_keys):
        yield from (fault.under("authorized_keys", index) for fault in key_faults(line))
    yield from _twins(
        "duplicate-key",
        "this key is given twice",
        [(("authorized_keys", index), line) for index, line in enumerate(person.authorized_keys)],
    )
    if person.authorized_keys and not section.ssh_server:
        yield Fault(
            code="keys-without-server",
            message="keys open no door while no ssh server is installed",
            path=("authorized_keys",),
            allowed="ssh_server = true in [users]",
            warning=True,
        )
    if person.password == "none" and not person.authorized_keys:
        yield Fault(
            code="no-way-in",
            message="without a password and without a key this person cannot log in",
            path=("password",),
            found='"none"',
            allowed="authorized_keys, or a password",
        )
