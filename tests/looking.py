"""Every look by hand of the example machines and of the bench's machines, and a machine on files to try them on."""

from __future__ import annotations

import os
import re
import subprocess
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from string import Template

from bedplate.actions import Link, WriteFile
from bedplate.cli import commands
from bedplate.compiling import pipeline
from bedplate.facts import LaidPartition, Layout
from bedplate.install_graph import InstallGraph
from bedplate.loading.registry import load
from bedplate.rendering import manual_commands, shell_helpers, stage_text
from bedplate.rendering.stage_text import Commands, Passage

ROOT = Path(__file__).resolve().parent.parent
SPECS = sorted(path.stem for path in (ROOT / "specs").glob("*-[0-9][0-9].toml"))
CASES = sorted(path.stem for path in (ROOT / "tests/vm/cases").glob("*-[0-9][0-9].toml"))


@cache
def planned(path: str) -> InstallGraph:
    """The graph of a spec."""
    checked = pipeline.check_spec(commands.load_document(path), load(), commands.load_document)
    return pipeline.plan(checked, Path(path).name)


def bench_case(name: str, folder: Path) -> Path:
    """A case of the bench, its words filled in from the survey of an example machine: the disk with a factory system
    stands for those of the bench, the one that is erased for the empty one."""
    like = "limpet-01" if name.startswith("limpet") else "kelp-02"
    survey = (ROOT / f"specs/{like}.survey.toml").read_text()
    survey = re.sub(r"(start = 567296\nsize = )\d+", r"\g<1>745938944", survey)  # shrunk on the bench already
    (folder / f"{name}.survey.toml").write_text(survey)
    seen = tomllib.loads(survey)
    [disk] = seen["disks"]
    erases = re.findall(r"^erases = \[.*?^\]", (ROOT / f"specs/{like}.toml").read_text(), re.MULTILINE | re.DOTALL)
    known = {
        "suite": "bookworm",
        "archive": "/root/base.tar",
        "archive_sha256": "0" * 64,
        "mirror": "https://mirror.example",
        "serial": disk["serial"],
        "mac": seen["links"][0]["mac"],
        **{f"part{part['number']}": part["uuid"] for part in disk["partitions"]},
    }
    text = Template((ROOT / f"tests/vm/cases/{name}.toml").read_text()).safe_substitute(known)
    file = folder / f"{name}.toml"
    file.write_text(re.sub(r"^erases = .*$", lambda match: erases[0] if erases else match[0], text, flags=re.MULTILINE))
    return file


def lines_of(passages: Iterable[Passage]) -> Iterator[str]:
    """What is typed, without the sentences."""
    for passage in passages:
        if isinstance(passage, Commands):
            yield from passage.lines


def looks(graph: InstallGraph) -> dict[str, str]:
    """Each look of every action's guards, proofs and audits, and what it is about."""
    found: dict[str, str] = {}
    for part in stage_text.parts(graph):
        for told in part.actions:
            for line in (line for one in told.guards.new for line in _own(one.looking)):
                found[line] = told.action.id
            for line in (line for signs in (told.proofs, told.audits) for line in _own(signs.looking)):
                found[line] = told.action.id
    return found


def _own(looking: tuple[str, ...]) -> Iterator[str]:
    """Commands that say yes or nothing; what stands behind a sentence is shown to be judged by a person."""
    for before, line in zip(("", *looking), looking, strict=False):
        if not line.startswith("# ") and not before.startswith("# "):
            yield line


# --- a machine on files -----------------------------------------------------------------------------------------------

_LSBLK = """#!/bin/sh
[ -e "$DISK" ] || exit 32
case $2 in
    SERIAL) echo '%s' ;;
    SIZE,LOG-SEC) echo ' %d %d' ;;
    TYPE,MOUNTPOINT) printf 'disk \\npart \\n' ;;
    *) exec /bin/lsblk "$@" ;;
esac
"""


def _rows(parts: Iterable[LaidPartition]) -> str:
    return "".join(f"start={part.start}, size={part.size}, type={part.type}, uuid={part.uuid}\n" for part in parts)


class Machine:
    """A disk image with the table before or after the work, and a folder in the target's place, filled as by hand."""

    def __init__(self, graph: InstallGraph, folder: Path, after: bool) -> None:
        layout = graph.fact(Layout)
        assert layout is not None
        self.layout, self.target, self.tools = layout, folder / "target", folder / "tools"
        self.disk = folder / "disk.img"
        self.tools.mkdir(parents=True)
        stub(self.tools / "lsblk", _LSBLK % (layout.serial, layout.size_bytes, layout.sector_size))
        stub(self.tools / "chroot", '#!/bin/sh\nshift\nexec "$@"\n')
        for one in ("apt-get", "curl", "wget"):
            stub(self.tools / one, "#!/bin/sh\nexit 1\n")  # no test asks a network
        with self.disk.open("wb") as file:
            # sfdisk(8) takes a file's sectors for 512 bytes
            file.truncate(layout.size_bytes // layout.sector_size * 512 + 32768)
        parts = layout.partitions if after else layout.before
        head = f"label: gpt\nlabel-id: {layout.table_id}\nfirst-lba: 34\n"
        if parts:
            subprocess.run(["sfdisk", "-q", str(self.disk)], input=head + _rows(parts), text=True, check=True)
        self.target.mkdir()
        if after:
            self._write(graph)

    def _write(self, graph: InstallGraph) -> None:
        for node in graph.nodes:
            for item in node.action.operations:
                secret = isinstance(item, WriteFile) and not all(isinstance(part, str) for part in item.content)
                if isinstance(item, WriteFile | Link) and not secret:
                    made = "\n".join(manual_commands.commands(item, {}))
                    path = self.target / str(getattr(item.path, "path", item.path)).lstrip("/")
                    path.parent.mkdir(parents=True, exist_ok=True)
                    subprocess.run(["sh", "-c", self.here(made)], check=True)

    def here(self, line: str) -> str:
        """The line with the target in its folder."""
        return line.replace("/mnt/target", str(self.target))

    def say(self, line: str, first: Path | None = None, only: Path | None = None) -> str:
        """What a look prints. `first`: tools that stand in front of the others; `only`: all tools there are."""
        path = str(only) if only else f"{first}:{self.tools}:/usr/sbin:/usr/bin:/sbin:/bin"
        text = "\n".join([*shell_helpers.definitions(shell_helpers.HELPERS, self.layout), self.here(line)])
        ran = subprocess.run(
            ["/bin/sh", "-c", text],
            env={"PATH": path, "DISK": str(self.disk)},
            text=True,
            capture_output=True,
            check=False,
            cwd=self.target,
            stdin=subprocess.DEVNULL,
        )
        return ran.stdout.strip()


def stub(path: Path, text: str) -> None:
    """An executable file."""
    path.write_text(text)
    path.chmod(0o755)


ANSWERS: Mapping[str, str] = {"fails": "exit 1", "says nothing": "exit 0", "is missing": "exit 127"}
"""What a command can do that is no evidence of anything (127: sh(1) of POSIX.1-2017, 2.8.2)."""


def words(line: str) -> list[str]:
    """Every word that could be the name of a program here."""
    found = dict.fromkeys(re.findall(r"[a-z][a-z0-9]*(?:[.-][a-z0-9]+)*", line))
    return [word for word in found if any(os.access(f"{place}/{word}", os.X_OK) for place in ("/usr/bin", "/usr/sbin"))]
