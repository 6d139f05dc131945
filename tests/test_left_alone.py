"""What an installation leaves as the distribution has it, and what it turns off for good reason: all example machines.

systemd's defaults for the journal and /tmp, the kernel's relatime (mount(8)), GRUB's own default since 2.06
(GRUB manual, GRUB_DISABLE_OS_PROBER): nobody asked for anything else.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bedplate.actions import InTarget, Link, Run, WriteFile
from bedplate.cli import commands
from bedplate.compiling import pipeline
from bedplate.loading.registry import load

SPECS = Path(__file__).resolve().parent.parent / "specs"
MACHINES = ("barnacle-05", "kelp-02", "limpet-01", "tern-04")


def written(name: str) -> dict[str, str]:
    """Every file and link the installation makes in the target, and every unit it enables, by path or name."""
    path = str(SPECS / f"{name}.toml")
    checked = pipeline.check_spec(commands.load_document(path), load(), commands.load_document)
    found: dict[str, str] = {}
    for node in pipeline.plan(checked, f"{name}.toml").nodes:
        for operation in node.action.operations:
            if isinstance(operation, WriteFile) and isinstance(operation.path, InTarget):
                found[operation.path.path] = "".join(part for part in operation.content if isinstance(part, str))
            if isinstance(operation, Link) and isinstance(operation.path, InTarget):
                found[operation.path.path] = operation.to
            if isinstance(operation, Run) and "enable" in operation.argv:
                found.update({str(word): "enabled" for word in operation.argv if str(word).endswith(".mount")})
    return found


@pytest.fixture(params=MACHINES, scope="module")
def files(request: pytest.FixtureRequest) -> dict[str, str]:
    return written(request.param)


def test_journal_and_tmp_are_left_alone(files: dict[str, str]) -> None:
    assert [path for path in files if re.search(r"journald|tmp\.mount|/tmpfiles\.d/|/var/log/journal", path)] == []
    rows = [line.split() for line in files["/etc/fstab"].splitlines() if line and not line.startswith("#")]
    assert [row for row in rows if row[2] == "tmpfs" or row[1].startswith("/tmp")] == []


def test_access_times_are_the_kernel_s_business(files: dict[str, str]) -> None:
    assert re.findall(r"\b(?:noatime|nodiratime|relatime|strictatime|lazytime)\b", files["/etc/fstab"]) == []


def test_nobody_probes_for_other_systems_at_every_update(files: dict[str, str]) -> None:
    settings = [text for path, text in files.items() if path.startswith("/etc/default/grub")]
    assert settings, "every example machine has GRUB"
    assert [line for text in settings for line in text.splitlines() if "OS_PROBER" in line] == [
        "GRUB_DISABLE_OS_PROBER=true"
    ]
