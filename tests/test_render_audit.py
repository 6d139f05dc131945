"""What only a running machine can show stands in the audit and in the checklist, and never in the install script."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from bedplate.actions import Stage
from bedplate.conditions import holds, outputs, succeeds
from bedplate.facts import Layout
from bedplate.rendering import audit, checklist, script
from rendering import SHELLS, action, graph

RUNS = succeeds("tide.service runs", "test", "-d", "/", early=False)
SAYS = outputs("The running system calls itself kelp-02", "kelp-02", "echo", "kelp-02", early=False)


def test_audits_are_for_the_audit_alone() -> None:
    whole = graph(
        action("demo.boot", stage=Stage.FIRST_BOOT, audits=(holds("Nothing failed", "bootloader/units-are-well"),))
    )
    assert "verb_units_are_well\n" in audit.render(whole)
    assert "Nothing failed" in checklist.render(whole)
    assert "units_are_well" not in script.render(whole) and "Nothing failed" not in script.render(whole)


def test_an_action_that_holds_for_one_run_still_has_its_audits() -> None:
    whole = graph(action("demo.mount", transient=True, proofs=(SAYS,), audits=(RUNS,)))
    text = audit.render(whole)
    assert RUNS.says in text and SAYS.says not in text


@pytest.mark.parametrize("shell", sorted(SHELLS))
def test_a_proof_that_holds_says_what_it_found(shell: str, tmp_path: Path) -> None:
    found = succeeds("The clock is right", "echo", "nobody could be asked", early=False)
    path = tmp_path / "audit.sh"
    path.write_text(
        audit.render(graph(action("demo.clock", audits=(found, RUNS)))).replace(
            "\nNEEDED_UID=0\n", f"\nNEEDED_UID={os.getuid()}\n"
        )
    )
    done = subprocess.run([*SHELLS[shell], path], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == [
        "holds    [1/1] Do demo.clock: The clock is right",
        "        found:     nobody could be asked",
        "holds    [1/1] Do demo.clock: tide.service runs",
        "What can be proved on a running machine holds. These remain for a person, where they are not done yet:",
        f"  - {audit.COLD_START}",
        "2 proofs hold, 0 do not",
    ]


def test_on_another_machine_the_audit_says_so_first_and_last(tmp_path: Path) -> None:
    layout = Layout(
        disk_words="Tidewater 500",
        serial="NO-SUCH-SERIAL",
        size_bytes=4096,
        sector_size=512,
        table_id="I",
        whole_disk=True,
        first_lba=34,
        last_lba=99,
        partitions=(),
    )
    path = tmp_path / "audit.sh"
    path.write_text(
        audit.render(graph(action("demo.clock", audits=(RUNS,)), facts={Layout: layout})).replace(
            "\nNEEDED_UID=0\n", f"\nNEEDED_UID={os.getuid()}\n"
        )
    )
    said = subprocess.run(["sh", path], capture_output=True, text=True, check=False).stdout.splitlines()
    assert said[0] == said[-1] == "The disk of kelp-02 was not found: look first whether this is kelp-02 at all."
