"""Runs a runtime function by itself, with all it uses, under a shell. Enters: its name, words, a folder for a root.
Leaves: exit status, output and complaints.

    from bedplate.testing import SHELLS, run_function

    @pytest.mark.parametrize("shell", SHELLS, ids=" ".join)
    def test_lamp_burns(shell, tmp_path):
        (tmp_path / "buoy.conf").write_text("hours=8\\n")
        assert run_function("buoy/lamp-burns", tmp_path / "buoy.conf", 8, target=tmp_path, shell=shell).returncode == 0
"""

from __future__ import annotations

import shlex
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from bedplate.testing.subject import installed

SHELLS = (("dash",), ("bash", "--posix"), ("busybox", "sh"))
"""The shells that scripts are for."""


def function_script(name: str, args: Sequence[object], target: Path | str, work: Path, in_target: str = '"$@"') -> str:
    """The text that calls the function; `in_target` is the body of the runtime function of that name."""
    library = installed().library
    call = " ".join(shlex.quote(str(word)) for word in (library.call(name), *args))
    return "\n".join(
        (
            f"TARGET={shlex.quote(str(target))} WORK={shlex.quote(str(work))}",
            "set -u; umask 022",
            "NEW_LINE='\n'",
            "say() { printf '%s\\n' \"$*\"; }",
            f"in_target() {{ {in_target}; }}",
            library.text([name]),
            call,
            "",
        )
    )


def run_function(
    name: str,
    *args: object,
    target: Path | str,
    work: Path | None = None,
    shell: Sequence[str] = ("dash",),
    stdin: str = "",
    in_target: str = '"$@"',
    env: Mapping[str, str] | None = None,
    before: str = "",
) -> subprocess.CompletedProcess[str]:
    """What came of a call. `work` is its scratch folder, without it one that goes again; `before` runs first, in a
    mount namespace of its own, where its mounts end with it."""
    with tempfile.TemporaryDirectory() as scratch:
        command = [*shell, "-c", function_script(name, args, target, work or Path(scratch), in_target)]
        if before:
            command = ["unshare", "--mount", "dash", "-c", f"{before}\nexec {shlex.join(command)}"]
        return subprocess.run(command, input=stdin, capture_output=True, text=True, env=env, timeout=120)
