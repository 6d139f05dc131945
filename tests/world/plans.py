"""From a machine to a script: the collector's real capture, a survey, a spec, the compiled plan, and its script.

Left out of a script is what needs a whole system in the target (packages, accounts, the loader's own tools): files of
known content stand for it, so that there is something of ours to lose. All actions of the disk step are real, and
those of the boot loader that look at or write the EFI system partition and the firmware's boot entries.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from attrs import evolve, frozen

from bedplate.actions import Action, Call, InTarget, Run, Stage, Where, WriteFile
from bedplate.cli import commands
from bedplate.conditions import file_is
from bedplate.facts import Layout
from bedplate.faults import Rejected, describe
from bedplate.install_graph import InstallGraph
from bedplate.linking.link import Owned, link
from bedplate.loading.registry import load
from bedplate.rendering import script
from bedplate.surveying import capture
from world.machine import MAIN, World

REAL = {"disk", "bootloader"}
CANARIES = {
    "/": ("/srv/readings.dat", "readings of the tide gauge, the only copy\n" * 50),
    "/home": ("/home/notes.txt", "notes of the warden\n" * 50),
}
"""Files of ours by mount point: what there is to lose."""
LOADER_TEXT = "MZ a loader of ours\n" * 2000
Wishes = dict[str, Any]


def name() -> str:
    """The machine's name: one for each process, since a kernel does not mount the same XFS or btrfs twice."""
    return f"kelp-{os.getpid()}"


@frozen(kw_only=True)
class Plan:
    """A compiled plan: its spec, its script and what will be on the disk."""

    spec: str
    survey: str
    text: str
    layout: Layout
    disk: str
    """The disk that is written to, by its name in the world."""
    loader: str
    """Name of the folder that is ours on the EFI system partition."""

    @property
    def erases(self) -> bool:
        """Does it make a new table?"""
        return self.layout.whole_disk

    @property
    def seen(self) -> dict[str, str]:
        """Place, type and content of each partition of that disk on the day of the survey, by GUID."""
        [disk] = [one for one in tomllib.loads(self.survey)["disks"] if one.get("serial") == self.layout.serial]
        told = {}
        for part in disk["partitions"]:
            holds = part.get("filesystem", {})
            place = f"{part['start']} {part['size']} {part['type']}"
            told[part["uuid"]] = f"{place} {holds.get('type', '')} {holds.get('uuid', '')}"
        return told

    @property
    def ours(self) -> dict[str, tuple[int, int]]:
        """Partition GUID to first and last sector of what is made."""
        return {part.uuid: (part.start, part.end) for part in self.layout.partitions if part.new}


@lru_cache(maxsize=1)
def _registry() -> Any:
    return load()


# --- survey ----------------------------------------------------------------------------------------------------------


def captured(world: World) -> str:
    """The collector's capture of the machine, with a network card of its own."""
    text = capture.collect_script().replace("/sys/firmware/efi", str(world.folder / "firmware"))
    text = text.replace("/dev/disk/", f"{world.folder}/dev-disk/")
    (world.folder / "collector.sh").write_text(text)
    ran = world.shell(f"sh {world.folder}/collector.sh {' '.join(world.disks.values())}")
    lines: list[str] = []
    keep = True
    for line in ran.stdout.splitlines(keepends=True):
        if line.startswith("== "):
            keep = not line.startswith(("== link ", "== ip-link"))
        if keep:
            lines.append(line)
    card = "== link lan0\n| address=00:00:5e:00:53:11\n| type=1\n| device=1\n| carrier=1\n"
    return "".join(lines).replace("== end", card + "== end")


def surveyed(world: World) -> str:
    """The survey as text."""
    return capture.to_toml(capture.survey_from(captured(world)))


def drafted(survey_text: str) -> str:
    """The draft that `bedplate draft` writes from a survey."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "kelp.survey.toml").write_text(survey_text)
        words = [sys.executable, "-m", "bedplate.cli", "draft", "kelp.survey.toml"]
        return subprocess.run(words, capture_output=True, text=True, cwd=folder, check=False).stdout


# --- spec ------------------------------------------------------------------------------------------------------------

ROLES = ("esp", "reserved", "system", "data", "other", "other", "other", "recovery")


def erased(survey_text: str, serial: str) -> list[str]:
    """What a person has to write to erase that disk: all that the survey saw on it."""
    [disk] = [one for one in tomllib.loads(survey_text)["disks"] if one.get("serial") == serial]
    lines = [f"table {disk['table']['label']} {disk['table']['id']}"]
    for part in disk["partitions"]:
        holds = part.get("filesystem", {})
        told = " ".join(word for word in (holds.get("type", ""), holds.get("uuid", "")) if word)
        lines.append(f"partition {part['number']} {part['uuid']}: {told or 'no signature seen'}")
    return lines


def _whole(wishes: Wishes) -> str:
    """The retired disk, erased."""
    lines = "".join(f"    {json.dumps(line)},\n" for line in wishes["whole"])
    new = [
        ("esp", "512MiB", "vfat", "KELPESP", "/boot/efi"),
        ("root", "3GiB", "ext4", wishes.get("label", "kelp-root"), "/"),
        ("swap", wishes.get("swap", "128MiB"), "swap", "kelp-swap", ""),
    ]
    return f'[disk]\nserial = "SM-SATA-0404"\ntable = "new"\nerases = [\n{lines}]\n{_new(new)}'


def _new(rows: Iterable[tuple[str, str, str, str, str]]) -> str:
    return "".join(
        f'[[disk.new]]\nname = "{part}"\nsize = "{size}"\nfilesystem = "{holds}"\nlabel = "{label}"\n'
        + (f'mount = "{mount}"\n' if mount else "")
        for part, size, holds, label, mount in rows
    )


def _beside(wishes: Wishes) -> str:
    """Beside what the first disk holds."""
    kind = wishes.get("filesystem", "ext4")
    kept = "".join(
        f'[[disk.keep]]\nname = "{part.name}"\npartition = "{part.guid}"\nrole = "{role}"\n'
        + ('mount = "/boot/efi"\n' if role == "esp" else "")
        for role, part in zip(ROLES, MAIN.parts, strict=True)
    )
    new = [
        ("root", wishes.get("root", "4GiB"), kind, wishes.get("label", "kelp-root"), "/"),
        ("swap", wishes.get("swap", "256MiB"), "swap", "kelp-swap", ""),
    ]
    if wishes.get("home", True):
        new.append(("home", wishes.get("home_size", "2GiB"), wishes.get("home_kind", "xfs"), "kelp-home", "/home"))
    other = '[disk.other_system]\nencryption = "none"\nstart_by = "firmware-menu"\n'
    return f'[disk]\nserial = "SM-NVME-0217"\ntable = "keep"\n{kept}{_new(new)}{other}'


def spec(wishes: Wishes) -> str:
    """A spec by its wishes: `whole` (what is erased) for the retired disk, sizes, labels, the loader's folder ..."""
    disk = _whole(wishes) if wishes.get("whole") else _beside(wishes)
    return f"""format = 1
[machine]
name = "{name()}"
architecture = "amd64"
firmware = "uefi"
survey = "{name()}.survey.toml"
[base]
family = "apt"
release = "bookworm"
source = "https://mirror.example/debian"
components = ["main", "non-free-firmware"]
microcode = "none"
packages = {wishes.get("packages", ["less"])!r}
{disk}[clock]
zone = "{wishes.get("zone", "Europe/Amsterdam")}"
hardware_clock = "utc"
[locale]
language = "en_GB.UTF-8"
keymap = "{wishes.get("keymap", "uk")}"
[network]
manager = "networkd"
domain = "saltmarsh.example"
[[network.links]]
name = "lan"
mac = "00:00:5e:00:53:11"
[users.root]
password = "locked"
rescue = "live-medium"
[[users.people]]
name = "warden"
full_name = "{wishes.get("warden", "Station warden")}"
administrator = true
[bootloader]
name = "{wishes.get("loader", "saltmarsh")}"
menu_time = {wishes.get("menu_time", 5)}
"""


# --- plan ------------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def compiled(spec_text: str, survey_text: str) -> Plan | str:
    """The plan, or what the faults say."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / f"{name()}.toml").write_text(spec_text)
        (Path(folder) / f"{name()}.survey.toml").write_text(survey_text)
        try:
            _, graph = commands.checked(f"{folder}/{name()}.toml", _registry())
        except Rejected as rejected:
            return "\n".join(describe(fault) for fault in rejected.faults)
    layout = graph.fact(Layout)
    assert layout is not None
    loader = re.findall(r'^\[bootloader\]\nname = "(.*)"', spec_text, re.MULTILINE)[0]
    text = script.render(reduce(graph, loader))
    return Plan(
        spec=spec_text,
        survey=survey_text,
        text=text,
        layout=layout,
        loader=loader,
        disk="main" if layout.serial == "SM-NVME-0217" else "spare",
    )


def reduce(graph: InstallGraph, loader: str) -> InstallGraph:
    """The graph with files of known content in place of what needs a whole system in the target."""
    kept: list[Owned] = []
    layout = graph.fact(Layout)
    assert layout is not None
    for node in graph.nodes:
        action = node.action
        if action.id == "base.unpack":
            files = dict(CANARIES[part.mount] for part in layout.partitions if part.mount in CANARIES)
            action = _stub(action, files, gives=(*action.gives, "base"))
        elif action.id == "bootloader.install":
            action = _stub(action, {f"/boot/efi/EFI/{loader}/grubx64.efi": LOADER_TEXT})
        elif node.section not in REAL or action.stage is Stage.FIRST_BOOT or _inside(action):
            continue
        kept.append(Owned(action=action, section=node.section, origin=node.origin))
    given = {token for own in kept for token in own.action.gives}
    owned = [
        evolve(own, action=evolve(own.action, needs=tuple(one for one in own.action.needs if _met(one, given))))
        for own in kept
    ]
    nodes, tools = link(owned)
    machine = evolve(graph.machine, notes=graph.digest)  # what is left out belongs to the plan's identity as well
    return evolve(graph, nodes=nodes, tools=tools, machine=machine)


def _met(token: str, given: set[str]) -> bool:
    return token in given or token.startswith(("stage:", "tool:"))


def _stub(action: Action, files: dict[str, str], gives: tuple[str, ...] = ()) -> Action:
    write = tuple(WriteFile(path=InTarget(path), content=(text,)) for path, text in files.items())
    noted = [
        one for one in action.operations if isinstance(one, Call) and one.verb.startswith("bootloader/boot-files-")
    ]
    return evolve(
        action,
        proofs=tuple(file_is(path, (text,)) for path, text in files.items()),
        operations=(*noted[:1], *write, *noted[1:]),
        guards=tuple(check for check in action.guards if getattr(check.test, "verb", "") in LOOKS),
        gives=gives or action.gives,
        stamped=False,
        secrets=(),
        audits=(),
    )


LOOKS = {"bootloader/esp-has-room", "is-mounted"}
INSIDE = {
    "bootloader/initramfs-is-built",
    "bootloader/initramfs-carries",
    "bootloader/menu-starts",
    "base/api-unmounted",
}


def _inside(action: Action) -> bool:
    """Does it run the target's own programs, or write what is of no use without them?"""
    runs = any(isinstance(one, Run) and one.where is Where.TARGET for one in action.operations)
    return runs or any(getattr(check.test, "verb", "") in INSIDE for check in action.proofs)
