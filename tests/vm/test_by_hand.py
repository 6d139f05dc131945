"""What the checklist says is typed, on a machine like the one the script works on: the same system comes out.

The commands of the checklist are the bare base commands; the time of the script over theirs, both in one run on the
same host, is what its checks, proofs and log cost.
"""

import os
import re
import statistics
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from bedplate.actions import Stage
from bedplate.cli import commands
from bedplate.compiling import pipeline
from bedplate.facts import Layout, People
from bedplate.install_graph import InstallGraph
from bedplate.loading import registry
from bedplate.rendering import manual_checks, manual_commands, shell_helpers
from bedplate.rendering.audit import CARRIED_OUT
from bedplate.rendering.quoting import quote

from .console import Console, ConsoleError, Result
from .disks import STICK_SERIAL
from .factory import SERIAL, FactoryMachine
from .install import PASSWORDS, Technician, begin, carry, known_of
from .machine import SHARE_MOUNT
from .media import LiveMedium
from .rack import Rack
from .sources import PackageSource
from .test_install import start_other_system

pytestmark = [pytest.mark.bench, pytest.mark.long]


NOT_HERE = re.compile(r"YYYY-MM-DD|\bckbcomp\b|^debootstrap |/FILE$")
"""What is typed only if the clock is wrong, the keymap has no name here, the medium has no mmdebstrap, or a package has
written into a foreign folder."""
SECOND_STICK = f"/dev/disk/by-id/usb-QEMU_QEMU_HARDDISK_{STICK_SERIAL}-0:0-part1"

SOURCES = "/mnt/target/etc/apt/sources.list"
EDITED = {
    "cat /etc/apt/sources.list /etc/apt/sources.list.d/*": "true",
    f"vi {SOURCES}": f"rm -f {SOURCES}.d/* && "
    f"find /etc/apt/sources.list* -type f -exec grep -h '^deb ' {{}} + | grep -v cdrom: > {SOURCES}",
}
"""What is read and edited on the screen, as commands that do the same."""

GO_ON = r"Do you want to continue\? \[Y/n\]"


def typed(graph: InstallGraph, looks: bool = False) -> Iterator[str]:
    """Every command of the live medium's part, in order; what is said to the person in between is left out.

    Under the locale that the script works under: else the ratio of their times would tell of locales. `looks`: with
    each look that the checklist names before and after an action, too.
    """
    yield f"DISK=/dev/disk/by-id/virtio-{SERIAL}"
    yield "export DEBIAN_FRONTEND=noninteractive"
    yield from shell_helpers.definitions(shell_helpers.HELPERS, graph.fact(Layout))
    for node in graph.nodes:
        if node.action.stage not in (Stage.LIVE, Stage.TARGET):
            continue
        yield f"echo '[{node.number}]'"
        if looks:
            yield from looked([line for check in node.action.guards for line in manual_checks.asking(check.test)])
        for operation in node.action.operations:
            lines = manual_commands.commands(operation, {})
            shown = (line for line in lines if not line.startswith("# ") and not NOT_HERE.search(line))
            yield from (EDITED.get(line, line.replace("SECOND-STICK", SECOND_STICK)) for line in shown)
        if looks:
            yield from looked([line for check in node.action.proofs for line in manual_checks.asking(check.test)])


def looked(lines: Sequence[str]) -> Iterator[str]:
    """A look prints a line if what is looked at holds; those that print none are told."""
    for before, line in zip(("", *lines), lines, strict=False):
        if line.startswith("# ") or before.startswith("# "):
            continue
        yield f"seen=$(\n{line}\n) || :"
        yield f'[ -n "$seen" ] || echo NOT SO: {quote(line)}'


def planned(spec: Path) -> InstallGraph:
    checked = pipeline.check_spec(commands.load_document(str(spec)), registry.load(), commands.load_document)
    return pipeline.plan(checked, spec.name)


def type_all(console: Console, graph: InstallGraph) -> Result:
    """Run the commands, say yes to apt-get(8), and type each person's password where passwd(1) asks for it."""
    people = graph.fact(People)
    assert people is not None
    console.start(f"sh -e {SHARE_MOUNT}/typed.sh")
    for person in people.persons:
        for asked in ("New password: ", "Retype new password: "):
            while seen := console.expect_any([asked, GO_ON, r"command-ended:\d+:"], 3600):
                if seen == 2:
                    raise ConsoleError(f"it ended before the password of {person.name}")
                console.answer("y")
            console.answer(PASSWORDS[person.name])
    return console.finish(1800)


def assert_all_but_stamps_hold(person: Technician) -> None:
    """Start by the firmware's own entry and run the audit: every proof holds that does not ask for the script."""
    console = person.start_new_system("ana")
    person.become_root(console)
    lines = person.audit(console).splitlines()
    missed = [line for line in lines if line.startswith("DOES NOT ")]
    assert lines[-1].endswith(f" proofs hold, {len(missed)} do not")
    assert [line for line in missed if not line.endswith(CARRIED_OUT)] == [], lines
    console.answer("systemctl reboot")
    person.machine.wait_off()


@pytest.mark.parametrize("case", ["kelp-02", "barnacle-05"])
def test_a_machine_installed_by_the_checklist_is_the_same(
    rack: Rack, factory: FactoryMachine, medium: LiveMedium, archive: Path, package_source: PackageSource, case: str
) -> None:
    """From a local archive, and over the network. The archive is quick enough to look at everything as well.

    `BEDPLATE_ROUNDS` says how often each way is gone, by turns, for ratios that one disturbance does not spoil.
    """
    ways = ("script", "by hand", "by hand with all looks") if case == "kelp-02" else ("script", "by hand")
    took: list[dict[str, tuple[float, float]]] = []
    for turn in range(int(os.environ.get("BEDPLATE_ROUNDS", "1"))):
        took.append({})
        for way in ways:
            machine = rack.factory(f"{way.replace(' ', '-')}-{turn}", factory)
            person = Technician(machine=machine, case=case)
            console = begin(machine, medium)
            known = known_of(person.survey(console), SERIAL)
            carried = carry(archive, machine) if case == "kelp-02" else {}
            person.write_spec({**known, "suite": package_source.suite, **carried})
            person.compile()
            took[turn][way] = timed(person, console, way)
            machine.power_off(console)
            if way != "script" and turn == 0:
                assert_all_but_stamps_hold(person)
                start_other_system(machine)
    for number, what in enumerate(("seconds", "processor seconds")):
        for way in ways[1:]:
            ratios = [one["script"][number] / one[way][number] for one in took]
            pairs = ", ".join(f"{one['script'][number]:.1f} / {one[way][number]:.1f}" for one in took)
            print(f"\n{case}, {what}, script over {way}: {pairs}; {statistics.median(ratios):.3f}")


def timed(person: Technician, console: Console, way: str) -> tuple[float, float]:
    """Seconds and processor seconds that the work took in this way."""
    machine = person.machine
    begun = machine.processor_seconds()
    if way == "script":
        result = person.install(console)
    else:
        graph = planned(person.spec)
        lines = typed(graph, looks=way != "by hand")
        (machine.share / "typed.sh").write_text("\n".join(lines) + "\n")
        with machine.timed("typed"):
            result = type_all(console, graph)
    assert result.status == 0, result.output[-3000:]
    assert [line for line in result.output.splitlines() if line.startswith("NOT SO: ")] == []
    return machine.timings[-1][1], machine.processor_seconds() - begun
