"""Runs a verb of the scripts' runtime library by itself, with all it uses, under a given shell."""

from __future__ import annotations

import shlex
import subprocess
from collections.abc import Sequence
from pathlib import Path

from bedplate.rendering import shell_library

SHELLS = (("dash",), ("bash", "--posix"), ("busybox", "sh"))

CHROOT = 'chroot "$TARGET" /usr/bin/env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C "$@"'


def script(verb: str, args: Sequence[str], target: Path | str, work: Path, in_target: str = '"$@"') -> str:
    """The text that calls `verb`; `in_target` is the body of that function."""
    call = " ".join(shlex.quote(word) for word in (shell_library.function(verb), *args))
    return "\n".join(
        (
            f"TARGET={shlex.quote(str(target))} WORK={shlex.quote(str(work))}",
            "set -u; umask 022",
            "NEW_LINE='\n'",
            "say() { printf '%s\\n' \"$*\"; }",
            f"in_target() {{ {in_target}; }}",
            shell_library.verbs([verb]),
            call,
            "",
        )
    )


def run(
    verb: str,
    *args: str,
    target: Path | str,
    work: Path,
    shell: Sequence[str] = ("dash",),
    stdin: str = "",
    in_target: str = '"$@"',
    env: dict[str, str] | None = None,
    before: str = "",
) -> subprocess.CompletedProcess[str]:
    """The verb's outcome. `before` runs first in a mount namespace of its own, where mounts of the test end with it."""
    text = script(verb, args, target, work, in_target)
    command = [*shell, "-c", text]
    if before:
        command = ["unshare", "--mount", "dash", "-c", f"{before}\nexec {shlex.join(command)}"]
    return subprocess.run(command, input=stdin, capture_output=True, text=True, env=env, timeout=120)
