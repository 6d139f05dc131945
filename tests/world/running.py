"""Runs a script on a machine: in name spaces of its own, with a person's answers, and cut off where that is asked for.

The script is the real one; only three paths that this kernel does not have are moved. A run that is killed leaves what
a restart of the machine would find: the disks. Writes that were still in memory count as written (tests/vm tries
those).
"""

from __future__ import annotations

import os
import re
import selectors
import signal
import subprocess
import time
from pathlib import Path

from attrs import frozen

from world import plans
from world.machine import World

TICKING = (
    "sfdisk",
    "mkfs.ext4",
    "mkfs.xfs",
    "mkfs.btrfs",
    "mkfs.fat",
    "mkswap",
    "e2label",
    "xfs_admin",
    "swaplabel",
    "dd",
    "mount",
    "umount",
    "mkdir",
    "mv",
    "rm",
    "cp",
    "efibootmgr",
    "partx",
    "tar",
    "fsck.fat",
)
"""Commands that change something: before each of them the plug can be pulled."""
SECONDS = 60

TICK = """#!/bin/dash
read -r n <"$WORLD/ticks"
n=$((n + 1))
printf '%s\\n' "$n" >"$WORLD/ticks"
[ "$n" -ne "$CUT_AT" ] || { kill -9 -1; exit 1; }
PATH=$TOOLS:/usr/sbin:/usr/bin:/sbin:/bin exec "${0##*/}" "$@"
"""

PLACES = {"root": "/root", "var-tmp": "/var/tmp", "log": "/var/log"}


@frozen(kw_only=True)
class Ran:
    """What a run said, its exit status, and whether it was cut off."""

    status: int
    text: str
    cut: bool = False

    @property
    def refused(self) -> bool:
        """Did it leave before the first change?"""
        return self.status != 0 and not self.cut and "Nothing was changed." in self.text

    @property
    def reason(self) -> str:
        """Why it refused or stopped, without the plan that is printed before and the ways back after it."""
        for beginning, end in (("Not everything is as it must be:", "\0"), ("STOPPED at", "Done or begun, last first")):
            if beginning in self.text:
                return self.text.rpartition(beginning)[2].partition(end)[0]
        return "\n".join(self.text.splitlines()[-12:])

    @property
    def done(self) -> bool:
        """Did it reach its end?"""
        return self.status == 0


def placed(world: World, text: str) -> Path:
    """The script with its paths moved to the machine's."""
    text = text.replace("grep efivarfs /proc/mounts", f"cat {world.folder}/efi-mounts")
    text = text.replace("/sys/firmware/efi", f"{world.folder}/firmware")
    text = text.replace("/dev/disk/", f"{world.folder}/dev-disk/")
    variables = f"{world.folder}/firmware/efivars"
    (world.folder / "efi-mounts").write_text(f"efivarfs {variables} efivarfs rw 0 0\n")
    path = world.folder / "script.sh"
    path.write_text(text)
    return path


HEAD = """
mount -t tmpfs private /run && mkdir -p /run/udev
cd "$WORLD" && mkdir -p medium/root medium/var-tmp medium/log && cd / || exit 99
mount -t tmpfs private /mnt
mount --bind "$WORLD/medium/root" /root
mount --bind "$WORLD/medium/var-tmp" /var/tmp
mount --bind "$WORLD/medium/log" /var/log
mount --bind "$WORLD/path" /usr/local/sbin
dash "$@"
exit $?
"""


def run(world: World, text: str, *options: str, cut_at: int = 0, answers: dict[str, str] | None = None) -> Ran:
    """Run the script to its end, or to the given changing command."""
    script = placed(world, text)
    _tools(world, cut_at)
    environment = world.environment() | {"CUT_AT": str(cut_at), "SAID": "", "HOME": "/root"}
    command = [
        "unshare",
        "--mount",
        "--propagation",
        "private",
        "--pid",
        "--fork",
        "--kill-child",
        "--mount-proc",
        "dash",
        "-c",
        HEAD,
        "head",
        str(script),
        *options,
    ]
    with subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env=environment,
        start_new_session=True,
        cwd="/",
    ) as child:
        said, in_time = _converse(child, {r"Type the name of the machine": plans.name(), **ANSWERS, **(answers or {})})
        if not in_time:
            os.killpg(child.pid, signal.SIGKILL)
        status = child.wait()
    world.restart()
    world.settle()
    said += "" if in_time else "\n(the run did not end in time)\n"
    return Ran(status=status, text=said, cut=status in (-9, 137))


def _tools(world: World, cut_at: int) -> None:
    """The folder that stands first in the script's path."""
    path = world.folder / "path"
    path.mkdir(exist_ok=True)
    for old in path.iterdir():
        old.unlink()
    for tool in (Path(__file__).parent / "tools").iterdir():
        (path / tool.name).symlink_to(tool)
    if cut_at:
        (world.folder / "ticks").write_text("0\n")
        for name in TICKING:
            (path / name).unlink(missing_ok=True)
            (path / name).write_text(TICK)
            (path / name).chmod(0o755)


ANSWERS = {
    r"Have all of these been done": "yes",
    r"Plug it in and press Enter": "leave",
    r"Type done when it is done": "done",
    r"[Pp]assphrase|[Pp]assword": "saltmarsh",
}
"""What the person answers, by a piece of the question; a question nobody knows gets an empty line."""


def _converse(child: subprocess.Popen[bytes], answers: dict[str, str]) -> tuple[str, bool]:
    assert child.stdin is not None and child.stdout is not None
    os.set_blocking(child.stdout.fileno(), False)
    said, answered, end = "", 0, time.monotonic() + SECONDS
    with selectors.DefaultSelector() as selector:
        selector.register(child.stdout, selectors.EVENT_READ)
        while time.monotonic() < end:
            if not selector.select(1.0):
                continue
            chunk = child.stdout.read()
            if chunk == b"":
                return said, True
            said += (chunk or b"").decode(errors="replace")
            question = said[answered:].rsplit("\n", 1)[-1]
            if not question.endswith((": ", ") ")):
                continue
            answered = len(said)
            reply = next((text for piece, text in answers.items() if re.search(piece, question)), "")
            if "Type the number at the beginning" in question:
                reply = "".join(re.findall(r"^ *(\d+): .*SaltmarshStick", said, re.MULTILINE)[-1:]) or "1"
            try:
                child.stdin.write(f"{reply}\n".encode())
                child.stdin.flush()
            except BrokenPipeError:
                continue
    return said, False
