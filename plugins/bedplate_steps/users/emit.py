"""The actions of the `[users]` section. Enters: a checked section. Leaves: actions in the order of the work."""

from __future__ import annotations

import shlex
from collections.abc import Iterable

from bedplate import build
from bedplate.actions import (
    TARGET,
    Action,
    Call,
    Content,
    InTarget,
    Milestone,
    Operation,
    Run,
    Secret,
    SecretRef,
    Stage,
    Where,
    WriteFile,
)
from bedplate.conditions import file_is, file_mode_is, holds
from bedplate.facts import Family
from bedplate.hookspecs import Context
from bedplate_steps.users.family import BaseGroups, SshServer
from bedplate_steps.users.model import OwnGroup, PersonEntry, Users
from bedplate_steps.users.passwords import file_of, is_hash
from bedplate_steps.users.validate import SHELLS

SUDOERS = "/etc/sudoers.d/administrators"
"""No dot in the name: sudo passes over files with one (sudoers(5))."""

SHORTEST = 8
"""Characters of a password, NIST SP 800-63B section 5.1.1.2."""

_NEEDS = ("base", Milestone.API_MOUNTED)
_PASSWORD_BACK = "Lock the password again; what it was before is not brought back."


def emit(section: Users, context: Context) -> Iterable[Action]:
    """Every action of the section. Root comes last: until somebody else can act, it stays as it is."""
    family, groups = context.fact(Family), context.of_family(BaseGroups)
    yield from (_group(group) for group in section.groups)
    numbers, made = section.numbers(), frozenset(group.name for group in section.groups)
    for person in section.people:
        uid = numbers[person.name]
        yield _person(person, uid, made, groups)
        yield _password(person)
        if person.authorized_keys:
            yield _keys(person, uid)
    if section.administrators:
        yield _administrators(section, family)
    if section.ssh_server:
        yield _ssh(family, context.of_family(SshServer))
    yield _root(section)
    if section.root.rescue == "open-shell":
        yield _open_shell()


# --- groups and people ---------------------------------------------------------------------------------------------


def _group(group: OwnGroup) -> Action:
    number = "" if group.gid is None else str(group.gid)
    option = ("--gid", number) if number else ("--system",)
    return Action(
        id=f"users.group-{group.name}",
        title=f"Make the group {group.name}",
        reason="The spec asks for it; a group that a package has made already is taken over.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="users/group-present",
                args=(group.name, number),
                by_hand=(_chroot("groupadd", *option, group.name),),
            ),
        ),
        needs=_NEEDS,
        gives=(f"group:{group.name}",),
        proofs=(holds(f"The group {group.name} exists as planned", "users/group-is", group.name, number, early=False),),
        way_back=build.goes_with_root(
            "Remove the group, if it was not there before; files of it keep its number.",
            Call(verb="users/group-take-back", args=(group.name,), by_hand=(_chroot("groupdel", group.name),)),
        ),
    )


def _person(person: PersonEntry, uid: int, made: frozenset[str], base: BaseGroups) -> Action:
    groups = (*person.groups, *((base.administrators,) if person.administrator else ()))
    args = (person.name, str(uid), person.home_folder, person.shell, ",".join(groups), person.full_name)
    by_hand = (
        _chroot("groupadd", "--gid", str(uid), person.name),
        _chroot(
            "useradd",
            "--uid",
            str(uid),
            "--gid",
            str(uid),
            "--create-home",
            "--home-dir",
            person.home_folder,
            "--shell",
            person.shell,
            "--groups",
            ",".join(groups),
            "--comment",
            person.full_name,
            person.name,
        ),
    )
    return Action(
        id=f"users.person-{person.name}",
        title=f"Make the account {person.name}",
        reason="Nobody should work as root.",
        stage=Stage.TARGET,
        operations=(Call(verb="users/user-present", args=args, by_hand=by_hand),),
        needs=(
            *_NEEDS,
            *(f"package:{name}" for name in SHELLS[person.shell]),
            *(f"group:{name}" for name in person.groups if name in made),
        ),
        gives=(f"user:{person.name}",),
        proofs=(
            holds(f"{person.name} has the planned number, home, shell and groups", "users/user-is", *args, early=False),
            holds(f"{person.shell} is installed and a login shell", "users/login-shell", person.shell, early=False),
        ),
        way_back=build.goes_with_root(
            "Remove the account, if it was not there before. Its home folder stays: it may lie on a kept partition.",
            Call(verb="users/user-take-back", args=(person.name,), by_hand=(_chroot("userdel", person.name),)),
        ),
    )


def _password(person: PersonEntry) -> Action:
    if person.password == "none":
        return _set_password(
            person.name,
            f"Leave {person.name} without a password",
            "Keys are the only way in.",
            "*",
            (f"user:{person.name}",),
        )
    return _set_password(
        person.name,
        f"Set the password of {person.name}",
        "A new account cannot log in until then.",
        person.password,
        (f"user:{person.name}",),
    )


def _set_password(name: str, title: str, reason: str, password: str, needs: tuple[str, ...]) -> Action:
    """`password`: a hash or `*` goes in as it stands, everything else is a secret of the installation."""
    encrypted = is_hash(password) or password == "*"
    secrets: tuple[Secret, ...] = ()
    if not encrypted:
        secrets = (
            Secret(name=f"password-{name}", prompt=f"Password of {name}", file=file_of(password), min_length=SHORTEST),
        )
    value: Content = (password,) if encrypted else (SecretRef(f"password-{name}"),)
    argv = ("chpasswd", "-e") if encrypted else ("chpasswd",)
    state = "no password" if password == "*" else "a password"
    return Action(
        id=f"users.password-{name}",
        title=title,
        reason=reason,
        stage=Stage.TARGET,
        operations=(
            Call(verb="users/accounts-let-go"),
            Run(
                argv=argv,
                where=Where.TARGET,
                stdin=(f"{name}:", *value, "\n"),
                by_hand=_password_by_hand(name, password, encrypted),
            ),
        ),
        needs=(*_NEEDS, *needs),
        proofs=(
            holds(f"{name} has {state}", "users/password-is", name, "none" if password == "*" else "set", early=False),
        ),
        way_back=build.goes_with_root(_PASSWORD_BACK, Run(argv=("usermod", "--lock", name), where=Where.TARGET)),
        secrets=secrets,
        stamped=True,
        cautions=("A password cannot be read back: keep it where you will find it.",) if secrets else (),
    )


def _password_by_hand(name: str, password: str, encrypted: bool) -> tuple[str, ...]:
    if not encrypted:
        return ("# It asks for the password, twice.", _chroot("passwd", name))
    if password == "*":
        return ()
    return (
        f"# The spec holds its hash, and no sheet does. Type `{name}:` and the hash right behind it, then Enter, "
        "then Ctrl and D:",
        _chroot("chpasswd", "-e"),
    )


# --- keys ----------------------------------------------------------------------------------------------------------


def _keys(person: PersonEntry, uid: int) -> Action:
    folder = f"{person.home_folder}/.ssh"
    path, owner = f"{folder}/authorized_keys", f"{uid}:{uid}"
    content: Content = ("".join(f"{line.strip()}\n" for line in person.authorized_keys),)
    # As the person: a link in their home leads root nowhere (setpriv(1)).
    themselves = ("setpriv", "--reuid", str(uid), "--regid", str(uid), "--clear-groups")
    make = Run(argv=(*themselves, "install", "-d", "-m", "0700", folder), where=Where.TARGET)
    drop = Run(argv=(*themselves, "rm", "-f", "--", path), where=Where.TARGET)
    return Action(
        id=f"users.keys-{person.name}",
        title=f"Put the ssh keys of {person.name} in place",
        reason="sshd passes over keys that others could change, so owner and mode must be right.",
        stage=Stage.TARGET,
        operations=(make, WriteFile(path=InTarget(path), content=content, mode=0o600, owner=owner)),
        needs=("base", f"user:{person.name}"),
        gives=(f"file:{path}",),
        proofs=(file_mode_is(folder, 0o700, owner), file_mode_is(path, 0o600, owner), file_is(path, content, 0o600)),
        way_back=build.goes_with_root("Remove the file; keys that stood there before are not brought back.", drop),
    )


def _ssh(family: Family, server: SshServer) -> Action:
    return build.enable_service(
        "users.ssh-server",
        server.unit,
        needs=family.tokens("ssh-server"),
        title="Start the ssh server from the first boot on",
        reason="The spec asks for it.",
    )


# --- administrators and root ---------------------------------------------------------------------------------------


def _administrators(section: Users, family: Family) -> Action:
    names = tuple(person.name for person in section.administrators)
    content: Content = ("".join(f"{name} ALL=(ALL:ALL) ALL\n" for name in names),)
    return Action(
        id="users.administrators",
        title=f"Give administrator rights to {', '.join(names)}",
        reason="One wrong line here makes sudo refuse everybody, so the file is checked before it counts.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="users/sudoers-put",
                args=(SUDOERS,),
                stdin=content,
                by_hand=_sudoers_by_hand("".join(map(str, content))),
            ),
        ),
        needs=(*_NEEDS, *(f"user:{name}" for name in names), *family.tokens("sudo")),
        gives=(f"file:{SUDOERS}",),
        proofs=(
            file_is(SUDOERS, content, 0o440),
            file_mode_is(SUDOERS, 0o440),
            *(holds(f"sudo lets {name} do everything", "users/sudo-allows", name, early=False) for name in names),
        ),
        way_back=build.goes_with_root(
            "Remove the rule file; the people stay in the administrators' group.",
            Run(argv=("rm", "-f", InTarget(SUDOERS))),
        ),
    )


def _sudoers_by_hand(text: str) -> tuple[str, ...]:
    """Written beside its place under a name sudo passes over (with a dot), tried, and only then renamed."""
    beside = f"{SUDOERS}.new"
    return (
        f"install -m 440 /dev/null {TARGET}{beside}",
        f"cat > {TARGET}{beside} <<'END'\n{text}END",
        f"{_chroot('visudo', '-c', '-f', beside)} && mv {TARGET}{beside} {TARGET}{SUDOERS}",
        "# It says `parsed OK`. If not, nothing has changed yet: delete that file and type it again.",
    )


def _root(section: Users) -> Action:
    if section.root.password == "locked":
        return _locked_root(section)
    reason = "The spec gives root a password; a failed start asks for it."
    return _set_password("root", "Set the password of root", reason, section.root.password, ())


def _locked_root(section: Users) -> Action:
    rescue = {
        "open-shell": "A failed start opens a root shell without a password.",
        "live-medium": "After a failed start there is no shell: mend the machine from a live medium.",
    }
    return Action(
        id="users.lock-root",
        title="Lock the root account",
        reason="Administrators act under their own names.",
        stage=Stage.TARGET,
        operations=(Call(verb="users/accounts-let-go"), Run(argv=("usermod", "--lock", "root"), where=Where.TARGET)),
        needs=(*_NEEDS, f"file:{SUDOERS}", *(f"user:{person.name}" for person in section.administrators)),
        proofs=(holds("Nobody can log in as root with a password", "users/password-is", "root", "none", early=False),),
        way_back=build.goes_with_root("Give root a password again: chroot into the target and run passwd."),
        cautions=(rescue[section.root.rescue],),
    )


def _open_shell() -> Action:
    # systemd, docs/ENVIRONMENT.md: with this variable the rescue shell does not ask a locked root for a password
    content: Content = ("[Service]\nEnvironment=SYSTEMD_SULOGIN_FORCE=1\n",)
    units = ("emergency", "rescue")
    paths = tuple(f"/etc/systemd/system/{unit}.service.d/locked-root.conf" for unit in units)
    files: tuple[Operation, ...] = tuple(WriteFile(path=InTarget(path), content=content) for path in paths)
    return Action(
        id="users.rescue",
        title="Let a failed start open a root shell at the console",
        reason="Root is locked; without this the console of a failed start lets nobody in.",
        stage=Stage.TARGET,
        operations=files,
        needs=("base",),
        gives=tuple(f"file:{path}" for path in paths),
        proofs=tuple(file_is(path, content) for path in paths),
        way_back=build.goes_with_root(
            "Remove the two files.", Run(argv=("rm", "-f", *(InTarget(path) for path in paths)))
        ),
        cautions=("Whoever stands at the console when a start fails is root, without a password.",),
    )


def _chroot(*argv: str) -> str:
    return shlex.join(("chroot", TARGET, *argv))
