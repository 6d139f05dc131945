"""A change carried out in a real root folder, compared with the same folder made as the new spec says at once.

No machine is started: the base archive is unpacked, what OLD writes into a target is done in it by the script, then the
change, with the account tools, locale-gen, setupcon and systemctl of that system. What needs its kernel, its disk or
running services is left to `test_change.py`.
"""

import hashlib
import subprocess
import tomllib
from collections.abc import Iterable
from pathlib import Path
from string import Template

import pytest
from attrs import evolve

from bedplate.actions import Action
from bedplate.changes import Actions, amend
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.compare import compare
from bedplate.comparing.model import Planned
from bedplate.compiling.pipeline import check_spec, plan
from bedplate.install_graph import ChangeGraph
from bedplate.linking.link import Owned, link
from bedplate.loading.registry import Registry, load
from bedplate.reading.document import read
from bedplate.rendering import script
from bedplate.spec import Machine
from library import LIBRARY

from .install import CASES

pytestmark = [pytest.mark.bench, pytest.mark.long]

SPECS = Path(__file__).parents[2] / "specs"
KEY = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIJ8YH0bKXuD4oOJVAJ4fTmXQnUD6f0mOjk8cQ5lUGdEd"
PLAIN = (
    (
        "[users.root]",
        '[[users.people]]\nname = "cleo"\nuid = 1600\npassword = "none"\n'
        f'authorized_keys = ["{KEY} cleo"]\n\n[users.root]',
    ),
    ('full_name = "Station warden"', 'full_name = "Station warden"\npassword = "$y$j9T$abcdefgh$' + "a" * 43 + '"'),
    ('full_name = "Ana Reed"', 'full_name = "Ana Reed"\npassword = "$y$j9T$abcdefgh$' + "b" * 43 + '"'),
)
"""OLD asks for no secret, and has somebody who can go."""
EDITS = (
    ('zone = "Europe/Amsterdam"', 'zone = "Europe/Berlin"'),
    ('keymap = "uk"', 'keymap = "de"\nlocales = ["de_DE.UTF-8"]'),
    ('domain = "saltmarsh.example"', 'domain = "saltmarsh.example"\nhost_name = "tide-desk"'),
    ('names = ["barnacle-05.saltmarsh.example", "barnacle-05"]', 'names = ["barnacle-05"]'),
    ('groups = ["dialout"]', f'groups = ["video"]\nauthorized_keys = ["{KEY} ana"]'),
    ('name = "cleo"\nuid = 1600', 'name = "ben"\nuid = 1601'),
    ("[users.root]", '[[users.groups]]\nname = "tides"\ngid = 2000\n\n[users.root]'),
)
IDS = ("clock.zone", "locale.", "network.host-name", "network.hosts", "network.link-", "users.")
LEFT = ("network.first-start", "locale.live-keymap")
OWN = (
    "var/lib/bedplate/aside",
    "var/log",
    "var/cache",
    "tmp",
    "run",
    "home/cleo",
    "etc/passwd-",
    "etc/group-",
    "etc/shadow-",
    "etc/gshadow-",
    "etc/subuid",
    "etc/subgid",
    "usr/lib/locale/locale-archive",
    "dev",
    "proc",
    "sys",
)
"""Not compared: logs, caches, copies and subordinate numbers that account tools keep, the home that stays by design,
and the archive of locales, whose order is that of their making (its list is compared instead)."""


TABLES = ("etc/passwd", "etc/group", "etc/shadow", "etc/gshadow")
"""Compared row by row: their order is that in which the accounts were made."""


def edited(text: str, edits: Iterable[tuple[str, str]]) -> str:
    for was, now in edits:
        assert text.count(was) == 1, was
        text = text.replace(was, now)
    return text


def planned(text: str, registry: Registry) -> Planned:
    file = str(SPECS / "bench.toml")

    def reader(path: str) -> bytes:
        return text.encode() if path == file else Path(path).read_bytes()

    checked = check_spec(read(file, reader), registry, lambda path: read(path, reader))
    return Planned(checked=checked, graph=plan(checked, "bench.toml"))


def case() -> str:
    survey = tomllib.loads((SPECS / "kelp-02.survey.toml").read_text())
    [disk] = [disk for disk in survey["disks"] if disk["serial"] == "SM-NVME-0217"]
    parts = {f"part{part['number']}": part["uuid"] for part in disk["partitions"]}
    text = Template((CASES / "kelp-02.toml").read_text()).substitute(
        parts,
        serial="SM-NVME-0217",
        mac="00:00:5e:00:53:17",
        suite="bookworm",
        archive="/mnt/base.tar",
        archive_sha256="0" * 64,
    )
    return text.replace('role = "system"', 'role = "system"\nshrink_to = "364228MiB"')


def chosen(actions: Actions) -> dict[str, Action]:
    return {name: action for name, action in actions.items() if name.startswith(IDS) and name not in LEFT}


def rendered(actions: Iterable[Action]) -> str:
    """A change script of these actions that asks for no disk."""
    every = tuple(actions)
    given = {token for action in every for token in action.gives}
    kept = [evolve(one, needs=tuple(token for token in one.needs if token in given)) for one in every]
    nodes, tools = link([Owned(action=one, section=one.id.split(".")[0], origin="bench") for one in kept])
    return script.render(
        ChangeGraph(
            spec_file="bench",
            machine=Machine(name="kelp-02"),
            survey=None,
            nodes=nodes,
            tools=tools,
            library=LIBRARY,
            old_spec_file="old",
        )
    )


def run(root: Path, text: str, *options: str) -> str:
    """The script in the root folder, as if that were the running machine."""
    (root / "tmp/change.sh").write_text(text)
    inside = 'mount -t proc proc /proc && mount -t tmpfs tmpfs /run && exec sh /tmp/change.sh "$@"'
    ran = subprocess.run(
        ["unshare", "--mount", "--pid", "--fork", "--uts", "chroot", str(root), "sh", "-c", inside, "sh", *options],
        input="kelp-02\n",
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout[-6000:] + ran.stderr[-2000:]
    return ran.stdout


def tree(root: Path) -> dict[str, str]:
    """Every file with mode, owner and content, every link with where it points."""
    found: dict[str, str] = {}
    for path in sorted(root.rglob("*")):
        name = str(path.relative_to(root))
        if name.startswith(OWN):
            continue
        about = path.lstat()
        if path.is_symlink():
            found[name] = str(path.readlink())
        elif path.is_file():
            content = hashlib.sha256(_content(path, name in TABLES)).hexdigest()
            found[name] = f"{about.st_mode:o} {about.st_uid}:{about.st_gid} {content}"
    listed = ["chroot", str(root), "locale", "-a"]
    found["locale -a"] = subprocess.run(listed, capture_output=True, text=True, check=True).stdout
    return found


def _content(path: Path, table: bool) -> bytes:
    return b"".join(sorted(path.read_bytes().splitlines(keepends=True))) if table else path.read_bytes()


def difference(one: dict[str, str], other: dict[str, str]) -> dict[str, tuple[str | None, str | None]]:
    return {name: (one.get(name), other.get(name)) for name in {*one, *other} if one.get(name) != other.get(name)}


def test_a_changed_root_is_like_one_made_from_the_new_spec(archive: Path, tmp_path: Path) -> None:
    registry = load()
    old = edited(case(), PLAIN)
    before, after = planned(old, registry), planned(edited(old, EDITS), registry)
    roots = [tmp_path / "changed", tmp_path / "fresh"]
    for root in roots:
        root.mkdir()
        subprocess.run(["tar", "-C", str(root), "-xpf", str(archive)], check=True)
    changed, fresh = roots
    was, now = chosen(before.actions), chosen(after.actions)
    run(changed, rendered(amend({}, was, *was)))
    start = tree(changed)
    diff = compare(before, after, registry)
    assert not diff.blocking
    ids = {*was, *now}
    change = rendered(node.action for node in change_graph(diff).nodes if node.action.id in ids)
    run(changed, change)
    run(fresh, rendered(amend({}, now, *now)))
    # The links that say which spec counts name the change and the installation.
    differ = difference(tree(changed), tree(fresh))
    assert {name for name in differ if not name.startswith("var/lib/bedplate/spec")} == set()
    assert "already done, skipped" in run(changed, change)
    run(changed, change, "--undo")
    back = difference(start, tree(changed))
    assert [name for name in back if not name.startswith("home/ben/")] == []  # a home is never deleted untold
