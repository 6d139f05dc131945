"""Running the host's base commands: one place that keeps their messages when they fail."""

import subprocess
from collections.abc import Sequence
from pathlib import Path


class ToolError(Exception):
    """A host command ended with a status other than 0; the text carries all it said."""


def call(argv: Sequence[str | Path], *, stdin: str = "", cwd: Path | None = None) -> str:
    """Standard output of a command; ToolError with its messages when it fails."""
    words = [str(word) for word in argv]
    done = subprocess.run(words, input=stdin, capture_output=True, text=True, cwd=cwd, check=False)
    if done.returncode:
        raise ToolError(f"{' '.join(words)}: status {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout
