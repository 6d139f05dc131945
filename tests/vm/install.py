"""One installation on the bench, from the machine's survey to its audit, as a technician goes through it.

A case is a spec in `cases/`, with `$words` for what only the survey and the host know: serial number, GUIDs, hardware
address, release, archive and its checksum.
"""

import hashlib
import os
import re
import sys
import tomllib
from collections.abc import Mapping
from pathlib import Path
from string import Template
from typing import Any

from attrs import define, frozen

from .console import Console, ConsoleError, Result
from .machine import SHARE_MOUNT, Machine
from .media import LiveMedium
from .tools import call

CASES = Path(__file__).parent / "cases"
PASSWORDS = {"ana": "mud & \"tide\" 'n' $7 \\gauge", "warden": "tern-04 flies at 05:30"}
"""Passwords a person types, by account; with everything in them that a shell could take for its own."""
PASSPHRASE = "low water 04:12, 'spring'"
"""What opens the encrypted partitions, where a case has any."""

_STEPS = re.compile(r"^\[(\d+)/\d+\] (.*)$")
_DONE = re.compile(r"^    done, (\d+) s$")
_LOGIN_SECONDS = 420
_INSTALL_SECONDS = 4800


def bedplate(*words: str | Path) -> str:
    """Standard output of the command line; ToolError with the faults when it does not end with 0."""
    return call([sys.executable, "-m", "bedplate.cli", *words])


@define(kw_only=True)
class Technician:
    """The person at the machine: survey, spec, script and audit of one case lie in the machine's folder."""

    machine: Machine
    case: str
    """Name of the case, and of the machine in its spec."""

    @property
    def spec(self) -> Path:
        """The spec file of this installation."""
        return self.machine.folder / f"{self.case}.toml"

    @property
    def survey_file(self) -> Path:
        """The survey of this very machine."""
        return self.machine.folder / f"{self.case}.survey.toml"

    def survey(self, console: Console) -> dict[str, Any]:
        """Run the collector on the live medium, and make a survey of its capture on the host."""
        share = self.machine.share
        (share / "collector.sh").write_text(bedplate("survey", "--collector"))
        with self.machine.timed("collect"):
            console.check(f"sh {SHARE_MOUNT}/collector.sh >{SHARE_MOUNT}/capture.txt && sync", 240)
        bedplate("survey", "--from", share / "capture.txt", "--out", self.survey_file, "--force")
        return tomllib.loads(self.survey_file.read_text())

    def write_spec(self, known: Mapping[str, str]) -> None:
        """Fill the case's spec with what the survey told; KeyError for a word nobody knows."""
        text = (CASES / f"{self.case}.toml").read_text()
        self.spec.write_text(Template(text).substitute(known))

    def compile(self) -> None:
        """Script and audit, into the folder that the machine can read."""
        for rendering in ("script", "audit"):
            text = bedplate("compile", self.spec, "--as", rendering)
            (self.machine.share / f"{rendering}.sh").write_text(text)

    def install(self, console: Console) -> Result:
        """Run the script and answer what it asks, until it ends; its log comes along, however it ended."""
        with self.machine.timed("install"):
            console.start(f"sh {SHARE_MOUNT}/script.sh")
            answer_all(console, self.case)
            result = console.finish(_INSTALL_SECONDS)
        console.run(f"cp /var/log/bedplate-{self.case}.log {SHARE_MOUNT}/install.log && sync")
        return result

    def start_new_system(self, person: str) -> Console:
        """Switch on, let the firmware's own entry start the loader and its menu the first entry, and log in; the
        containers are opened first, where the spec has any."""
        console = self.machine.boot_disk()
        with self.machine.timed("boot new system"):
            if "encrypt = true" in self.spec.read_text():
                unlock(console)
            console.login(person, PASSWORDS[person], _LOGIN_SECONDS)
        return console

    def become_root(self, console: Console, person: str = "ana") -> None:
        """By the rights the spec gives the person, with the person's own password."""
        # sudo throws away what is typed before it has the password, so the new shell has to speak first
        console.answer("sudo -p 'own password: ' sh -c 'echo uid-$(id -u)-here; exec env PS1= PS2= sh'")
        console.expect("own password: ", 60)
        console.answer(PASSWORDS[person])
        console.expect(r"uid-0-here\r?\n", 60)

    def audit(self, console: Console) -> str:
        """What the audit says, run by root; kept as audit.txt beside the serial logs. ConsoleError if it is broken."""
        self.machine.mount_share(console)
        with self.machine.timed("audit"):
            result = console.run(f"sh {SHARE_MOUNT}/audit.sh", 300)
        (self.machine.folder / "audit.txt").write_text(result.output)
        if result.status not in (0, 1):
            raise ConsoleError(f"audit: status {result.status}\n{result.output}")
        return result.output

    def timings(self) -> tuple["Timing", ...]:
        """What the script's own log says about each action that took part."""
        return timings((self.machine.share / "install.log").read_text())


@frozen(kw_only=True)
class Timing:
    """How long one action took, in whole seconds as the script counts them."""

    number: int
    title: str
    seconds: int


def unlock(console: Console) -> None:
    """The initramfs asks for the root, and for the swap area it could resume from; then systemd for the rest."""
    for _ in range(5):
        asked = console.expect(r"Please unlock disk \w+: |enter passphrase for disk .*|[\w-]+ login: ", _LOGIN_SECONDS)
        if asked.endswith("login: "):
            console.answer("")  # shows the prompt once more
            return
        console.answer(PASSPHRASE)


def answer_all(console: Console, machine_name: str) -> None:
    """Answer what the script asks, the machine's name last, until it has its go or gives up."""
    questions = (
        r"Have all of these been done\? \(yes/no\) ",
        r"Password of [a-z]+( \(again\))?: ",
        r"Passphrase of the encrypted partitions( \(again\))?: ",
        "Type the name of the machine",
        r"Nothing was changed\.",
    )
    while True:
        asked = console.expect("|".join(questions), 420)
        if asked.startswith("Have"):
            console.answer("yes")
        elif asked.startswith("Password"):
            console.answer(PASSWORDS[asked.split()[2].rstrip(":")])
        elif asked.startswith("Passphrase"):
            console.answer(PASSPHRASE)
        else:
            break
    if asked.startswith("Type"):
        console.answer(machine_name)


def timings(log: str) -> tuple[Timing, ...]:
    """Read the timings out of a script's log."""
    found: list[Timing] = []
    number, title = 0, ""
    for line in log.splitlines():
        if match := _STEPS.match(line):
            number, title = int(match[1]), match[2]
        elif match := _DONE.match(line):
            found.append(Timing(number=number, title=title, seconds=int(match[1])))
    return tuple(found)


def table(case: str, machine: Machine, rows: tuple[Timing, ...]) -> str:
    """Seconds of each part of a run, and of each action that took any."""
    lines = [f"{case}: seconds of each part", *(f"{took:8.1f}  {what}" for what, took in machine.timings)]
    lines += [f"{case}: seconds of each action of the script, {sum(row.seconds for row in rows)} in all"]
    lines += [f"{row.seconds:8d}  [{row.number}] {row.title}" for row in rows if row.seconds]
    return "\n".join(lines)


def known_of(survey: dict[str, Any], serial: str) -> dict[str, str]:
    """The words of a case that the survey tells: the disk's serial number, `$part1` to `$partN`, and `$mac`."""
    [disk] = [disk for disk in survey["disks"] if disk.get("serial") == serial]
    parts = {f"part{part['number']}": part["uuid"] for part in disk.get("partitions", ())}
    return {"serial": serial, "mac": survey["links"][0]["mac"], **parts}


def carry(archive: Path, machine: Machine) -> dict[str, str]:
    """Put the base archive where the machine sees it, without copying; its path there and its checksum."""
    place = machine.share / archive.name
    if not place.exists():
        os.link(archive, place)
    with archive.open("rb") as whole:
        digest = hashlib.file_digest(whole, "sha256").hexdigest()
    return {"archive": f"{SHARE_MOUNT}/{archive.name}", "archive_sha256": digest}


def begin(machine: Machine, medium: LiveMedium) -> Console:
    """Start the live medium and see the folder where script and archive lie."""
    console = machine.boot_live(medium)
    machine.mount_share(console)
    return console
