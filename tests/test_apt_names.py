"""What apt would take for an order, and what goes with a package: the verbs with this machine's apt-get(8), on a data
base of packages of their own. Nothing is removed: the real tool only simulates, and tells what it was asked."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import run_function as run

_STATUS = """\
Package: {name}
Status: install ok installed
Version: 1
Architecture: all
Maintainer: Saltmarsh
Description: x
{more}
"""
STATES = {"buoy": "Depends: buoy-data", "buoy-data": "", "tide": "Depends: buoy", "gauge": "", "gauge-old": ""}
"""gauge-old was brought along by something that went long ago; nobody needs it."""
AUTOMATIC = ("buoy-data", "gauge-old")


@pytest.fixture
def apt(tmp_path: Path) -> str:
    """The body of in_target: this machine's tools with the folder's data base, removals only told."""
    for name in ("state/lists/partial", "cache/archives/partial", "etc", "dpkg"):
        (tmp_path / name).mkdir(parents=True)
    status = "".join(_STATUS.format(name=name, more=f"{more}\n" if more else "") for name, more in STATES.items())
    (tmp_path / "dpkg/status").write_text(status)
    (tmp_path / "state/extended_states").write_text(
        "".join(f"Package: {name}\nArchitecture: all\nAuto-Installed: 1\n\n" for name in AUTOMATIC)
    )
    (tmp_path / "apt.conf").write_text(
        f'Dir::State "{tmp_path}/state"; Dir::State::status "{tmp_path}/dpkg/status"; Dir::Cache "{tmp_path}/cache";\n'
        f'Dir::State::extended_states "{tmp_path}/state/extended_states"; Dir::Etc "{tmp_path}/etc";\n'
        'Debug::NoLocking "true"; APT::Architecture "amd64";\n'
    )
    real = f'APT_CONFIG="{tmp_path}/apt.conf" "$@"'
    return f'case "$*" in *noninteractive*) printf "%s\\n" "$*" >>"{tmp_path}/told" ;; *) {real} ;; esac'


def call(verb: str, *words: str, folder: Path, apt: str, shell: tuple[str, ...]) -> subprocess.CompletedProcess[str]:
    (folder / "work").mkdir(exist_ok=True)
    return run(verb, *words, target=folder, work=folder / "work", in_target=apt, shell=shell)


@pytest.mark.parametrize("shell", SHELLS)
def test_a_name_is_known_to_the_letter(tmp_path: Path, apt: str, shell: tuple[str, ...]) -> None:
    assert call("base/apt-names-known", "buoy", "buoy-data", folder=tmp_path, apt=apt, shell=shell).returncode == 0
    for name in ("b.oy", "buo.", "tid", "buoy.*"):
        said = call("base/apt-names-known", "gauge", name, folder=tmp_path, apt=apt, shell=shell)
        assert (said.returncode, f"has no package {name}\n" in said.stderr) == (1, True), name
    reads = subprocess.run(["sh", "-c", f"set -- apt-get -s remove -- b.oy; {apt}"], capture_output=True, text=True)
    assert "Remv buoy " in reads.stdout  # so does the tool by itself


@pytest.mark.parametrize("shell", SHELLS)
def test_what_nobody_needed_before_stays(tmp_path: Path, apt: str, shell: tuple[str, ...]) -> None:
    assert call("base/apt-drop", "tide", "buoy", folder=tmp_path, apt=apt, shell=shell).returncode == 0
    [told] = (tmp_path / "told").read_text().splitlines()
    assert told.startswith("DEBIAN_FRONTEND=noninteractive apt-get -q -y --purge remove -- ")
    assert sorted(told.partition(" -- ")[2].split()) == ["buoy", "buoy-data", "tide"]


@pytest.mark.parametrize("shell", SHELLS)
def test_nothing_that_somebody_asked_for_goes_along(tmp_path: Path, apt: str, shell: tuple[str, ...]) -> None:
    said = call("base/apt-can-go", "1", "buoy", folder=tmp_path, apt=apt, shell=shell)
    assert (said.returncode, "the package tide would be removed as well" in said.stderr) == (1, True)
    whole = call("base/apt-can-go", "2", "buoy", "tide", "gauge", folder=tmp_path, apt=apt, shell=shell)
    assert whole.returncode == 0, whole.stderr
