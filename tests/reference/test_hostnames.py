"""Host names against RFC 952, RFC 1123 and the resolver library; the hosts file against the name service switch."""

from __future__ import annotations

import ctypes
import os
import subprocess
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bedplate.facts import Family
from bedplate.spec import Machine
from bedplate_steps.network.emit import hosts_text
from bedplate_steps.network.family import OwnName
from bedplate_steps.network.host_names import MAX_LABEL, label_trouble, name_trouble, repaired_label, repaired_name
from bedplate_steps.network.model import HostsEntry, Network
from family_records import record

RESOLVER = ctypes.CDLL("libresolv.so.2")
RESOLVER.res_hnok.argtypes = [ctypes.c_char_p]


# RFC 1123, section 2.1: letters, digits, hyphens; the first character may be a digit; 63 characters must be taken.
# RFC 952: the last character is no hyphen. RFC 1035, section 2.3.4: 63 octets in a label, 255 in a name, which leaves
# 253 characters of text. hostname(5): lower case. (RFC texts from memory.)
@pytest.mark.parametrize(
    ("label", "good"),
    [
        ("a", True),
        ("kelp-02", True),
        ("7tides", True),
        ("x" * 63, True),
        ("a--b", True),
        ("xn--mwe-sna", True),
        ("x" * 64, False),
        ("", False),
        ("-kelp", False),
        ("kelp-", False),
        ("kelp_02", False),
        ("Kelp", False),
        ("kelp 02", False),
        ("kelp.02", False),
        ("k\N{LATIN SMALL LETTER E WITH ACUTE}lp", False),
        ("kelp\n", False),
    ],
)
def test_labels(label: str, good: bool) -> None:
    assert (label_trouble(label) == "") is good


def test_whole_names() -> None:
    longest = ".".join(["x" * 63, "x" * 63, "x" * 63, "x" * 61])
    assert len(longest) == 253
    assert name_trouble(longest) == ""
    assert name_trouble("x." + longest) != ""
    assert name_trouble("kelp..example") != ""
    assert name_trouble(".example") != ""


def test_the_kernel_takes_every_label() -> None:
    # getconf(1), HOST_NAME_MAX of limits.h
    limit = subprocess.run(["getconf", "HOST_NAME_MAX"], capture_output=True, text=True, check=True).stdout
    assert int(limit) >= MAX_LABEL


@settings(max_examples=500, deadline=None)
@given(st.text(alphabet="ab1-._A\N{LATIN SMALL LETTER E WITH ACUTE} ", min_size=1, max_size=70))
@example("x" * 64)
@example("-")
@example("a.-b")
def test_the_resolver_library_agrees(name: str) -> None:
    """res_hnok of glibc takes what RFC 952 and 1123 take, and besides: capitals, underscores, a dot at the end, and
    a hyphen at an end of a label."""
    ours, theirs = name_trouble(name) == "", bool(RESOLVER.res_hnok(name.encode()))
    assert theirs or not ours
    looser = name != name.lower() or "_" in name or name.endswith(".")
    looser = looser or any(label.startswith("-") or label.endswith("-") for label in name.split("."))
    assert ours or not theirs or looser


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=80))
def test_a_hint_is_a_name_itself(text: str) -> None:
    label, name = repaired_label(text), repaired_name(text)
    assert label is None or label_trouble(label) == ""
    assert name is None or name_trouble(name) == ""


class Around:
    """A context with a machine of the apt family."""

    machine = Machine(name="kelp-02")
    survey = None

    def has(self, kind: type[object]) -> bool:
        return kind is Family

    def fact(self, kind: type[object]) -> Family:
        return Family(name="apt", architecture="amd64", packages={}, rebuild_initramfs=())

    def of_family(self, kind: type[OwnName]) -> OwnName:
        return record("apt", kind)


@pytest.mark.skipif(os.getuid() != 0, reason="needs root and its own mounts: run the tests as root")
@pytest.mark.parametrize(
    ("asked", "address", "first"),
    [
        ("localhost", "127.0.0.1", "localhost"),
        ("kelp-02", "127.0.1.1", "kelp-02.saltmarsh.example"),
        ("kelp-02.saltmarsh.example", "127.0.1.1", "kelp-02.saltmarsh.example"),
        ("tide-store", "192.0.2.10", "tide-store"),
    ],
)
def test_the_hosts_file_answers(tmp_path: Path, asked: str, address: str, first: str) -> None:
    """hosts(5) as getent(1) reads it; the full name stands first, since it is the canonical one."""
    section = Network(domain="saltmarsh.example", hosts=(HostsEntry(address="192.0.2.10", names=("tide-store",)),))
    (tmp_path / "hosts").write_text(hosts_text(section, Around()))  # type: ignore[arg-type]
    script = 'mount --bind "$1" /etc/hosts && exec getent -s files ahostsv4 "$2"'
    command = ["unshare", "-m", "sh", "-c", script, "getent", str(tmp_path / "hosts"), asked]
    words = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    assert words[:3] == [address, "STREAM", first]
