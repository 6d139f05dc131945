"""The comparison of two specs: words and classes of a table of pairs, places, exit status, the change graph.

What may be done on a running machine, and what may not, by the sources named beside the pairs; the rest is common
practice, no source.
"""

from __future__ import annotations

import json
import subprocess
from functools import cache
from pathlib import Path

import jsonschema
import pytest
from attrs import evolve

import bedplate_schema
from bedplate.actions import Call
from bedplate.changes import Cost
from bedplate.cli import main
from bedplate.comparing.change_graph import change_graph
from bedplate.comparing.compare import compare
from bedplate.comparing.drift import drift
from bedplate.comparing.model import Diff
from bedplate.comparing.report import painted, report
from bedplate.comparing.retarget import retarget
from bedplate.compiling.pipeline import render
from bedplate.faults import Rejected
from bedplate.loading.registry import Registry
from comparing import BASE, Edit, compared, edited, planned, registry, said

IN_PLACE, NEXT_BOOT, LIVE, LOST, NOTHING = (
    "in place",
    "at next boot",
    "from a live medium",
    "loses data",
    "nothing to do",
)

CLOCK, KEYMAP, GROUPS = 'hardware_clock = "local"', 'keymap = "uk"', 'groups = ["dialout"]'
SWAP = '[[disk.new]]\nname = "swap"\nsize = "8GiB"\nfilesystem = "swap"\nlabel = "kelp-swap"\n'
HOME = '[[disk.new]]\nname = "home"\nsize = "rest"\nfilesystem = "ext4"\nlabel = "kelp-home"\nmount = "/home"\n'
ALONE: list[Edit] = [(SWAP, ""), (HOME, "")]
"""Only a root partition, free space behind it."""
DATA = '[[disk.new]]\nname = "readings"\nsize = "20GiB"\nfilesystem = "ext4"\nmount = "/srv/readings"\n'
VLAN = '[[network.links]]\nname = "pump"\nvlan = { id = 42, on = "wired" }\n'
BEN = '[[users.people]]\nname = "ben"\nuid = 1500\npassword = "none"\nauthorized_keys = ["{key}"]\n'
KEY = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIJ8YH0bKXuD4oOJVAJ4fTmXQnUD6f0mOjk8cQ5lUGdEd ben"
WITH_BEN: Edit = ("", BEN.format(key=KEY))
LOADER = "[bootloader]\n"

PAIRS: dict[str, tuple[list[Edit], list[Edit], list[tuple[str, str]]]] = {
    "zone": (
        [],
        [(CLOCK, CLOCK + '\nzone = "Europe/Berlin"')],
        [("time zone Europe/Berlin replaces Europe/Amsterdam", IN_PLACE)],
    ),  # localtime(5)
    "hardware clock": (
        [],
        [(CLOCK, 'hardware_clock = "utc"')],
        [("the hardware clock shows UTC, no longer local time", IN_PLACE)],
    ),  # hwclock(8)
    "time servers": (
        [],
        [(CLOCK, CLOCK + '\nservers = ["time.saltmarsh.example"]')],
        [("time servers: time.saltmarsh.example instead of the package's own", IN_PLACE)],
    ),
    "no synchronisation": (
        [],
        [(CLOCK, CLOCK + '\nsync = "none"')],
        [
            ("package systemd-timesyncd is removed", IN_PLACE),
            ("no time synchronisation replaces time synchronisation by timesyncd", IN_PLACE),
        ],
    ),
    "keymap": ([], [(KEYMAP, 'keymap = "de"')], [("console keymap de replaces uk", NEXT_BOOT)]),  # setupcon(1)
    "font": (
        [],
        [(KEYMAP, KEYMAP + '\nfont = "Lat15-Terminus16"')],
        [("console font Lat15-Terminus16 replaces the usual one", NEXT_BOOT)],
    ),
    "language": (
        [],
        [(KEYMAP, KEYMAP + '\nlanguage = "de_DE.UTF-8"')],
        [("language de_DE.UTF-8 replaces en_GB.UTF-8", NEXT_BOOT)],
    ),  # locale.conf(5)
    "further locale": (
        [],
        [(KEYMAP, KEYMAP + '\nlocales = ["nl_NL.UTF-8"]')],
        [("locale nl_NL.UTF-8 is added", IN_PLACE)],
    ),  # locale-gen(8)
    "locale dropped": (
        [(KEYMAP, KEYMAP + '\nlocales = ["nl_NL.UTF-8"]')],
        [],
        [("locale nl_NL.UTF-8 is dropped", IN_PLACE)],
    ),
    "host name": (
        [],
        [('manager = "networkmanager"', 'manager = "networkmanager"\nhost_name = "tide-desk"')],
        [("host name tide-desk replaces kelp-02", IN_PLACE)],
    ),  # hostname(5), hosts(5)
    "domain": (
        [],
        [('manager = "networkmanager"', 'manager = "networkmanager"\ndomain = "shore.example"')],
        [("domain shore.example replaces saltmarsh.example", IN_PLACE)],
    ),
    "hosts entry": (
        [],
        [("", '[[network.hosts]]\naddress = "192.0.2.2"\nnames = ["tide-store"]\n')],
        [("hosts entry 192.0.2.2 (tide-store) is added", IN_PLACE)],
    ),
    "hosts entry gone": (
        [("", '[[network.hosts]]\naddress = "192.0.2.2"\nnames = ["tide-store"]\n')],
        [],
        [("hosts entry 192.0.2.2 (tide-store) is removed", IN_PLACE)],
    ),
    "fixed address": (
        [],
        [
            (
                'mac = "00:00:5e:00:53:17"',
                'mac = "00:00:5e:00:53:17"\ndhcp = "no"\naddresses = ["192.0.2.7/24"]\ngateways = ["192.0.2.1"]',
            )
        ],
        [
            ("link wired: DHCP no instead of both", NEXT_BOOT),
            ("link wired: fixed addresses 192.0.2.7/24 instead of none", NEXT_BOOT),
            ("link wired: gateways 192.0.2.1 instead of none", NEXT_BOOT),
        ],
    ),
    "link renamed": (
        [],
        [('name = "wired"', 'name = "cable"')],
        [("link wired is renamed to cable (the same card, 00:00:5e:00:53:17)", NEXT_BOOT)],
    ),
    "link removed": (
        [],
        [('[[network.links]]\nname = "wired"\nmac = "00:00:5e:00:53:17"\noptional = true\n', "")],
        [("link wired is removed", NEXT_BOOT)],
    ),
    "Wi-Fi name": (
        [],
        [('ssid = "Saltmarsh"', 'ssid = "Dunes"')],
        [('link station: the wireless network "Dunes" instead of the wireless network "Saltmarsh"', NEXT_BOOT)],
    ),
    "VLAN added": ([], [("", VLAN)], [("link pump is added (VLAN 42 on wired)", NEXT_BOOT)]),
    "VLAN removed": ([("", VLAN)], [], [("link pump is removed", NEXT_BOOT)]),
    "VLAN number": (
        [("", VLAN)],
        [("", VLAN.replace("42", "43"))],
        [("link pump: VLAN 43 on wired instead of VLAN 42 on wired", NEXT_BOOT)],
    ),
    "VLAN's cable renamed": (
        [("", VLAN)],
        [("", VLAN.replace("wired", "cable")), ('name = "wired"', 'name = "cable"')],
        [
            ("link wired is renamed to cable (the same card, 00:00:5e:00:53:17)", NEXT_BOOT),
            ("link pump: VLAN 42 on cable instead of VLAN 42 on wired", NEXT_BOOT),
        ],
    ),
    "IPv6 privacy": (
        [],
        [('mac = "00:00:5e:00:53:17"', 'mac = "00:00:5e:00:53:17"\nipv6_privacy = "public"')],
        [("link wired: IPv6 privacy public instead of temporary", NEXT_BOOT)],
    ),
    "Wi-Fi program": (
        [('manager = "networkmanager"', 'manager = "networkd"')],
        [('manager = "networkmanager"', 'manager = "networkd"\nwifi_daemon = "wpa_supplicant"')],
        [
            ("package wpasupplicant is added", IN_PLACE),
            ("package iwd is removed", IN_PLACE),
            ("Wi-Fi program wpa_supplicant replaces the usual one", NEXT_BOOT),
        ],
    ),
    "group joined": (
        [],
        [(GROUPS, 'groups = ["dialout", "video"]')],
        [("user ana joins group video", IN_PLACE)],
    ),  # usermod(8)
    "group left": ([], [(GROUPS, "groups = []")], [("user ana leaves group dialout", IN_PLACE)]),  # gpasswd(1)
    "group made": ([], [("", '[[users.groups]]\nname = "tides"\ngid = 2000\n')], [("group tides is made", IN_PLACE)]),
    "group removed": (
        [("", '[[users.groups]]\nname = "tides"\ngid = 2000\n')],
        [],
        [("group tides is removed", IN_PLACE)],
    ),  # groupdel(8)
    "group renumbered": (
        [("", '[[users.groups]]\nname = "tides"\ngid = 2000\n')],
        [("", '[[users.groups]]\nname = "tides"\ngid = 2001\n')],
        [("group tides has the number 2001 instead of 2000", LIVE)],
    ),
    "user added": ([], [WITH_BEN], [("user ben is added", IN_PLACE)]),
    "user removed": ([WITH_BEN], [], [("user ben is removed; /home/ben stays", IN_PLACE)]),  # userdel(8)
    "user and home removed": (
        [WITH_BEN],
        [("", '[[users.former]]\nname = "ben"\nhome = "delete"\n')],
        [("user ben is removed, and the home folder with it", LOST)],
    ),
    "user renamed": (
        [WITH_BEN],
        [("", BEN.format(key=KEY).replace('"ben"', '"bene"'))],
        [("user ben is renamed to bene (the same number, 1500)", LIVE)],
    ),  # usermod(8), CAVEATS
    "user renumbered": (
        [WITH_BEN],
        [("", BEN.format(key=KEY).replace("1500", "1501"))],
        [("user ben has the number 1501 instead of 1500", LIVE)],
    ),
    "shell": (
        [],
        [(GROUPS, GROUPS + '\nshell = "/usr/bin/zsh"')],
        [("package zsh is added", IN_PLACE), ("user ana gets the shell /usr/bin/zsh instead of /bin/bash", IN_PLACE)],
    ),
    "full name": (
        [],
        [('full_name = "Ana Reed"', 'full_name = "Ana Rush"')],
        [('user ana has the full name "Ana Rush" instead of "Ana Reed"', IN_PLACE)],
    ),
    "administrator": (
        [],
        [(GROUPS, GROUPS + "\nadministrator = true")],
        [("user ana becomes administrator", IN_PLACE)],
    ),  # sudoers(5)
    "key": (
        [],
        [(GROUPS, GROUPS + f'\nauthorized_keys = ["{KEY}"]')],
        [("user ana gets the ssh key ben", IN_PLACE)],
    ),  # authorized_keys, sshd(8)
    "rescue": (
        [],
        [("", '[users.root]\nrescue = "open-shell"\n')],
        [("a failed start opens a root shell without a password", IN_PLACE)],
    ),
    "package added": ([], [('"less", ', '"less", "vim", ')], [("package vim is added", IN_PLACE)]),
    "package removed": ([], [('"less", ', "")], [("package less is removed", IN_PLACE)]),
    "service enabled": (
        [],
        [('["ssh.service"]', '["ssh.service", "fstrim.timer"]')],
        [("service fstrim.timer is enabled", IN_PLACE)],
    ),  # systemctl(1)
    "service gone": (
        [],
        [('services = ["ssh.service"]', "services = []")],
        [("service ssh.service is no longer enabled", NEXT_BOOT)],
    ),
    "source": (
        [],
        [("mirror.example/debian", "mirror.example/other")],
        [("package source https://mirror.example/other replaces https://mirror.example/debian", IN_PLACE)],
    ),
    "release": ([], [('release = "bookworm"', 'release = "trixie"')], [("release trixie replaces bookworm", LIVE)]),
    "release, no services": (
        [('services = ["ssh.service"]', "")],
        [('services = ["ssh.service"]', ""), ('release = "bookworm"', 'release = "trixie"')],
        [("release trixie replaces bookworm", LIVE)],
    ),
    "kernel parameter": (
        [],
        [("", LOADER + 'kernel_parameters = ["quiet"]\n')],
        [("kernel parameter quiet is added", NEXT_BOOT)],
    ),
    "menu time": ([], [("", LOADER + "menu_time = 9\n")], [("the menu waits 9 s instead of 5 s", NEXT_BOOT)]),
    "menu entry": (
        [],
        [("", '[[bootloader.entries]]\nname = "factory-system"\ntitle = "Gauge logger"\n')],
        [("menu entry factory-system is described by the spec", NEXT_BOOT)],
    ),
    "loader folder": (
        [],
        [("", LOADER + 'name = "kelp"\n')],
        [("boot loader folder: kelp instead of saltmarsh", LIVE)],
    ),
    "root grows": (
        ALONE,
        [*ALONE, ('size = "40GiB"', 'size = "80GiB"')],
        [("root grows from 40 GiB to 80 GiB", IN_PLACE)],
    ),  # resize2fs(8)
    "root shrinks": (
        [*ALONE, ('size = "40GiB"', 'size = "80GiB"')],
        ALONE,
        [("root shrinks from 80 GiB to 40 GiB", LIVE)],
    ),  # resize2fs(8): not while it is mounted
    "new partition": (
        ALONE,
        [(SWAP, ""), (HOME, DATA)],
        [("partition readings is made in free space: 20 GiB, ext4, at /srv/readings", IN_PLACE)],
    ),
    "new home": (ALONE, [(SWAP, "")], [("partition home is made in free space: 80 GiB, ext4, at /home", LIVE)]),
    "partition gone": ([(SWAP, ""), (HOME, DATA)], ALONE, [("partition readings is removed", LOST)]),
    "root grows into swap": (
        [],
        [('size = "40GiB"', 'size = "50GiB"')],
        [
            ("root grows from 40 GiB to 50 GiB", IN_PLACE),
            ("swap moves on the disk", LOST),
            ("home moves on the disk", LOST),
        ],
    ),
    "file system": (
        [],
        [('size = "rest"\nfilesystem = "ext4"', 'size = "rest"\nfilesystem = "xfs"')],
        [("package xfsprogs is added", IN_PLACE), ("home gets the file system xfs instead of ext4", LOST)],
    ),
    "encryption": (
        [],
        [('label = "kelp-home"', 'label = "kelp-home"\nencrypt = true')],
        [
            ("package cryptsetup is added", IN_PLACE),
            ("package cryptsetup-initramfs is added", IN_PLACE),
            ("home is encrypted", LOST),
        ],
    ),
    "mount options": (
        [],
        [('mount = "/home"', 'mount = "/home"\noptions = ["noatime"]')],
        [("home is mounted with noatime instead of the usual options", NEXT_BOOT)],
    ),  # fstab(5)
    "swap file": (
        ALONE,
        [*ALONE, ('table = "keep"', 'table = "keep"\nswap_file = { size = "4GiB" }')],
        [("a swap file /swapfile of 4GiB is made", IN_PLACE)],
    ),  # swapon(8)
    "kept partition renamed": (
        [],
        [('name = "factory-recovery"', 'name = "rescue"')],
        [
            (
                "kept partition factory-recovery is called rescue (the same partition, "
                "7B978C71-125C-5D15-A24C-3203019C4ED3)",
                NOTHING,
            )
        ],
    ),
    "generation": (
        [],
        [('name = "kelp-02"\n', 'name = "kelp-02"\ngeneration = 2\n')],
        [("generation 2 replaces 1: installed anew on purpose", LOST)],
    ),
    "notes": ([], [("keep it.", "keep it, please.")], [("the notes are reworded", NOTHING)]),
    "reordered people": (
        [
            WITH_BEN,
            ("", f'[[users.people]]\nname = "cleo"\nuid = 1600\npassword = "none"\nauthorized_keys = ["{KEY}"]\n'),
        ],
        [
            ("", f'[[users.people]]\nname = "cleo"\nuid = 1600\npassword = "none"\nauthorized_keys = ["{KEY}"]\n'),
            WITH_BEN,
        ],
        [],
    ),
    "many at once": (
        [],
        [
            (KEYMAP, 'keymap = "de"'),
            (GROUPS, 'groups = ["dialout", "video"]'),
            (CLOCK, 'hardware_clock = "utc"\nzone = "Europe/Berlin"'),
            ("", LOADER + "menu_time = 9\n"),
        ],
        [
            ("time zone Europe/Berlin replaces Europe/Amsterdam", IN_PLACE),
            ("the hardware clock shows UTC, no longer local time", IN_PLACE),
            ("console keymap de replaces uk", NEXT_BOOT),
            ("user ana joins group video", IN_PLACE),
            ("the menu waits 9 s instead of 5 s", NEXT_BOOT),
        ],
    ),
}


@cache
def pair(name: str) -> Diff:
    """The comparison of one pair of the table."""
    old, new, _ = PAIRS[name]
    return compared(old, new)


def test_the_table_is_long() -> None:
    assert len(PAIRS) >= 40


@pytest.mark.parametrize("name", PAIRS)
def test_a_pair_is_told_in_words_with_its_class(name: str) -> None:
    assert said(pair(name)) == PAIRS[name][2]


DOABLE = [name for name, (_, _, rows) in PAIRS.items() if {cost for _, cost in rows} <= {IN_PLACE, NEXT_BOOT, NOTHING}]
EMPTY = {"notes", "kept partition renamed", "reordered people"}


@pytest.mark.parametrize("name", [name for name in DOABLE if name not in EMPTY] + ["user and home removed"])
def test_what_can_be_done_in_place_makes_a_script_that_every_shell_takes(name: str, tmp_path: Path) -> None:
    graph = change_graph(pair(name))
    assert graph.nodes
    script = tmp_path / "change.sh"
    script.write_text(render(registry().renderers["script"], graph), encoding="utf-8")
    for shell in (["shellcheck", "-s", "sh"], ["dash", "-n"], ["bash", "-n"], ["busybox", "sh", "-n"]):
        ran = subprocess.run([*shell, str(script)], capture_output=True, text=True, check=False)
        assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.parametrize("name", [name for name in PAIRS if name not in DOABLE and name != "user and home removed"])
def test_what_cannot_be_done_in_place_is_refused_with_its_reason(name: str) -> None:
    rows, diff = PAIRS[name][2], pair(name)
    with pytest.raises(Rejected) as refused:
        change_graph(diff)
    blocking = [f"{says}: {cost}, not by a change script" for says, cost in rows if cost in (LIVE, LOST)]
    assert [fault.message for fault in refused.value.faults] == blocking
    assert all(fault.notes and fault.place is not None and fault.place.line for fault in refused.value.faults)
    assert all(one.change.why for one in diff.blocking)


def test_every_loss_is_named() -> None:
    for name in PAIRS:
        for one in pair(name).changes:
            assert bool(one.change.loses) == (one.change.cost is Cost.LOSES_DATA)


def test_every_change_action_has_a_proof_and_guards_with_what_the_old_spec_proves() -> None:
    diff = pair("many at once")
    for node in change_graph(diff).nodes:
        if not node.action.changes:
            continue
        assert node.action.proofs, node.action.id
        before = retarget(diff.old.actions[node.action.id])
        tests = [check.test for check in node.action.guards]
        assert all(proof.test in tests for proof in before.proofs), node.action.id
        assert all(check.early for check in node.action.guards)


def test_a_removed_user_loses_no_home_without_being_told_to() -> None:
    text = render(registry().renderers["script"], change_graph(pair("user removed")))
    assert "verb_user_drop ben ''" in text
    assert "run userdel" not in text and "run in_target userdel" not in text, "the account would be removed twice"
    text = render(registry().renderers["script"], change_graph(pair("user and home removed")))
    assert "verb_user_drop ben /home/ben" in text


def test_what_a_person_types_is_rooted_at_the_running_system() -> None:
    text = render(registry().renderers["checklist"], change_graph(pair("many at once")))
    work_itself = text[text.index("## Stage 1") :]
    assert "/mnt/target" not in work_itself and "live medium, the commands" not in text
    assert "# kelp-02: change checklist" in text


# --- report, places, exit status -------------------------------------------------------------------------------------


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    for name in ("common.toml", "kelp-02.survey.toml"):
        (tmp_path / name).write_text((Path(__file__).parent.parent / "specs" / name).read_text())
    old, new = tmp_path / "old.toml", tmp_path / "new.toml"
    old.write_text(BASE)
    new.write_text(edited([(KEYMAP, 'keymap = "de"')]))
    return old, new


def test_exit_status_and_words_of_the_command(files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    old, new = map(str, files)
    assert main.main(["diff", old, old]) == 0
    assert "nothing changes" in capsys.readouterr().out
    assert main.main(["diff", old, new]) == 1
    out = capsys.readouterr().out
    assert "console keymap de replaces uk: at next boot" in out and "\033" not in out
    files[1].write_text("broken")
    assert main.main(["diff", old, new]) == 2
    assert main.main(["diff", old]) == 2


def test_places_name_file_and_line_of_both_values(files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    old, new = files
    line = BASE.splitlines().index(KEYMAP) + 1
    main.main(["diff", str(old), str(new), "--places"])
    out = capsys.readouterr().out
    assert f"old: {old}:{line}:" in out and f"new: {new}:{line}:" in out


@pytest.mark.parametrize("words", [["--format", "json"], ["--as", "json"]])
def test_json_after_the_published_schema(
    files: tuple[Path, Path], words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    schema = bedplate_schema.load("diff")
    jsonschema.Draft202012Validator.check_schema(schema)
    old, new = map(str, files)
    for pair, same in (((old, new), False), ((old, old), True)):
        main.main(["diff", *pair, *words])
        document = json.loads(capsys.readouterr().out)
        jsonschema.validate(document, schema)
        assert document["same"] is same
    main.main(["diff", old, new, *words])
    [change] = json.loads(capsys.readouterr().out)["changes"]
    assert change["class"] == NEXT_BOOT and change["actions"] == ["locale.keymap"]
    assert change["new"]["path"] == "locale.keymap"


def test_colour_stands_around_the_class_alone() -> None:
    diff = compared([], [(KEYMAP, 'keymap = "de"')])
    text = report(diff, paint=painted)
    assert "console keymap de replaces uk: \033[36mat next boot\033[0m" in text
    assert text.count("\033") == 2


def test_a_checklist_of_what_cannot_all_be_done_says_so() -> None:
    text = render(registry().renderers["checklist"], change_graph(pair("root grows into swap"), partly=True))
    assert "swap moves on the disk: loses data, not by a change script" in text.replace("Swap", "swap")


def test_a_partition_grows_only_over_room_where_nothing_is_left() -> None:
    """sfdisk(8): a row that is deleted takes nothing of the content with it."""
    made = {node.action.id: node.action for node in change_graph(pair("root grows")).nodes}
    grow, fill = made["disk.grow-root"], made["disk.fill-root"]
    guards = {test.verb: list(map(str, test.args)) for check in grow.guards if isinstance(test := check.test, Call)}
    [new] = [list(map(str, test.args)) for check in grow.proofs if isinstance(test := check.test, Call)]
    ends = [int(start) + int(size) for _, start, size, _ in (guards["disk/partition-is"], new)]
    assert guards["disk/place-is-blank"] == [str(ends[0]), str(ends[1] - 1)]
    verbs = [test.verb for check in fill.proofs if isinstance(test := check.test, Call)]
    assert verbs == ["partition-is-ready", "disk/filesystem-fills"]


# --- drift -----------------------------------------------------------------------------------------------------------


def test_nothing_has_drifted_from_the_survey_itself() -> None:
    one = planned(BASE)
    assert one.graph.survey is not None
    assert drift(one.graph, one.graph.survey) == ()


def test_drift_is_told_partition_by_partition() -> None:
    one = planned(BASE)
    survey = one.graph.survey
    assert survey is not None
    [disk] = [disk for disk in survey.disks if disk.serial == "SM-NVME-0217"]
    parts = [part for part in disk.partitions if part.uuid != "7B978C71-125C-5D15-A24C-3203019C4ED3"]
    parts[0] = evolve(parts[0], size=parts[0].size * 2)
    changed = evolve(disk, partitions=tuple(parts))
    firmware = evolve(survey.firmware, entries=())
    new = evolve(survey, disks=tuple(changed if item is disk else item for item in survey.disks), firmware=firmware)
    lines = drift(one.graph, new)
    assert "the partition factory-recovery is gone" in lines
    assert any(line.startswith("the partition esp grew from ") for line in lines)
    assert any(line.startswith("the boot entry ") for line in lines)


def test_drift_on_the_command_line(files: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    survey = files[0].parent / "kelp-02.survey.toml"
    newer = files[0].parent / "newer.toml"
    newer.write_text(survey.read_text().replace('serial = "SM-NVME-0217"', 'serial = "SM-NVME-9999"'))
    assert main.main(["diff", "--survey", str(survey), str(files[0])]) == 0
    assert main.main(["diff", "--survey", str(newer), str(files[0])]) == 1
    assert "the disk is not there" in capsys.readouterr().out
    assert main.main(["diff", "--survey", str(newer), *map(str, files)]) == 2


# --- a step that does not say how it is changed ----------------------------------------------------------------------


def _without_support(section: str) -> Registry:
    known = registry()
    own = known.steps[section]
    return evolve(known, steps={**known.steps, section: evolve(own, step=evolve(own.step, changes=None))})


def test_a_step_without_support_is_listed_value_by_value_and_action_by_action() -> None:
    diff = compared([], [(KEYMAP, 'keymap = "de"')], _without_support("locale"))
    assert said(diff)[0] == ('keymap: "de" replaces "uk"', "ask the step's author")
    assert {cost for _, cost in said(diff)} == {"ask the step's author"}
    assert any(says.startswith('the action "') for says, _ in said(diff))
    with pytest.raises(Rejected):
        change_graph(diff)


def test_equal_specs_are_equal_without_support_too() -> None:
    known = _without_support("users")
    one = planned(BASE, "old", known)
    assert compare(one, planned(BASE, "new", known), known).changes == ()


@pytest.mark.parametrize("beside", [[], [(CLOCK, CLOCK + '\nzone = "Europe/Berlin"')]])
def test_a_difference_that_no_step_accounts_for_is_never_nothing(beside: list[Edit]) -> None:
    base = registry().steps["base"]
    silent = evolve(base, step=evolve(base.step, changes=lambda old, new: ()))
    known = evolve(registry(), steps={**registry().steps, "base": silent})
    diff = compared([], [('"rsync"]', '"rsync", "vim"]'), *beside], known)
    assert ('the action "Install the packages" is done differently', Cost.ASK.value) in said(diff)
    assert len(said(diff)) == 1 + len(beside)
    with pytest.raises(Rejected, match="ask the step's author, not by a change script"):
        change_graph(diff)
