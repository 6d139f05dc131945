"""The functions that write on disks and into the firmware, while one command after another fails: each stops there.

Whatever a function calls itself (a program, another function) fails once, the first call in the first run, the second
in the next. Then it must answer that it failed, and nothing that writes may be called any more. Tables are real, in a
file that sfdisk(8) works on; what formats is only noted. Common practice, no source: a shell goes on after a failure.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
from attrs import evolve, frozen

from bedplate.testing.function_runner import SHELLS
from bedplate.units import MIB
from library import LIBRARY
from world import signatures

LINUX, ESP = "0FC63DAF-8483-4772-8E79-3D69D8477DE4", "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"
KEPT, ROOT, HOME = (f"{digit * 8}-2222-4333-8444-555555555555" for digit in ("C", "A", "B"))
FS = "99999999-2222-4333-8444-555555555555"
HEAD = "label: gpt\nlabel-id: 11111111-2222-4333-8444-555555555555\n"
OLD = f'start=2048, size=4096, type={ESP}, uuid={KEPT}, name="esp"\n'
OURS = (
    f'start=6144, size=4096, type={LINUX}, uuid={ROOT}, name="unfinished-root"\n'
    f'start=10240, size=4096, type={LINUX}, uuid={HOME}, name="unfinished-home"\n'
)
PLAN = f"{ROOT} 6144 4096 {LINUX} ext4 {FS} root root\n{HOME} 10240 4096 {LINUX} ext4 {FS} - home"
LOADER = r"\EFI\kelp\grubx64.efi"

PROGRAMS = (
    *(
        "blkid",
        "btrfs",
        "cmp",
        "cryptsetup",
        "dd",
        "e2label",
        "efibootmgr",
        "fatlabel",
        "findmnt",
        "lsblk",
        "mkfs.btrfs",
    ),
    *(
        "mkfs.ext4",
        "mkfs.fat",
        "mkfs.xfs",
        "mkswap",
        "od",
        "partx",
        "sfdisk",
        "swaplabel",
        "sync",
        "wipefs",
        "xfs_admin",
    ),
)
CARRIED_OUT = ("cmp", "dd", "od", "sfdisk", "sync")
"""Of all other programs only the call is noted."""
ANSWERS = {
    "blkid": "exit 2",
    "cryptsetup": "cat >/dev/null",
    "findmnt": "exit 1",
    "lsblk": "case $* in *SIZE*) echo ' 16777216     512' ;; *) echo '    512' ;; esac",
}
"""What programs say of the disk: nothing lies on it, nothing is mounted; it has sectors of 512 bytes."""
READS = (
    *("blkid", "boot-", "cmp", "contents-read", "findmnt", "leave", "line-in", "lsblk", "mkfs-words", "od "),
    *("partition-node", "planned-row", "sfdisk --dump", "table-", "wipefs --parsable"),
)
"""How calls begin that write nothing on a disk."""
ALWAYS_SO = {"await-partitions", "partition-is-idle", "partition-is-ours", "partition-is-ready"}
"""What has to be seen of the kernel, and is taken for so here."""


@frozen(kw_only=True)
class Case:
    """A call, and the names of what it calls in order where all goes well: what only looks is left out."""

    verb: str
    words: tuple[str, ...] = ()
    stdin: str = ""
    before: str = OLD
    """The rows of the table."""
    writes: str
    first: str = ""
    """Shell lines before the call."""
    may_fail: tuple[str, ...] = ()
    """Beginnings of calls whose failing means something else; why stands beside them."""


def formats(kind: str, label: str, writes: str) -> Case:
    # sync(2) always succeeds; mkfs-words only chooses words.
    return Case(
        verb="disk/make-filesystem", words=("/node", kind, FS, label), writes=writes, may_fail=("sync ", "mkfs-words")
    )


STALE = "TABLE_READ=yes TABLE=stale"
"""What was read of the table that is replaced: nobody may go by it any more."""
TAKEN_BACK = ("partition-is-ours", "partition-is-idle", "table-row")
"""A partition that is not ours, or in use, is left; one that is not there is gone already."""
CASES = [
    Case(
        verb="disk/make-table", words=(ROOT, HOME), stdin=HEAD + OURS, first=STALE, writes="sfdisk clear-places sfdisk"
    ),
    Case(verb="disk/append-partitions", words=(ROOT, HOME), stdin=OURS, writes="mend-table clear-places sfdisk"),
    Case(verb="disk/clear-places", stdin=OURS, writes="dd dd dd dd sync"),
    Case(
        verb="disk/finish-partitions",
        words=(ROOT, "unfinished-root", "root", HOME, "unfinished-home", "home"),
        before=OLD + OURS,
        writes="mend-table sfdisk sfdisk",
    ),
    Case(verb="disk/mark-unfinished", words=(ROOT,), before=OLD + OURS.replace("unfinished-", ""), writes="sfdisk"),
    Case(
        verb="disk/delete-partitions",
        words=(ROOT, HOME),
        before=OLD + OURS,
        writes="mend-table mark-unfinished clear-places sfdisk",
        may_fail=TAKEN_BACK,
    ),
    Case(
        verb="disk/drop-partition",
        words=(HOME,),
        before=OLD + OURS,
        writes="mend-table mark-unfinished clear-places sfdisk partx",
        may_fail=TAKEN_BACK,
    ),
    Case(verb="disk/drop-partition", words=(FS,), before=OLD + OURS, writes="mend-table", may_fail=TAKEN_BACK),
    formats("ext4", "kelp", "mkfs.ext4 sync e2label sync"),
    formats("xfs", "kelp", "mkfs.xfs sync xfs_admin sync"),
    formats("xfs", "", "mkfs.xfs sync xfs_admin sync"),
    formats("btrfs", "kelp", "wipefs mkfs.btrfs sync btrfs sync"),
    formats("vfat", "KELP", "mkfs.fat sync fatlabel sync"),
    formats("vfat", "", "mkfs.fat sync fatlabel sync"),
    formats("swap", "kelp", "mkswap sync swaplabel sync"),
    Case(
        verb="disk/make-container",
        words=("/node", FS, "kelp"),
        stdin="salt & sea",
        writes="cryptsetup sync cryptsetup sync",
        may_fail=("sync ",),  # sync(2) always succeeds
    ),
    Case(
        verb="bootloader/drop-boot-entry",
        words=(KEPT.lower(), "kelp", LOADER),
        writes="efibootmgr efibootmgr",
        may_fail=("cmp ", "line-in"),  # where nothing was saved nothing is alike, and what is no entry of ours stays
    ),
    Case(
        verb="disk/may-format",
        words=(ROOT, "ext4", FS, ROOT, "unfinished-root"),
        before=OLD + OURS,
        writes="",
        may_fail=("findmnt", "contents-read"),  # findmnt(8) fails where it finds nothing; the other one only tells
    ),
    Case(verb="disk/table-is-sound", writes=""),
]


class Place:
    """A disk in a file, programs that can fail, and a list of all that was called."""

    def __init__(self, folder: Path, case: Case) -> None:
        self.folder, self.case = folder, case
        self.disk, self.work, self.calls = folder / "disk", folder / "work", folder / "calls"
        self.fakes, self.target, self.variables = folder / "fakes", folder / "target", folder / "efivars"
        for made in (self.fakes, self.variables, self.target / "var/lib/bedplate/boot"):
            made.mkdir(parents=True)
        (self.target / "var/lib/bedplate/boot/complete").touch()
        with self.disk.open("wb") as file:
            file.truncate(16 * MIB)
        sfdisk = [shutil.which("sfdisk") or "/usr/sbin/sfdisk", "--quiet", self.disk]
        subprocess.run(sfdisk, input=HEAD + case.before, text=True, check=True)
        self.whole = self.disk.read_bytes()
        (folder / "disk2").touch()
        for number, title in enumerate(("Factory", "kelp")):
            signatures.put_entry(self.variables, number, signatures.load_option(title, KEPT, LOADER))
        signatures.put_order(self.variables, 1, 0)
        for name in PROGRAMS:
            real = shutil.which(name, path="/usr/sbin:/usr/bin:/sbin:/bin")
            last = ANSWERS.get(name, f'exec {real} "$@"' if name in CARRIED_OUT else "exit 0")
            self.program(name, f"{COUNT.format(calls=self.calls, name=name)} || exit 1\n{last}\n")

    def program(self, name: str, text: str) -> None:
        (self.fakes / name).write_text(f"#!/bin/sh\n{text}")
        (self.fakes / name).chmod(0o755)

    def run(self, fails: int, shell: str) -> tuple[int, list[str], str]:
        """Status, calls and messages; the call of that number fails."""
        shutil.rmtree(self.work, ignore_errors=True)
        self.work.mkdir()
        self.disk.write_bytes(self.whole)
        self.calls.write_text("")
        env = {"PATH": f"{self.fakes}:/usr/sbin:/usr/bin:/sbin:/bin", "FAILS": str(fails), "OUR_ROWS": PLAN}
        command = [*SHELLS_BY_NAME[shell], "-c", self.text()]
        ran = subprocess.run(command, input=self.case.stdin, capture_output=True, text=True, env=env, timeout=60)
        return ran.returncode, self.calls.read_text().splitlines(), ran.stderr

    def text(self) -> str:
        """The function and all it uses; what it uses itself is counted and can fail."""
        text = LIBRARY.text([self.case.verb])
        text = text.replace("/sys/firmware/efi/efivars", str(self.variables)).replace("[ ! -b ", "[ ! -e ")
        for verb in (one for one in LIBRARY.closure([self.case.verb]) if one != self.case.verb):
            name, bare = LIBRARY.call(verb), verb.rpartition("/")[2]
            inner = '[ "${TABLE_READ-}${TABLE-}" != yesstale ]' if bare in ALWAYS_SO else f'real_{name} "$@"'
            counted = f'{COUNT.format(calls=self.calls, name=bare)} || return 1\nset -- $((INSIDE += 1)) "$@"\nshift\n'
            counted += f'{inner}\nset -- $? $((INSIDE -= 1))\nreturn "$1"'
            text = re.sub(
                rf"^{name}\(\) {{$", f"{name}() {{\n{counted}\n}}\nreal_{name}() {{", text, flags=re.MULTILINE
            )
        head = f"set -u\nexport INSIDE=0\nDISK={self.disk} TARGET={self.target} WORK={self.work}\n"
        head += "NEW_LINE='\n'\nsay() { :; }\n"
        return f"{head}{text}\n{self.case.first}\n{LIBRARY.call(self.case.verb)} {shlex.join(self.case.words)}\n"


COUNT = '[ "$INSIDE" -gt 0 ] || {{ echo "{name} $*" >>{calls}; [ "$(grep -c "" {calls})" -ne "$FAILS" ]; }}'
SHELLS_BY_NAME = {shell[0]: shell for shell in SHELLS}


def name_of(case: Case) -> str:
    return " ".join((case.verb, *case.words[1:4:2])) if case.verb == "disk/make-filesystem" else case.verb


def written(calls: list[str]) -> list[str]:
    """Of these calls, the names of those that may write."""
    return [call.split()[0] for call in calls if not call.startswith((*READS, *ALWAYS_SO))]


@pytest.mark.parametrize("case", CASES, ids=name_of)
def test_whatever_fails_ends_it(case: Case, tmp_path: Path) -> None:
    place = Place(tmp_path, case)
    status, calls, said = place.run(0, "dash")
    assert (status, " ".join(written(calls))) == (0, case.writes), (calls, said)
    for number, call in enumerate(calls, 1):
        if call.startswith(case.may_fail):
            continue
        status, after, said = place.run(number, "dash")
        assert after[number - 1 : number] == [call]
        assert status == 1, f"{call!r} fails: {said}; it went on with {after[number:]}"
        assert written(after[number:]) == [], f"after {call!r} failed"


@pytest.mark.parametrize(("start", "size"), [(6144, 8192), (6145, 8192), (6144, 8191), (6144, 2048)])
def test_the_ends_of_a_place_are_emptied_and_nothing_beside_it(start: int, size: int, tmp_path: Path) -> None:
    """Places of old tables begin and end at any sector."""
    place = Place(tmp_path, Case(verb="disk/clear-places", stdin=f"start={start}, size={size}, gone\n", writes=""))
    place.whole = b"\xff" * (16 * MIB)
    status, calls, _ = place.run(0, "dash")
    after, first, last = place.disk.read_bytes(), start * 512, (start + size) * 512
    assert status == 0 and len(after) == 16 * MIB
    assert after[:first] + after[last:] == b"\xff" * (16 * MIB - size * 512)
    assert after[first : first + MIB] == after[last - MIB : last] == bytes(MIB)
    assert after[first + MIB : last - MIB].strip(b"\xff") == b""
    pieces = 1 if start % 2048 == 0 else 2048
    assert f"count={pieces} " in next(call for call in calls if call.startswith("dd ")), "whole MiB in one piece"


@pytest.mark.parametrize(
    "case", [case for case in CASES if case.stdin and case.verb != "disk/make-container"], ids=name_of
)
def test_where_nothing_can_be_noted_nothing_is_written(case: Case, tmp_path: Path) -> None:
    """These keep what they are told in a scratch file; without it they know nothing of what to write."""
    place = Place(tmp_path, evolve(case, first=f"{case.first}\nrmdir {tmp_path}/work"))
    status, calls, _ = place.run(0, "dash")
    assert (status, written(calls)) == (1, [])
