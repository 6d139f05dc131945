"""Package families: typed values, one for each concern of a step; a stranger's with every built-in step, unbent."""

from __future__ import annotations

import ast
import os
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import saltmarsh_sedge

from bedplate.changes import Cost
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.model import Diff
from bedplate.faults import Fault, Rejected
from bedplate.hookspecs import Extension
from bedplate.rendering import audit, checklist, script
from bedplate_steps.base.family import PackageChanges, PackageFamily
from bedplate_steps.bootloader.family import GrubFiles, KernelEntries
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.families import FAMILIES
from bedplate_steps.locale.family import ConsoleKeymap, LocaleFiles
from bedplate_steps.network.family import OwnName
from bedplate_steps.users.family import BaseGroups, SshServer
from comparing import Edit, compared, planned, said
from test_extensions import ROOT, adding, compiled

SEDGE = saltmarsh_sedge.bedplate_extensions()
WISHED = (
    ('"apt"', '"sedge"'),
    ('release = "bookworm"\n', ""),
    ('"main", "non-free-firmware"', '"core"'),
    ('hardware_clock = "local"', 'hardware_clock = "local"\nsync = "chrony"\nservers = ["time.saltmarsh.example"]'),
    ('"dialout"', '"gauges"'),
    ('keymap = "uk"', 'keymap = "uk"\nlocales = ["nl_NL.UTF-8"]'),
    ("[[users.people]]", "[users]\nssh_server = true\n\n[[users.people]]"),
)
"""kelp-02 with the stranger's family: a service, a group, a locale and a setting of the initramfs, whose names are its
own."""


def lacking(kind: type, *changes: tuple[str, str]) -> list[Fault]:
    """What is said of kelp-02 with a family that brings all but one concern."""
    registry = adding(*(one for one in SEDGE if not isinstance(one.value, kind)))
    with pytest.raises(Rejected) as caught:
        compiled(registry, *WISHED, *changes)
    return [fault for fault in caught.value.faults if not fault.warning]


@pytest.mark.parametrize(
    ("kind", "section"),
    [
        (ZoneName, "clock"),
        (Chrony, "clock"),
        (LocaleFiles, "locale"),
        (ConsoleKeymap, "locale"),
        (OwnName, "network"),
        (BaseGroups, "users"),
        (SshServer, "users"),
        (Initramfs, "bootloader"),
    ],
)
def test_a_concern_that_the_family_says_nothing_of_is_a_fault(kind: type, section: str) -> None:
    [fault] = lacking(kind)
    assert (fault.code, fault.path[0]) == ("family-lacks-concern", section)
    assert f"family sedge brings no {kind.__name__}" in fault.message
    assert (
        fault.allowed == "a family that does: apt, pacman or dnf"
        and f"{kind.__module__}.{kind.__name__}" in fault.notes[0]
    )


@pytest.mark.parametrize(("loader", "kind"), [("grub", GrubFiles), ("systemd-boot", KernelEntries)])
def test_a_loader_asks_for_its_own_concern(loader: str, kind: type) -> None:
    [fault] = lacking(kind, ("[network]", f'[bootloader]\nloader = "{loader}"\n\n[network]'))
    assert (fault.code, fault.path, fault.found) == ("family-lacks-concern", ("bootloader", "loader"), f'"{loader}"')


def test_every_concern_is_asked_for() -> None:
    """What the stranger brings is all that the built-in families bring."""
    assert {type(record) for record in FAMILIES["apt"]} == {type(one.value) for one in SEDGE}


def test_all_concerns_that_are_lacking_are_told_at_once() -> None:
    registry = adding(*(one for one in SEDGE if isinstance(one.value, PackageFamily)))
    with pytest.raises(Rejected) as caught:
        compiled(registry, *WISHED)
    said = [fault.message for fault in caught.value.faults if fault.code == "family-lacks-concern"]
    assert len(said) == 9  # each but KernelEntries, which GRUB does not ask for


SIGNS = {
    "clock.sync": ("tide-clock.service", "/etc/sedge/chrony.conf"),
    "users.person-ana": ("gauges",),
    "users.ssh-server": ("sedge-ssh.service",),
    "locale.locales": ("nl_NL.UTF-8",),
    "locale.language": ("/etc/sedge/language",),
    "locale.keymap": ("/etc/sedge/console",),
    "bootloader.initramfs-settings": ("/etc/dracut.conf.d/sedge.conf",),
    "bootloader.settings": ("/etc/sedge/grub",),
    "base.packages": ("sedge-get",),
}


@pytest.mark.parametrize("rendering", [script, checklist, audit])
def test_a_strangers_family_with_all_built_in_steps(rendering: Any) -> None:
    graph = compiled(adding(*SEDGE), *WISHED)
    actions = {node.action.id: node.action for node in graph.nodes}
    text = rendering.render(graph)
    for name, words in SIGNS.items():
        for word in words:
            assert word in str(actions[name]) and word in text, word
    assert "sedge-get" in graph.tools and "keepers" in str(actions["users.person-warden"])


@pytest.mark.parametrize("spoilt", ["", "service", "group", "locale", "initramfs"])
def test_the_audit_proves_a_strangers_family(spoilt: str, tmp_path: Path) -> None:
    """On a made-up machine: files below a folder that stands for /etc and /home, systemctl and locale put in place."""
    if os.getuid() != 0:
        pytest.skip("needs root, for mounts of its own")
    etc, bin_ = tmp_path / "etc", tmp_path / "bin"
    wrong = "" if spoilt == "group" else "ana"
    files = {
        etc / "passwd": "ana:x:1001:1001:Ana Reed:/home/ana:/bin/bash\n",
        etc / "group": f"gauges:x:20:{wrong}\n",
        etc / "locale.gen": "en_GB.UTF-8 UTF-8\nnl_NL.UTF-8 UTF-8\n",
        etc / "dracut.conf.d/sedge.conf": f'hostonly="{"yes" if spoilt == "initramfs" else "no"}"\n',
        bin_ / "systemctl": f"#!/bin/sh\necho {'disabled' if spoilt == 'service' else 'enabled'}\n",
        bin_ / "locale": f"#!/bin/sh\necho en_GB.utf8\n{'' if spoilt == 'locale' else 'echo nl_NL.utf8'}\n",
        tmp_path / "audit.sh": audit.render(compiled(adding(*SEDGE), *WISHED)),
    }
    for path, text in files.items():
        path.parent.mkdir(exist_ok=True, parents=True)
        path.write_text(text)
        path.chmod(0o755 if path.parent == bin_ else 0o644)
    home = tmp_path / "home/ana"
    home.mkdir(parents=True)
    os.chown(home, 1001, 1001)
    places = {
        etc: "/etc",
        tmp_path / "home": "/home",
        **{bin_ / one: f"/usr/bin/{one}" for one in ("systemctl", "locale")},
    }
    mounts = [f"mount --bind {path} {place}" for path, place in places.items()]
    text = "\n".join(["set -e", *mounts, f"exec sh {tmp_path}/audit.sh"])
    ran = subprocess.run(["unshare", "--mount", "sh", "-c", text], capture_output=True, text=True, check=False)
    lines = ran.stdout.splitlines()
    for what, says in {
        "service": "The service tide-clock.service is enabled",
        "group": "ana has the planned number, home, shell and groups",
        "locale": "The locale nl_NL.UTF-8 is on the machine",
        "initramfs": "/etc/dracut.conf.d/sedge.conf is as planned",
    }.items():
        [line] = [line for line in lines if says in line]
        assert line.startswith("DOES NOT" if what == spoilt else "holds"), ran.stdout


@pytest.mark.parametrize(("family", "machine"), [("apt", "kelp-02"), ("dnf", "limpet-01"), ("pacman", "barnacle-05")])
def test_under_another_name_a_family_does_the_same(family: str, machine: str) -> None:
    known = adding(*(Extension(point="base.family", name="reed", value=one) for one in FAMILIES[family]))
    text = (ROOT / "specs" / f"{machine}.toml").read_text(encoding="utf-8")
    named = text.replace(f'family = "{family}"', 'family = "reed"')
    assert named != text
    actions = [[node.action for node in planned(one, known=known).graph.nodes] for one in (text, named)]
    assert actions[0] == actions[1]


# --- packages on an installed machine --------------------------------------------------------------------------------

FEWER: Edit = ('"less", "rsync"', '"less"')


def difference(*left_out: type) -> Diff:
    """From kelp-02 without rsync to kelp-02, both of the stranger's family."""
    known = adding(*(one for one in SEDGE if not isinstance(one.value, left_out)))
    return compared([*WISHED, FEWER], WISHED, known)


def test_a_family_that_does_not_say_how_packages_come_is_asked() -> None:
    diff = difference(PackageChanges)
    assert said(diff) == [("package rsync is added", Cost.ASK.value)]
    assert "The package family sedge does not say how packages come and go" in diff.changes[0].change.why


def test_a_familys_own_tool_changes_packages() -> None:
    diff = difference()
    assert said(diff) == [("package rsync is added", Cost.IN_PLACE.value)]
    work = change_graph(diff)
    assert "sedge-get install rsync" in checklist.render(work)
    assert "\n    in_target sedge-get install " in script.render(work)


# --- nobody else decides by a family's name -------------------------------------------------------------------------

SOURCES = sorted(path for top in ("compiler/bedplate", "plugins/bedplate_steps") for path in (ROOT / top).rglob("*.py"))
OUTSIDE = [path for path in SOURCES if "families" not in path.relative_to(ROOT).parts]


def decisions(tree: ast.Module) -> Iterator[str]:
    """Where a text that is a family's name stands by itself, and where a family's name is compared or looked up."""
    for node in ast.walk(tree):
        asked: list[ast.expr] = []
        match node:
            case ast.Constant(value=str(text)) if text in FAMILIES:
                yield f"{node.lineno}: {text!r}"
            case ast.Compare():
                asked = [node.left, *node.comparators]
            case ast.Match():
                asked = [node.subject]
            case ast.Subscript():
                asked = [node.slice]
            case ast.Call(func=ast.Attribute(attr="get" | "startswith" | "endswith" | "index" | "count")):
                asked = [node.func.value, *node.args]  # type: ignore[attr-defined]
        for one in asked:
            if re.search(r"[Ff]amily\)?\.name$", ast.unparse(one)):
                yield f"{node.lineno}: {ast.unparse(node)}"  # type: ignore[attr-defined]


@pytest.mark.parametrize("path", OUTSIDE, ids=lambda path: str(path.relative_to(ROOT)))
def test_nobody_outside_the_families_decides_by_a_familys_name(path: Path) -> None:
    assert list(decisions(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    "line",
    [
        'family.name == "apt"',
        "self.plan.family.name != word",
        'base.family in ("apt", "dnf")',
        'match side.family:\n    case "dnf": pass',
        "match family.name:\n    case word: pass",
        'PATHS = {"apt": 1}',
        "PATHS[family.name]",
        "PATHS.get(context.fact(Family).name)",
        'family.name.startswith("p")',
    ],
)
def test_a_decision_by_name_is_seen(line: str) -> None:
    assert list(decisions(ast.parse(line)))


def test_a_message_may_name_the_family() -> None:
    line = 'say(f"the {family.name} family lacks it", family.name, names["new"], before.family == after.family)'
    assert list(decisions(ast.parse(line))) == []


def test_no_shared_shell_function_tells_families_apart() -> None:
    told = [
        f"{path.name}: {line}"
        for top in ("compiler", "plugins")
        for path in (ROOT / top).rglob("*.sh")
        for line in path.read_text(encoding="utf-8").splitlines()
        if re.search(rf"^\s*({'|'.join(FAMILIES)})\)|= ({'|'.join(FAMILIES)}) ", line)
    ]
    assert told == []
