"""The users step: faults, actions, and its runtime verbs with the real account tools in a changed root folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import jsonschema
import pytest
from attrs import evolve, field, frozen

import bedplate_schema
from bedplate.actions import Action, Call, InTarget, Run, SecretRef, Where, WriteFile
from bedplate.cli.main import main
from bedplate.facts import Family, People
from bedplate.faults import Fault, dotted
from bedplate.reading.structuring import structured
from bedplate.spec import Machine
from bedplate.survey import Survey
from bedplate_steps.users import bedplate_steps
from bedplate_steps.users.draft import draft
from bedplate_steps.users.emit import SUDOERS
from bedplate_steps.users.model import Users
from family_records import record
from library import LIBRARY

T = TypeVar("T")
[STEP] = bedplate_steps()
LOCKED = '[root]\npassword = "locked"\nrescue = "live-medium"\n'
OPEN = '[root]\npassword = "ask"\n'
ANA = '[[people]]\nname = "ana"\nadministrator = true\n'
BEN = '[[people]]\nname = "ben"\n'
# from `mkpasswd -m sha-512 -S saltmarsh tide` (whois 5.5)
HASH = "$6$saltmarsh$IOhw6n1g6aaQSBJBScchebipi6gtx/tPlZdWNELyxI3VQ1ci/4TNXXpqpAZbuRm9JIBtMMnQI0jtVlhaW81vW0"


@frozen(kw_only=True)
class Around:
    """A context with one package family."""

    machine: Machine = field(factory=lambda: Machine(name="kelp-02"))
    survey: Survey | None = None
    family: str = "apt"

    def has(self, kind: type[object]) -> bool:
        return kind is Family

    def of_family(self, kind: type[T]) -> T:
        return record(self.family, kind)

    def fact(self, kind: type[T]) -> T:
        family = Family(
            name=self.family,
            architecture="amd64",
            packages={"sudo": ("sudo",), "ssh-server": ("openssh-server",)},
            rebuild_initramfs=(),
        )
        assert isinstance(family, kind)
        return family


def section(text: str) -> Users:
    data: dict[str, Any] = tomllib.loads(text)
    jsonschema.Draft202012Validator(bedplate_schema.load("users")).validate(data)
    return structured(data, Users)


def faults(text: str, around: Around | None = None) -> list[Fault]:
    assert STEP.validate is not None
    return list(STEP.validate(section(text), around or Around()))


def actions(text: str, around: Around | None = None) -> dict[str, Action]:
    assert [fault for fault in faults(text, around) if not fault.warning] == []
    return {action.id: action for action in STEP.emit(section(text), around or Around())}


# --- faults ----------------------------------------------------------------------------------------------------------

BAD = [
    ('[root]\npassword = "locked"\n' + ANA, "locked-root-without-rescue", "root.rescue"),
    (OPEN + 'rescue = "open-shell"', "needless-rescue", "root.rescue"),
    ('[root]\npassword = "letmein"', "plain-password", "root.password"),
    ('[root]\npassword = "none"', "plain-password", "root.password"),
    (LOCKED + BEN, "no-administrator", "people"),
    (LOCKED, "no-administrator", "people"),
    (OPEN + ANA + 'password = "none"\nauthorized_keys = []', "no-way-in", "people[0].password"),
    (OPEN + BEN + 'password = "tide and mud"', "plain-password", "people[0].password"),
    (OPEN + BEN + 'password = "$1$salt$qJH7.N4xYta3aEG/dfqo/0"', "weak-hash", "people[0].password"),
    (OPEN + BEN + 'password = "rl0uE0rlTfw6g"', "weak-hash", "people[0].password"),
    (OPEN + BEN + f'password = "{HASH[:-1]}"', "malformed-hash", "people[0].password"),
    (OPEN + BEN + 'password = "file:secrets/ben"', "bad-password-file", "people[0].password"),
    (OPEN + BEN.replace("ben", "Ben"), "bad-user-name", "people[0].name"),
    (OPEN + BEN.replace("ben", "2ben"), "bad-user-name", "people[0].name"),
    (OPEN + BEN.replace("ben", "b.en"), "bad-user-name", "people[0].name"),
    (OPEN + BEN.replace("ben", "b" * 32), "bad-user-name", "people[0].name"),
    (OPEN + BEN.replace("ben", "-r"), "bad-user-name", "people[0].name"),
    (OPEN + BEN.replace("ben", "root") + 'home = "/home/r"', "reserved-user-name", "people[0].name"),
    (OPEN + BEN.replace("ben", "www-data"), "reserved-user-name", "people[0].name"),
    (OPEN + BEN.replace("ben", "audio"), "reserved-user-name", "people[0].name"),
    (OPEN + BEN + BEN, "duplicate-user", "people[1].name"),
    (OPEN + '[[groups]]\nname = "ben"\n' + BEN, "duplicate-group", "groups[0].name"),
    (OPEN + ANA + "uid = 1000\n" + BEN + "uid = 1000", "duplicate-id", "people[1].uid"),
    (OPEN + '[[groups]]\nname = "tides"\ngid = 1000\n' + BEN + "uid = 1000", "duplicate-id", "groups[0].gid"),
    (OPEN + ANA + BEN + 'home = "/home/ana"', "duplicate-home", "people[1].home"),
    (OPEN + BEN + 'home = "/etc/ben"', "bad-home", "people[0].home"),
    (OPEN + BEN + 'home = "/home/../ben"', "bad-home", "people[0].home"),
    (OPEN + BEN + 'home = "/home"', "bad-home", "people[0].home"),
    (OPEN + BEN + 'shell = "/bin/bush"', "unknown-shell", "people[0].shell"),
    (OPEN + BEN + 'groups = ["vidoe"]', "unknown-group", "people[0].groups[0]"),
    (OPEN + BEN + 'groups = ["wheel"]', "administrator-by-group", "people[0].groups[0]"),
    (OPEN + BEN + 'groups = ["video", "video"]', "duplicate-group", "people[0].groups[1]"),
]


@pytest.mark.parametrize(("text", "code", "path"), BAD, ids=[f"{row[1]}-{index}" for index, row in enumerate(BAD)])
def test_one_mistake_is_one_fault_at_its_place(text: str, code: str, path: str) -> None:
    found = [fault for fault in faults(text) if not fault.warning]
    if code == "no-way-in":  # an administrator without a password is a mistake of its own
        assert {fault.code for fault in found} == {"no-way-in", "administrator-without-password"}
        return
    assert [(fault.code, dotted(fault.path)) for fault in found] == [(code, path)]
    assert found[0].message and not found[0].message.endswith(".")


def test_hints_name_the_nearest() -> None:
    [group] = faults(OPEN + BEN + 'groups = ["vidoe"]')
    [name] = faults(OPEN + BEN.replace("ben", "Ben Mud"))
    [shell] = faults(OPEN + BEN + 'shell = "/usr/bin/zshh"')
    assert (group.nearest, name.nearest, shell.nearest) == ("video", "ben-mud", "/usr/bin/zsh")


def test_a_password_that_stands_in_the_spec_is_never_shown() -> None:
    [fault] = faults(OPEN + BEN + 'password = "tide and mud"')
    assert "tide" not in repr(fault)


def test_a_group_the_spec_makes_is_known() -> None:
    found = actions(OPEN + '[[groups]]\nname = "tides"\n' + BEN + 'groups = ["tides", "video"]')
    assert "group:tides" in found["users.person-ben"].needs


@pytest.mark.parametrize("hostile", ["a\nb", "$(reboot)", "a:b", "a,b", "a\x00b"])
def test_a_full_name_is_refused_or_stays_text(hostile: str) -> None:
    data = {"root": {"password": "ask"}, "people": [{"name": "ben", "full_name": hostile}]}
    if not jsonschema.Draft202012Validator(bedplate_schema.load("users")).is_valid(data):
        return
    action = {action.id: action for action in STEP.emit(structured(data, Users), Around())}["users.person-ben"]
    [call] = action.operations
    assert isinstance(call, Call)
    assert call.args[-1] == hostile
    assert f"--comment '{hostile}' ben" in call.by_hand[-1]


# --- actions ---------------------------------------------------------------------------------------------------------


def test_passwords_go_through_standard_input_only() -> None:
    found = actions(OPEN + ANA + BEN + f'password = "{HASH}"')
    [let_go, ask] = found["users.password-ana"].operations
    [_, known] = found["users.password-ben"].operations
    assert let_go == Call(verb="users/accounts-let-go")
    assert isinstance(ask, Run) and ask.by_hand[-1] == "chroot /mnt/target passwd ana"
    assert evolve(ask, by_hand=()) == Run(
        argv=("chpasswd",), where=Where.TARGET, stdin=("ana:", SecretRef("password-ana"), "\n")
    )
    assert isinstance(known, Run) and HASH not in " ".join(map(str, known.by_hand))
    given = Run(argv=("chpasswd", "-e"), where=Where.TARGET, stdin=("ben:", HASH, "\n"))
    assert evolve(known, by_hand=()) == given
    [secret] = found["users.password-ana"].secrets
    # NIST SP 800-63B, 5.1.1.2: at least 8 characters
    assert (secret.name, secret.min_length) == ("password-ana", 8)
    assert found["users.password-ben"].secrets == ()


def test_a_password_may_come_from_a_file_on_the_medium() -> None:
    [secret] = actions(OPEN + BEN + 'password = "file:/media/secrets/ben"')["users.password-ben"].secrets
    assert secret.file == "/media/secrets/ben"


def test_the_administrators_file_counts_for_sudo() -> None:
    # sudoers(5): files of the folder whose name holds a dot or ends in ~ are passed over
    assert set(SUDOERS.rsplit("/", 1)[1]) & set(".~") == set()
    action = actions(LOCKED + ANA)["users.administrators"]
    [call] = action.operations
    assert isinstance(call, Call)
    assert (call.verb, call.stdin) == ("users/sudoers-put", ("ana ALL=(ALL:ALL) ALL\n",))
    assert "package:sudo" in action.needs


@pytest.mark.parametrize(("family", "group"), [("apt", "sudo"), ("pacman", "wheel"), ("dnf", "wheel")])
def test_administrators_join_the_family_s_group(family: str, group: str) -> None:
    [call] = actions(LOCKED + ANA, Around(family=family))["users.person-ana"].operations
    assert isinstance(call, Call)
    assert call.args == ("ana", "1000", "/home/ana", "/bin/bash", group, "")


def test_numbers_are_given_in_order_around_those_asked_for() -> None:
    text = OPEN + '[[groups]]\nname = "tides"\ngid = 1001\n' + ANA + BEN + "uid = 1000\n" + BEN.replace("ben", "eva")
    assert section(text).numbers() == {"ana": 1002, "ben": 1000, "eva": 1003}


def test_root_is_locked_only_after_an_administrator_can_act() -> None:
    found = actions(LOCKED + ANA)
    assert list(found)[-1] == "users.lock-root"
    assert {f"file:{SUDOERS}", "user:ana"} <= set(found["users.lock-root"].needs)


def test_an_open_rescue_shell_is_said_aloud() -> None:
    action = actions(LOCKED.replace("live-medium", "open-shell") + ANA)["users.rescue"]
    paths = {operation.path for operation in action.operations if isinstance(operation, WriteFile)}
    assert paths == {
        InTarget(f"/etc/systemd/system/{unit}.service.d/locked-root.conf") for unit in ("emergency", "rescue")
    }
    assert "without a password" in action.cautions[0]


def test_every_change_has_a_proof_and_a_way_back() -> None:
    text = LOCKED.replace("live-medium", "open-shell") + '[[groups]]\nname = "tides"\n' + ANA + BEN
    for action in actions("ssh_server = true\n" + text).values():
        assert action.proofs
        assert action.way_back.note
        assert action.way_back.operations or action.id == "users.lock-root"


def test_the_fact_about_people() -> None:
    people = STEP.facts[People](section(LOCKED + ANA + BEN + 'home = "/srv/ben"'), Around())
    assert isinstance(people, People)
    assert people.root == "locked"
    assert [(person.name, person.home, person.administrator) for person in people.persons] == [
        ("ana", "/home/ana", True),
        ("ben", "/srv/ben", False),
    ]


def test_the_draft_passes_its_own_check() -> None:
    data = tomllib.loads(draft(Survey()))["users"]
    jsonschema.Draft202012Validator(bedplate_schema.load("users")).validate(data)
    assert STEP.validate is not None
    assert list(STEP.validate(structured(data, Users), Around())) == []


# --- verbs, with the account tools of this machine in a changed root folder ------------------------------------------

SHELLS = [["dash"], ["bash", "--posix"], ["busybox", "sh"]]
CHANGED_ROOT = os.getuid() == 0 and subprocess.run(["unshare", "-m", "true"], check=False).returncode == 0
needs_root = pytest.mark.skipif(not CHANGED_ROOT, reason="needs root and its own mounts: run the tests as root")
PRELUDE = """WORK=$1 TARGET=$1/root
shift
mount --bind /usr "$TARGET/usr" && mount --bind /dev "$TARGET/dev" || exit 9
in_target() { chroot "$TARGET" /usr/bin/env -i PATH=/usr/sbin:/usr/bin LANG=C HOME=/root "$@"; }
"""
Verbs = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(params=SHELLS, ids=lambda shell: str(shell[0]))
def verbs(request: pytest.FixtureRequest, tmp_path: Path) -> Verbs:
    """Runs one verb in a small root folder that persists between calls."""
    root = tmp_path / "root"
    for name in ("usr", "dev", "home", "root", "tmp", "var/lib", "var/mail", "run", "etc/sudoers.d", "etc/skel"):
        (root / name).mkdir(parents=True)
    for name in ("bin", "sbin", "lib", "lib64"):
        (root / name).symlink_to(f"usr/{name}")
    for name in ("pam.d", "security"):
        shutil.copytree(f"/etc/{name}", root / "etc" / name)
    for name in ("login.defs", "ld.so.cache", "pam.conf", "nsswitch.conf"):
        shutil.copy(f"/etc/{name}", root / "etc" / name)
    (root / "etc/passwd").write_text("root:x:0:0:root:/root:/bin/bash\nmud:x:1500:1500::/home/mud:/bin/sh\n")
    (root / "etc/shadow").write_text("root::19000:0:99999:7:::\nmud:!:19000:0:99999:7:::\n")
    (root / "etc/group").write_text("root:x:0:\nsudo:x:27:\nvideo:x:44:\nmud:x:1500:\n")
    (root / "etc/gshadow").write_text("root:*::\nsudo:*::\nvideo:*::\nmud:!::\n")
    (root / "etc/shells").write_text("/bin/sh\n/bin/bash\n")
    (root / "etc/sudoers").write_text("root ALL=(ALL:ALL) ALL\n@includedir /etc/sudoers.d\n")
    (root / "etc/sudoers").chmod(0o440)

    def run(verb: str, *args: str, stdin: str = "", before: str = "") -> subprocess.CompletedProcess[str]:
        ours = verb in LIBRARY.entries
        last = f'{LIBRARY.call(verb)} "$@"' if ours else f'in_target {verb} "$@"'
        text = PRELUDE + before + LIBRARY.text([verb] if ours else []) + last
        command = ["unshare", "-m", *request.param, "-c", text, "verb", str(tmp_path), *args]
        return subprocess.run(command, capture_output=True, text=True, input=stdin, check=False)

    return run


PERSON = ("ana", "1000", "/home/ana", "/bin/bash", "video,sudo", "Ana, né O'Mud $(id)".replace(",", ""))


@needs_root
def test_an_account_and_a_group_that_were_there_before_are_not_taken_back(verbs: Verbs, tmp_path: Path) -> None:
    """By name alone nobody can tell whose they are: what was made is noted, and only that goes."""
    before = (tmp_path / "root/etc/passwd").read_bytes(), (tmp_path / "root/etc/group").read_bytes()
    assert verbs("users/user-present", "mud", "1500", "/home/mud", "/bin/sh", "", "").returncode == 0
    assert verbs("users/group-present", "video", "44").returncode == 0
    for verb, name in (("users/user-take-back", "mud"), ("users/group-take-back", "video")):
        assert verbs(verb, name).returncode == 0
    assert ((tmp_path / "root/etc/passwd").read_bytes(), (tmp_path / "root/etc/group").read_bytes()) == before
    assert (
        verbs("users/user-present", *PERSON).returncode == 0
        and verbs("users/group-present", "tides", "").returncode == 0
    )
    for verb, name in (("users/user-take-back", "ana"), ("users/group-take-back", "tides")) * 2:
        assert verbs(verb, name).returncode == 0
    assert ((tmp_path / "root/etc/passwd").read_bytes(), (tmp_path / "root/etc/group").read_bytes()) == before


@needs_root
def test_an_account_is_made_as_planned_and_a_rerun_changes_nothing(verbs: Verbs, tmp_path: Path) -> None:
    (tmp_path / "root/etc/skel/.profile").write_text("from skel\n")
    assert "no account ana" in verbs("users/user-is", *PERSON).stderr
    assert verbs("users/user-present", *PERSON).returncode == 0
    assert verbs("users/user-is", *PERSON).returncode == 0
    home = tmp_path / "root/home/ana"
    assert [(one.stat().st_uid, one.stat().st_gid) for one in (home, home / ".profile")] == [(1000, 1000)] * 2
    assert home.stat().st_mode & 0o777 == 0o700  # HOME_MODE of login.defs(5) as Debian ships it
    files = [tmp_path / "root/etc" / name for name in ("passwd", "group", "shadow", "gshadow")]
    before = [file.read_bytes() for file in files]
    assert verbs("users/user-present", *PERSON).returncode == 0
    assert [file.read_bytes() for file in files] == before
    row = next(line for line in files[0].read_text().splitlines() if line.startswith("ana:"))
    assert row == "ana:x:1000:1000:Ana né O'Mud $(id):/home/ana:/bin/bash"


@needs_root
def test_an_account_that_is_there_is_brought_into_line(verbs: Verbs) -> None:
    plan = ("mud", "1500", "/home/mud", "/bin/bash", "video", "Mud")
    assert "home and shell 1500:1500:/home/mud:/bin/sh, not" in verbs("users/user-is", *plan).stderr
    assert verbs("users/user-present", *plan).returncode == 0
    assert verbs("users/user-is", *plan).returncode == 0
    assert verbs("users/user-present", "mud", "1501", *plan[2:]).returncode == 1
    taken = verbs("users/user-present", "reed", "1500", "/home/reed", "/bin/bash", "", "")
    assert (taken.returncode, "belongs to the account mud" in taken.stderr) == (1, True)


@needs_root
def test_an_account_without_further_groups(verbs: Verbs) -> None:
    plan = ("ana", "1000", "/home/ana", "/bin/bash", "", "")
    assert verbs("users/user-present", *plan).returncode == 0
    assert verbs("users/user-present", *plan).returncode == 0
    assert verbs("users/user-is", *plan).returncode == 0


@needs_root
def test_a_home_of_somebody_else_is_no_home(verbs: Verbs, tmp_path: Path) -> None:
    """useradd(8), --create-home: the folder belongs to the account."""
    assert verbs("users/user-present", *PERSON).returncode == 0
    os.chown(tmp_path / "root/home/ana", 1500, 1500)
    said = verbs("users/user-is", *PERSON)
    assert (said.returncode, "belongs to number 1500, not to ana (1000)" in said.stderr) == (1, True)


@needs_root
def test_a_file_in_a_home_is_written_as_its_owner(verbs: Verbs, tmp_path: Path) -> None:
    """A link in a home leads root nowhere (setpriv(1), path_resolution(7))."""
    assert verbs("users/user-present", *PERSON).returncode == 0
    home, roots = tmp_path / "root/home/ana", tmp_path / "root/root/.ssh"
    roots.mkdir(parents=True, mode=0o700)
    (roots / "authorized_keys").write_text("root's\n")
    path = home / ".ssh/authorized_keys"

    def written() -> subprocess.CompletedProcess[str]:
        return verbs("write-file", str(path), "600", "1000:1000", stdin="ana's\n", before="OWN_IDS=0:0\n")

    assert written().returncode == 0
    assert path.read_text() == "ana's\n"
    assert [item.stat().st_uid for item in (path, path.parent)] == [1000, 1000]
    assert [item.name for item in path.parent.iterdir()] == ["authorized_keys"]
    shutil.rmtree(path.parent)
    for trap in ((home / ".ssh", roots), (home / ".ssh", tmp_path / "root/etc")):
        trap[0].symlink_to(f"/{trap[1].relative_to(tmp_path / 'root')}")
        before = sorted((item.name, item.stat().st_uid) for item in trap[1].iterdir())
        done = written()
        assert (done.returncode, "as its owner, 1000:1000" in done.stderr) == (1, True), done.stderr
        assert sorted((item.name, item.stat().st_uid) for item in trap[1].iterdir()) == before
        trap[0].unlink()
    assert (roots / "authorized_keys").read_text() == "root's\n"
    key = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIJ8YH0bKXuD4oOJVAJ4fTmXQnUD6f0mOjk8cQ5lUGdEd"
    action = actions(OPEN + ANA + f'authorized_keys = ["{key}"]\n')["users.keys-ana"]
    for work in (action.operations[0], *action.way_back.operations):
        assert isinstance(work, Run) and work.argv[:3] == ("setpriv", "--reuid", "1000") and work.where is Where.TARGET


@needs_root
def test_a_file_system_mounted_at_a_home_is_handed_over(verbs: Verbs, tmp_path: Path) -> None:
    skel = tmp_path / "root/etc/skel"
    (skel / ".config").mkdir()
    for name in (".config/settings", ".profile"):
        (skel / name).write_text("from skel\n")
    (tmp_path / "root/home/ana").mkdir()

    def handed(inside: str = "") -> list[str]:
        home = '"$TARGET/home/ana"'
        listed = f"trap 'cd {home} && find . -printf \"%P %U:%G %m\\n\"' EXIT\n"
        done = verbs(
            "users/home-present",
            "1000",
            "/home/ana",
            before=f"mount -t tmpfs none {home} && cd {home} || exit 9\n{inside}\n{listed}",
        )
        assert done.returncode == 0, done.stderr
        return sorted(done.stdout.splitlines())

    whole = [" 1000:1000 700", ".config 1000:1000 755", ".config/settings 1000:1000 644", ".profile 1000:1000 644"]
    assert handed() == whole
    assert handed("mkdir .config; echo half >.config/settings") == whole  # cut off before the end, it goes on
    # coreutils 9.2 to 9.4, NEWS: cp -n ends with a failure where it leaves a file as it is.
    (tmp_path / "cp").write_text('#!/bin/sh\n/cp-real "$@" || exit 1\ncase $1 in *n*) exit 1 ;; esac\n')
    (tmp_path / "cp").chmod(0o755)
    shutil.copy("/bin/cp", tmp_path / "root/cp-real")
    strict = f'mount --bind {tmp_path}/cp "$TARGET/usr/bin/cp"'
    assert handed(f"{strict}\nmkdir .config; echo half >.config/settings") == whole
    assert handed("chown 1500:1500 .") == [" 1500:1500 1777"]  # what belongs to somebody is nobody else's


@needs_root
def test_an_account_whose_making_was_cut_off_is_made_anew(verbs: Verbs, tmp_path: Path) -> None:
    """Files, their order, `+` and `.lock`: useradd(8) of shadow 4.13, as a cut of a machine's power left them."""
    etc = tmp_path / "root/etc"
    for name in ("subuid", "subgid"):
        (etc / name).write_text("")
    assert verbs("users/user-present", *PERSON).returncode == 0
    names = ("passwd", "shadow", "group", "gshadow", "subuid", "subgid")
    made = {name: (etc / name).read_bytes() for name in names}
    assert made["subgid"] == b"ana:100000:65536\n"
    modes = {name: (etc / name).stat().st_mode for name in names}
    (etc / "subgid").write_text("")
    (etc / "gshadow").write_text("root:*::\nsudo:*::\nvideo:*::\nmud:!::\n")
    (etc / "subgid+").write_bytes(made["subgid"])
    for name in ("subgid.lock", "subuid.lock", "passwd.lock"):
        (etc / name).write_text("1")  # a process that is there, as after a new start any number may be
    (tmp_path / "root/var/lib/bedplate/making-ana").write_text("with its group\n")
    assert "was being made" in verbs("users/user-is", *PERSON).stderr
    assert verbs("users/user-present", *PERSON).returncode == 0
    assert verbs("users/user-is", *PERSON).returncode == 0
    assert {name: (etc / name).read_bytes() for name in names} == made
    assert {name: (etc / name).stat().st_mode for name in names} == modes
    assert sorted(etc.glob("[!.]*.lock")) + sorted(etc.glob("*+")) == []


@needs_root
def test_a_group_that_was_there_before_outlives_a_broken_start(verbs: Verbs, tmp_path: Path) -> None:
    """group(5): a group is known by name and number, and its row holds its members."""
    group = tmp_path / "root/etc/group"
    before = group.read_text() + "ana:x:50:mud\n"
    group.write_text(before)
    for _ in range(2):
        assert "has number 50, not 1000" in verbs("users/user-present", *PERSON).stderr
        assert group.read_text() == before
    same = before.replace("ana:x:50", "ana:x:1000")
    group.write_text(same)
    missing = (*PERSON[:4], "seaweed", PERSON[5])
    for _ in range(2):
        assert verbs("users/user-present", *missing).returncode == 1
        assert group.read_text() == same


@needs_root
def test_a_lock_that_a_power_cut_left_is_taken_away(verbs: Verbs, tmp_path: Path) -> None:
    """A lock holds a process's number, and counts while that lives (shadow 4.13, do_lock_file in lib/commonio.c).

    After a new start another process may have the number, here the first one. The tool itself says so.
    """
    assert verbs("chpasswd", stdin="mud:correct horse\n").returncode == 0
    assert verbs("users/password-is", "mud", "set").returncode == 0
    (tmp_path / "root/etc/shadow.lock").write_text("1")
    assert "was cut off" in verbs("users/password-is", "mud", "set").stderr
    (tmp_path / "root/etc/passwd.lock").write_text("1")
    refused = verbs("usermod", "--comment", "Mud", "mud")
    assert refused.returncode != 0 and "lock" in refused.stderr
    assert verbs("users/accounts-let-go").returncode == 0
    assert verbs("users/password-is", "mud", "set").returncode == 0
    assert verbs("usermod", "--comment", "Mud", "mud").returncode == 0


@needs_root
def test_a_missing_group_stops_the_work(verbs: Verbs) -> None:
    assert verbs("users/user-present", "ana", "1000", "/home/ana", "/bin/bash", "seaweed", "").returncode == 1


@needs_root
def test_groups(verbs: Verbs) -> None:
    assert verbs("users/group-present", "tides", "2000").returncode == 0
    assert verbs("users/group-is", "tides", "2000").returncode == 0
    assert verbs("users/group-present", "tides", "2001").returncode == 1
    assert verbs("users/group-present", "video", "").returncode == 0
    assert verbs("users/group-present", "reeds", "").returncode == 0
    assert verbs("users/group-is", "reeds", "").returncode == 0
    assert verbs("users/group-is", "rushes", "").returncode == 1


@needs_root
def test_passwords(verbs: Verbs, tmp_path: Path) -> None:
    verbs("users/user-present", *PERSON)
    assert verbs("users/password-is", "ana", "set").returncode == 1
    assert verbs("users/password-is", "ana", "none").returncode == 0
    assert verbs("chpasswd", stdin="ana:tide:and'mud\n").returncode == 0
    assert verbs("users/password-is", "ana", "set").returncode == 0
    assert verbs("chpasswd", "-e", stdin=f"ana:{HASH}\n").returncode == 0
    assert f"\nana:{HASH}:" in (tmp_path / "root/etc/shadow").read_text()
    assert verbs("chpasswd", "-e", stdin="ana:*\n").returncode == 0
    assert verbs("users/password-is", "ana", "none").returncode == 0
    # an empty field lets everybody in: that is no locked account
    assert verbs("users/password-is", "root", "none").returncode == 1
    assert verbs("usermod", "--lock", "root").returncode == 0
    assert verbs("users/password-is", "root", "none").returncode == 0


@needs_root
def test_administrator_rules_are_checked_before_they_count(verbs: Verbs, tmp_path: Path) -> None:
    verbs("users/user-present", *PERSON)
    assert verbs("users/sudo-allows", "ana").returncode == 1
    assert verbs("users/sudoers-put", SUDOERS, stdin="ana ALL=(ALL:ALL ALL\n").returncode == 1
    assert list((tmp_path / "root/etc/sudoers.d").iterdir()) == []
    assert verbs("users/sudoers-put", SUDOERS, stdin="ana ALL=(ALL:ALL) ALL\n").returncode == 0
    [file] = (tmp_path / "root/etc/sudoers.d").iterdir()
    assert (file.name, file.stat().st_mode & 0o7777, file.stat().st_uid) == ("administrators", 0o440, 0)
    allowed = verbs("users/sudo-allows", "ana")
    assert (allowed.returncode, allowed.stderr) == (0, "")
    assert verbs("users/sudo-allows", "mud").returncode == 1
    # sudoers(5): a file with a dot in its name is passed over; the proof tells
    file.rename(file.with_name("a.administrators"))
    assert verbs("users/sudo-allows", "ana").returncode == 1


@needs_root
def test_login_shells(verbs: Verbs, tmp_path: Path) -> None:
    assert verbs("users/login-shell", "/bin/bash").returncode == 0
    assert "not installed" in verbs("users/login-shell", "/usr/bin/seashell").stderr
    (tmp_path / "root/etc/shells").write_text("/bin/sh\n")
    assert "does not stand in" in verbs("users/login-shell", "/bin/bash").stderr


@pytest.mark.parametrize("rendering", ["checklist", "page", "json", "audit", "script"])
def test_a_hash_stands_in_the_script_only_and_there_for_its_owner_alone(rendering: str, tmp_path: Path) -> None:
    """crypt(5): who has the hash can try passwords until one fits."""
    specs = Path(__file__).resolve().parent.parent / "specs"
    for file in specs.glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    spec = tmp_path / "limpet-01.toml"
    spec.write_text(spec.read_text() + f'\n[[users.people]]\nname = "hana"\npassword = "{HASH}"\n')
    out = tmp_path / f"out.{rendering}"
    assert main(["compile", str(spec), "--as", rendering, "--out", str(out)]) == 0
    assert (HASH in out.read_text()) is (rendering == "script")
    assert HASH.split("$")[3] not in out.read_text() or rendering == "script"
    assert rendering != "script" or out.stat().st_mode & 0o077 == 0
