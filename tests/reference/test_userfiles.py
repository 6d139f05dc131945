"""Passwords, keys, names and rules against the tools and files of a Debian system."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from bedplate_steps.users.account_names import ACCOUNTS, form_trouble
from bedplate_steps.users.authorized_keys import key_faults
from bedplate_steps.users.family import BaseGroups
from bedplate_steps.users.model import FIRST_ID, LAST_ID
from bedplate_steps.users.passwords import is_hash, password_fault
from family_records import record


def output(*command: str) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()


# --- crypt(5) --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "command",
    [
        *(
            ["mkpasswd", "-m", method, "tide"]
            for method in ("yescrypt", "gost-yescrypt", "scrypt", "bcrypt", "sha512crypt", "sha256crypt")
        ),
        ["mkpasswd", "-m", "sha512crypt", "-R", "5000", "tide"],
        ["openssl", "passwd", "-6", "tide"],
        ["openssl", "passwd", "-5", "-salt", "mud", "tide"],
    ],
    ids=" ".join,
)
def test_hashes_that_tools_make_are_taken_and_parts_of_them_are_not(command: list[str]) -> None:
    made = output(*command)
    assert is_hash(made)
    # crypt(5): the last part has a fixed length, and no hash holds one of these characters
    for wrong in (made[:-1], made + "x", made[1:], made + "\n", made.replace("$", ":"), made + ":", "!" + made):
        assert not is_hash(wrong)
        assert password_fault(wrong, ("ask",)) is not None


@pytest.mark.parametrize(
    "command",
    [
        ["mkpasswd", "-m", "md5crypt", "tide"],
        ["mkpasswd", "-m", "descrypt", "tide"],
        ["mkpasswd", "-m", "sunmd5", "tide"],
        ["mkpasswd", "-m", "bsdicrypt", "tide"],
        ["mkpasswd", "-m", "nt", "tide"],
        ["openssl", "passwd", "-1", "tide"],
    ],
    ids=" ".join,
)
def test_weak_hashes_are_named(command: list[str]) -> None:
    fault = password_fault(output(*command), ("ask",))
    assert fault is not None
    assert fault.code == "weak-hash"


# --- ssh keys --------------------------------------------------------------------------------------------------------

KINDS = [("ed25519", "256"), ("rsa", "2048"), ("ecdsa", "256"), ("ecdsa", "384"), ("ecdsa", "521")]


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    folder = tmp_path_factory.mktemp("keys")
    for kind, bits in [*KINDS, ("rsa", "1024")]:
        file = folder / f"{kind}-{bits}"
        output("ssh-keygen", "-q", "-t", kind, "-b", bits, "-N", "", "-C", "ana at the quay", "-f", str(file))
    return [(folder / f"{kind}-{bits}.pub").read_text().strip() for kind, bits in [*KINDS, ("rsa", "1024")]]


def test_keys_that_ssh_keygen_makes_are_taken(keys: list[str]) -> None:
    for line in keys[:-1]:
        assert list(key_faults(line)) == []
        # sshd(8): options before the type, blanks inside quotes
        assert list(key_faults(f'from="192.0.2.*",command="echo \\"hi there\\"" {line}')) == []
    [short] = key_faults(keys[-1])
    assert (short.code, short.warning, short.found) == ("weak-key", True, "1024 bits")


def test_ssh_keygen_agrees_about_damaged_keys(keys: list[str], tmp_path: Path) -> None:
    for line in keys:
        kind, data, _ = line.split(" ", 2)
        damaged = [data[:-8], data[:20] + data[24:], data + data[:8], data[4:], data[:-4] + "####", ""]
        other = "ssh-rsa" if kind != "ssh-rsa" else "ssh-ed25519"
        for wrong in (*(f"{kind} {part}" for part in damaged), f"{other} {data}"):
            (tmp_path / "key").write_text(wrong + "\n")
            theirs = subprocess.run(["ssh-keygen", "-l", "-f", tmp_path / "key"], capture_output=True, check=False)
            assert theirs.returncode != 0, wrong
            assert any(not fault.warning for fault in key_faults(wrong)), wrong


def test_a_private_key_is_refused_and_not_shown(tmp_path: Path) -> None:
    output("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(tmp_path / "key"))
    text = (tmp_path / "key").read_text()
    [fault] = key_faults(text.replace("\n", " "))
    assert fault.code == "private-key"
    assert text.splitlines()[1][:20] not in repr(fault)


# --- names and numbers -----------------------------------------------------------------------------------------------


def test_accounts_and_groups_of_debian_are_known() -> None:
    # Debian package base-passwd
    folder = Path("/usr/share/base-passwd")
    groups = {line.split(":")[0] for line in (folder / "group.master").read_text().split()}
    accounts = {line.split(":")[0] for line in (folder / "passwd.master").read_text().splitlines() if line}
    assert len(groups) > 30
    assert groups <= record("apt", BaseGroups).present
    assert accounts <= ACCOUNTS


def test_numbers_are_those_of_regular_users() -> None:
    # login.defs(5): UID_MIN, UID_MAX, GID_MIN, GID_MAX
    text = Path("/etc/login.defs").read_text()
    found = dict(re.findall(r"^\s*([UG]ID_M(?:IN|AX))\s+(\d+)", text, re.MULTILINE))
    assert found == {
        "UID_MIN": str(FIRST_ID),
        "GID_MIN": str(FIRST_ID),
        "UID_MAX": str(LAST_ID),
        "GID_MAX": str(LAST_ID),
    }


# systemd, "User/Group Name Syntax" (systemd.io/USER_NAMES), common core: ^[a-z][a-z0-9-]{0,30}$
@pytest.mark.parametrize(
    ("name", "good"),
    [
        ("a", True),
        ("ana", True),
        ("ana-2", True),
        ("a" * 31, True),
        ("a-", True),
        ("", False),
        ("a" * 32, False),
        ("Ana", False),
        ("2ana", False),
        ("-ana", False),
        ("ana.b", False),
        ("ana_b", False),
        ("1000", False),
        ("ana$", False),
        ("an a", False),
        ("\N{LATIN SMALL LETTER A WITH ACUTE}na", False),
    ],
)
def test_names_that_work_everywhere(name: str, good: bool) -> None:
    assert (form_trouble(name) == "") is good
