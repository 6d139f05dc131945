"""A second stick for tests of the copies: commands that show one, a FAT volume as EFI system partition, a real table.

The host's kernel may know neither GPT nor vfat, so a stand-in answers for lsblk(8), findmnt(8) and mount(8) where they
are asked about the stick or the volume; sfdisk, fsck.fat, mtools, tar, dd, cmp and sha256sum are real.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path

from attrs import define, field

from bedplate.rendering.shell_runtime import part
from library import LIBRARY

ESP = "86CC7105-853D-4D39-AA11-593635FA098E"
OURS = "AAAAAAAA-2222-4333-8444-555555555555"
TYPE_ESP, TYPE_LINUX = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "0FC63DAF-8483-4772-8E79-3D69D8477DE4"
GLOBAL = "8be4df61-93ca-11d2-aa0d-00e098032b8c"
FILES: Mapping[str, bytes] = {
    "EFI/heron/heron.efi": b"MZ heron" * 4000,
    "EFI/BOOT/BOOTX64.EFI": b"MZ fallback" * 3000,
    "odd name's file.txt": b"x",
}
VERBS = (
    "disk/copies-are-made",
    "copies-fit",
    "disk/copies-reread",
    "esp-look",
    "disk/fat-is-whole",
    "disk/fat-ready",
    "foreign-list",
    "bootloader/loader-folder-is-free",
    "disk/make-copies",
    "ours-in-table",
    "outside-places",
    "disk/partition-holds",
    "partition-node",
    "bootloader/put-back-foreign",
    "bootloader/save-boot-state",
    "state-of-before",
)


def call(*argv: object, text: str | None = None) -> str:
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, f"{argv}: {ran.stdout}{ran.stderr}"
    return ran.stdout


@define
class Stick:
    """One removable file system: `hotplug` and what lsblk(8) and blkid(8) say of it; its files are a folder."""

    node: str
    folder: Path
    hotplug: str = "1 0 part"
    type: str = "vfat"
    whole_type: str = ""
    """What lies on the whole device, such as an image of CD form."""
    mounted: str = ""
    """Where somebody else has mounted it, with options: `/media/x ro`."""
    free_kib: int = 500_000

    @property
    def whole(self) -> str:
        return self.node.rstrip("0123456789")


@define
class Rig:
    """A machine: disk with a table, a FAT volume as its EFI system partition, firmware variables, sticks."""

    folder: Path
    sticks: list[Stick] = field(factory=list)

    def __attrs_post_init__(self) -> None:
        for name in ("work", "target", "vars", "fakes", "mounted"):
            (self.folder / name).mkdir(parents=True)
        with self.disk.open("wb") as file:
            file.truncate(80 << 20)
        rows = f"start=2048, size=131072, type={TYPE_ESP}, uuid={ESP}, name=esp\n"
        self.sfdisk("label: gpt\nlabel-id: 11111111-2222-4333-8444-555555555555\n" + rows)
        self.format()
        self.variable("Boot0000", b"\7\0\0\0factory")
        self.variable("BootOrder", b"\7\0\0\0\0\0")

    @property
    def disk(self) -> Path:
        return self.folder / "disk"

    @property
    def esp(self) -> Path:
        """The volume; sfdisk calls the first partition of an image `image1`."""
        return self.folder / "disk1"

    def sfdisk(self, text: str, *options: str) -> None:
        call("sfdisk", "--quiet", "--no-reread", "--no-tell-kernel", *options, self.disk, text=text)

    def add_ours(self) -> None:
        self.sfdisk(f"start=135168, size=8192, type={TYPE_LINUX}, uuid={OURS}\n", "--append")

    def format(self, bits: str = "32") -> None:
        self.esp.unlink(missing_ok=True)
        with self.esp.open("wb") as file:
            file.truncate(64 << 20 if bits == "32" else 20 << 20)
        call("mkfs.fat", "-F", bits, "-i", "0217ABCD", "-n", "SYSTEM", self.esp)
        for folder in ("EFI", "EFI/heron", "EFI/BOOT"):
            call("mmd", "-i", self.esp, f"::{folder}")
        for name, content in FILES.items():
            self.put(name, content)

    def put(self, name: str, content: bytes) -> None:
        source = self.folder / "put"
        source.write_bytes(content)
        call("mcopy", "-o", "-i", self.esp, source, f"::{name}")

    def make(self, folder: str) -> None:
        call("mmd", "-i", self.esp, f"::{folder}")

    def put_list(self) -> None:
        """The list of before, complete in the target."""
        kept = self.folder / "target/var/lib/bedplate/boot"
        kept.mkdir(parents=True)
        lines = [f"{hashlib.sha256(content).hexdigest()}  ./{name}\n" for name, content in FILES.items()]
        (kept / "esp.sha256").write_text("".join(lines))
        (kept / "complete").touch()

    def variable(self, name: str, value: bytes) -> None:
        (self.folder / "vars" / f"{name}-{GLOBAL}").write_bytes(value)

    def stick(self, name: str = "sdx1", **about: str | int) -> Stick:
        folder = self.folder / f"stick-{name}"
        folder.mkdir()
        made = Stick(f"/dev/{name}", folder, **about)  # type: ignore[arg-type]
        self.sticks.append(made)
        return made

    def run(self, lines: str, answers: str = "", shell: str = "dash", **constants: str) -> tuple[int, str]:
        """Shell lines after the runtime's part and the verbs; exit status and all that was said."""
        self._fakes()
        known = {
            "MACHINE": "kelp-02",
            "DIGEST": "d1",
            "COPY_OF": "Tidewater 500, serial TW-1",
            "OUR_TABLE": "-",
            "KEPT_ESPS": ESP,
            "OUR_PARTITIONS": OURS,
            "COPIES": "",
            "COPIES_NODE": "",
            "COPIES_POINT": "",
            "COPIES_MINE": "",
            "NO_COPIES": "",
            "TABLE_READ": "",
            "TABLE": "",
            **constants,
        }
        text = part("copies") + LIBRARY.text(VERBS)
        text = text.replace("/sys/firmware/efi/efivars", str(self.folder / "vars"))
        text = text.replace('[ ! -b "$v_node" ]', '[ ! -e "$v_node" ]')
        head = [
            "set -u",
            "NEW_LINE='\n'",
            f"TARGET='{self.folder}/target' WORK='{self.folder}/work' DISK='{self.disk}' LOG='{self.folder}/log'",
            f"LC_ALL=C PATH='{self.folder}/fakes':$PATH",
            *(f"{name}='{value}'" for name, value in known.items()),
            "say() { printf '%s\\n' \"$*\"; }",
            "plainly() { cat; }",
            'found() { cat "$WORK/found"; }',
            "exec 4>&1",
            "answer() { printf '%s' \"$1\"; IFS= read -r ANSWER <&3; }",
            "exec 3<&0 </dev/null",
        ]
        script = self.folder / "script.sh"
        script.write_text("\n".join([*head, text, lines, ""]), encoding="utf-8")
        command = [*{"busybox": ["busybox", "sh"]}.get(shell, [shell]), str(script)]
        ran = subprocess.run(command, input=answers, capture_output=True, text=True, timeout=120, check=False)
        return ran.returncode, ran.stdout + ran.stderr

    def holds(self, lines: str, answers: str = "", **constants: str) -> str:
        every = "\n".join(f"{line} || exit 9" for line in lines.strip().splitlines())
        code, said = self.run(every, answers, **constants)
        assert code == 0, said
        return said

    def refuses(self, lines: str, answers: str = "", **constants: str) -> str:
        code, said = self.run(lines, answers, **constants)
        assert code == 1 and said.strip(), (code, said)
        return said

    def copied(self, answers: str = "") -> Path:
        """Choose, copy and prove, as a run does; the newest folder of copies."""
        self.holds("choose_copies\nverb_make_copies\nverb_copies_are_made\nclose_copies", answers)
        return max(path for stick in self.sticks for path in stick.folder.glob("bedplate-kelp-02-*"))

    def _fakes(self) -> None:
        nodes = "\n".join(f"{one.whole}\n{one.node}" for one in self.sticks)
        (self.folder / "nodes").write_text(f"{self.disk}\n{nodes}\n".replace("\n\n", "\n"))
        for name, body in (
            ("lsblk", self._lsblk()),
            ("blkid", self._blkid()),
            ("findmnt", self._findmnt()),
            ("mount", self._mount()),
            ("umount", self._umount()),
            ("df", self._df()),
        ):
            path = self.folder / "fakes" / name
            path.write_text('#!/bin/sh\nfor last in "$@"; do :; done\n' + body)
            path.chmod(0o755)

    def _lsblk(self) -> str:
        lines = ['case "$*" in']
        for one in self.sticks:
            lines += [
                f"'-dnro HOTPLUG,RO,TYPE -- {one.node}') echo '{one.hotplug}'; exit ;;",
                f"'-nrpso NAME,TYPE -- {one.node}') printf '%s\\n' '{one.node} part' '{one.whole} disk'; exit ;;",
                f"'-nrpo NAME {one.whole}') printf '%s\\n' '{one.whole}' '{one.node}'; exit ;;",
                f"'-dno PATH,SIZE,FSTYPE,LABEL,MODEL -- {one.node}') echo '{one.node} 500M {one.type}'; exit ;;",
            ]
        lines += [
            f"'-nrpo NAME {self.disk}') echo '{self.disk}'; exit ;;",
            f"'-nrpo NAME') cat '{self.folder}/nodes'; exit ;;",
            f"'-dnbo LOG-SEC {self.disk}') echo 512; exit ;;",
            f"'-dnbo SIZE {self.disk}') stat -c %s '{self.disk}'; exit ;;",
            "esac",
            "exit 1",
        ]
        return "\n".join(lines)

    def _blkid(self) -> str:
        cases = [
            f"{one.node}) echo '{one.type}'; exit ;;\n{one.whole}) echo '{one.whole_type}'; exit ;;"
            for one in self.sticks
        ]
        return "\n".join(['case "$last" in', *cases, "esac", f'exec {shutil.which("blkid")} "$@"'])

    def _findmnt(self) -> str:
        """What is mounted: by somebody else as the stick says, or by the script, which leaves a link in `mounted`."""
        cases = []
        for one in self.sticks:
            point, _, options = one.mounted.partition(" ")
            if point:
                cases += [
                    f"'-nfo TARGET --source {one.node}') echo '{one.folder}'; exit ;;",
                    f"'-rno TARGET,OPTIONS --source {one.node}') echo '{point} {options or 'rw'}'; exit ;;",
                    f"'-nfo OPTIONS --mountpoint {one.folder}') echo '{options or 'rw'}'; exit ;;",
                ]
        return "\n".join(['case "$*" in', *cases, "esac", "exit 1"])

    def _mount(self) -> str:
        cases = [f"*' {one.node} '*) rmdir \"$last\" && ln -s '{one.folder}' \"$last\"; exit ;;" for one in self.sticks]
        log = f"printf '%s\\n' \"$*\" >>'{self.folder}/mounts'\n"
        esp = f"*' {self.esp} '*) exec mcopy -s -n -m -i '{self.esp}' '::*' \"$last\" ;;"
        return log + "\n".join(['case " $* " in', *cases, esp, "esac", "exit 1"])

    def _umount(self) -> str:
        """A link is a stick's; a folder holds copies of the volume's files."""
        log = f"printf 'umount %s\\n' \"$last\" >>'{self.folder}/mounts'\n"
        return log + 'if [ -L "$last" ]; then rm "$last" && mkdir "$last"; else rm -rf "$last" && mkdir "$last"; fi\n'

    def _df(self) -> str:
        cases = [f"'{one.folder}') free={one.free_kib} ;;" for one in self.sticks]
        head = "Filesystem 1024-blocks Used Available Capacity Mounted"
        where = "[ \"$last\" != . ] || { printf '%s\\n' '" + head + "' 'esp 60000 100 59900 1% /x'; exit; }\n"
        inner = "\n".join(['case "$(readlink -f "$last")" in', *cases, "*) free=0 ;;", "esac"])
        return where + inner + f"\nprintf '%s\\n' '{head}' \"x 1000000 1 $free 1% /y\"\n"
