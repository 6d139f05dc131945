"""Programs of Debian packages that tests run without installing them: an installed network manager or Wi-Fi program
would take over the machine the tests run on. Each is unpacked into a folder, with the libraries it lacks here.
"""

from __future__ import annotations

import functools
import os
import subprocess
from pathlib import Path

from vm.cache import built

PACKAGES = ("network-manager", "udev", "wpasupplicant")


def _apt(*words: str, cwd: Path | None = None) -> str:
    command = ["apt-get", "-q", *words]
    plain = {**os.environ, "LC_ALL": "C"}
    done = subprocess.run(command, cwd=cwd, env=plain, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (command, done.stdout, done.stderr)
    return done.stdout


def _wanted() -> list[str]:
    """The packages and whatever an installation would bring along, as one that is only played says."""
    played = _apt("-s", "install", "--no-install-recommends", "--reinstall", *PACKAGES)
    return sorted({*PACKAGES, *(line.split()[1] for line in played.splitlines() if line.startswith("Inst "))})


@functools.cache
def unpacked() -> Path:
    """The folder with the unpacked packages, fetched from the machine's own package source when they are new there.

    Fails, and never skips, where they cannot be had."""
    try:
        wanted = _wanted()
    except AssertionError:
        _apt("update")  # a machine without package lists
        wanted = _wanted()
    addresses = _apt("--print-uris", "download", *wanted)

    def build(folder: Path) -> None:
        _apt("download", *wanted, cwd=folder)
        for package in sorted(folder.glob("*.deb")):
            subprocess.run(["dpkg-deb", "-x", package, folder], check=True)
            package.unlink()

    return built("unpacked-programs", [addresses], build)


@functools.cache
def program(name: str) -> tuple[str, ...]:
    """The words that run one of them."""
    folder = unpacked()
    places = (folder / place / name for place in ("usr/bin", "usr/sbin", "bin", "sbin"))
    path = next((path for path in places if path.exists()), None)
    assert path is not None, f"no {name} in {PACKAGES}"
    libraries = ":".join(str(place) for place in sorted(folder.glob("**/*-linux-gnu")) if place.parent.name == "lib")
    return ("env", f"LD_LIBRARY_PATH={libraries}", str(path))
