"""Right before the machine's name is typed stands, line by line, what this run formats, deletes, or writes outside the
new system. The rule is the project's own (no source).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from attrs import evolve

from accidents.staging import MACHINES, actions, planned
from bedplate.actions import Does, Run, Stage, Touch
from bedplate.install_graph import InstallGraph
from bedplate.rendering import checklist, script
from rendering import SHELLS, Sandbox, action, graph, writing

ASKED = "Type the name of the machine (kelp-02)"
FORMATS = Touch(does=Does.FORMATS, what="the new partition reed (1 GiB)")
WRITES = Touch(does=Does.WRITES, what="EFI/reed on 'the $(touch BROKEN) partition'")
HEAD = "What this run formats, deletes, or writes outside the new system:\n"
NOTHING = "This run formats nothing, deletes nothing, and writes nothing outside the new system.\n"


def work() -> InstallGraph:
    return graph(
        writing("demo.one", "/one", "1", touches=(FORMATS,)),
        writing("demo.two", "/two", "2"),
        writing("demo.three", "/three", "3", touches=(WRITES,)),
        action(
            "demo.look",
            Run(argv=("true",)),
            stage=Stage.FIRST_BOOT,
            touches=(evolve(FORMATS, what="later"),),
            expected="x",
        ),
    )


@pytest.mark.parametrize("shell", SHELLS)
def test_the_list_is_of_what_is_still_to_be_done(tmp_path: Path, shell: str) -> None:
    sandbox = Sandbox(tmp_path)
    text = script.render(work())
    ran = sandbox.run(text, shell, answers="no\n")
    above = ran.stdout.split(ASKED)[0]
    assert above.endswith(f"{HEAD}  - formats {FORMATS.what}\n  - writes {WRITES.what}\n\n"), ran.stdout
    (sandbox.target / "one").write_text("1")
    (sandbox.target / "one").chmod(0o644)
    above = sandbox.run(text, shell, answers="no\n").stdout.split(ASKED)[0]
    assert above.endswith(f"{HEAD}  - writes {WRITES.what}\n\n")
    assert sandbox.run(text, shell).returncode == 0
    above = sandbox.run(text, shell, answers="no\n").stdout.split(ASKED)[0]
    assert above.endswith(f"{NOTHING}\n")
    assert not (tmp_path / "work/BROKEN").exists()


def test_show_and_the_checklist_say_it_too(tmp_path: Path) -> None:
    shown = Sandbox(tmp_path).run(script.render(work()), options=["--show"]).stdout
    assert f"\n[1/4] Do demo.one\n  - formats {FORMATS.what}\n" in shown
    assert f"This formats {FORMATS.what}." in checklist.render(work())


@pytest.mark.parametrize(
    "make",
    [
        lambda: action("demo.x", touches=("EFI/reed",)),
        lambda: action("demo.x", touches=[FORMATS]),
        lambda: evolve(FORMATS, does="formats"),
        lambda: evolve(FORMATS, what=""),
        lambda: evolve(FORMATS, what="a\nb"),
    ],
)
def test_a_touch_of_another_shape_is_refused(make: Callable[[], object]) -> None:
    assert action("demo.x", touches=(FORMATS,)).touches == (FORMATS,)
    with pytest.raises((TypeError, ValueError), match=r"touches must be|does must be|what must be"):
        make()


def listed(machine: str) -> dict[str, list[str]]:
    return {
        one.id: [f"{touch.does.value} {touch.what}" for touch in one.touches]
        for one in actions(planned(machine)).values()
        if one.touches
    }


def test_the_example_machines_name_every_place_outside() -> None:
    """What is outside: the table, the kept EFI system partition, firmware variables, the clock, the second stick."""
    kelp = listed("kelp-02")
    assert list(kelp) == [
        "disk.copies",
        "disk.append-partitions",
        "disk.format-swap",
        "disk.format-root",
        "disk.format-home",
        "disk.finish-partitions",
        "disk.mount",
        "clock.hardware",
        "bootloader.check-packages",
        "bootloader.install",
        "bootloader.boot-entry",
    ]
    assert kelp["bootloader.install"] == ["writes EFI/saltmarsh on the kept EFI system partition esp"]
    assert kelp["disk.format-root"] == ["formats the new partition root (40 GiB): ext4 file system"]
    limpet = listed("limpet-01")
    assert limpet["disk.make-table"][0].startswith("deletes EVERYTHING on the disk Saltmarsh SSD 250G")
    assert "bootloader.install" not in limpet, "the EFI system partition is the new system's own"


@pytest.mark.parametrize("machine", MACHINES)
def test_every_action_that_writes_below_file_systems_or_into_the_firmware_is_listed(machine: str) -> None:
    dangerous = {
        "disk/make-table",
        "disk/append-partitions",
        "disk/make-filesystem",
        "disk/make-container",
        "disk/finish-partitions",
        "bootloader/make-boot-entry",
        "clock/hardware-clock-set",
        "disk/make-copies",
    }
    for one in actions(planned(machine)).values():
        if {getattr(item, "verb", "") for item in one.operations} & dangerous:
            assert one.touches, one.id
