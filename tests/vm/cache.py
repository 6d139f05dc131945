"""Things that take minutes to build, kept by content outside the work tree."""

import fcntl
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path


def cache_root() -> Path:
    """The cache folder: ``BEDPLATE_BENCH_CACHE``, or ``~/.cache/bedplate-bench``."""
    return Path(os.environ.get("BEDPLATE_BENCH_CACHE") or Path.home() / ".cache" / "bedplate-bench")


def built(name: str, recipe: Iterable[str], build: Callable[[Path], None]) -> Path:
    """Folder that ``build`` filled, made anew only when a text of the recipe changes.

    The build works in a folder of its own that takes its final name last, so a build that
    broke off leaves nothing behind that looks finished. A lock keeps two test processes
    from building the same thing twice.
    """
    digest = hashlib.sha256("\0".join(recipe).encode()).hexdigest()[:16]
    root = cache_root()
    root.mkdir(parents=True, exist_ok=True)
    done = root / f"{name}-{digest}"
    with open(root / f"{name}-{digest}.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.is_dir():
            _build_aside(done, build)
    return done


def _build_aside(done: Path, build: Callable[[Path], None]) -> None:
    aside = Path(tempfile.mkdtemp(prefix=f"{done.name}.", dir=done.parent))
    try:
        build(aside)
        aside.rename(done)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
