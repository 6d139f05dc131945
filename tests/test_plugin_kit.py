"""A stranger's way: the chapter "Your own step in fifteen minutes" word for word, what leads on from it too, then two
wheels, in one fresh venv.

Packages come from whatever index the machine's own pip configuration names.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_FILE = re.compile(r"`([\w.]+\.(?:py|toml))`\s[^`]*\Z")


def chapter() -> tuple[str, str, str]:
    """The chapter's text, what leads on from it, and the package family."""
    whole = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    text = whole.split("## Your own step in fifteen minutes\n")[1].split("\n## ")[0]
    first, further, family = re.split(r"\n### (?:Going on|A family of one's own)\n", text)
    return first, further, family


def files(text: str) -> dict[str, str]:
    """The text's files by name: each code block behind a paragraph that ends with a file's name and a few words."""
    found = {}
    for match in _BLOCK.finditer(text):
        named = _FILE.search(text[: match.start()].rsplit("\n\n", 2)[-2].rstrip(":")) if match[1] != "sh" else None
        if named:
            found[named[1]] = match[2]
    return found


def commands(text: str) -> list[str]:
    return [match[2] for match in _BLOCK.finditer(text) if match[1] == "sh"]


def done(command: str, folder: Path) -> str:
    """The output of a shell command; the test fails with all it said if it fails."""
    bare = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}
    ran = subprocess.run(["sh", "-euc", command], cwd=folder, capture_output=True, text=True, check=False, env=bare)
    assert ran.returncode == 0, f"{command}\n{ran.stdout}\n{ran.stderr}"
    return ran.stdout


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with what a stranger has: a clone of Bedplate. The chapter's first commands have been typed there."""
    folder = tmp_path_factory.mktemp("stranger")
    ignore = shutil.ignore_patterns("*.egg-info", "__pycache__", "build")
    for part in ("compiler", "plugins", "schema", "specs"):
        shutil.copytree(ROOT / part, folder / "bedplate" / part, ignore=ignore)
    for part in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / part, folder / "bedplate" / part)
    done(commands(chapter()[0])[0], folder)
    yield folder


def test_the_chapter_is_short() -> None:
    first, further, family = map(files, chapter())
    assert set(first) == {"pyproject.toml", "saltmarsh_buoy.py", "test_buoy.py"}
    assert set(further) == {"saltmarsh_buoy.py", "test_buoy.py"}
    assert set(family) == {"saltmarsh_sedge.py"}
    for found, most in ((first, 60), (further, 85), (family, 20)):
        assert len([line for text in found.values() for line in text.splitlines() if line.strip()]) <= most


def test_the_chapter_works_word_for_word(place: Path) -> None:
    step = place / "saltmarsh-buoy"
    first, further, family = chapter()
    for name, text in files(first).items():
        (step / name).write_text(text, encoding="utf-8")
    said = done(commands(first)[1], step)
    assert re.search(r"\b[2-9][0-9] passed\b", said)
    assert re.search(r"^buoy +1 +buoy +saltmarsh-buoy 1\.0 ", said, re.MULTILINE)
    found = ["limpet-01.md", "limpet-01.html", "limpet-01.sh", "limpet-01.audit.sh", "change.md"]
    assert said.splitlines()[-5:] == found
    assert "the section [buoy] is new: in place" in said
    assert "sh change.sh --undo" in (step / "change.md").read_text(encoding="utf-8")
    for name, text in files(further).items():
        (step / name).write_text(text, encoding="utf-8")
    said = done(commands(further)[0], step)
    assert re.search(r"\b[2-9][0-9] passed\b", said) and "other hours for the buoy: in place" in said
    assert re.search(r"old: pier\.toml:\d+:\d+\n +new: longer\.toml:\d+:\d+\n", said)
    assert "systemctl enable" in (step / "change.sh").read_text(encoding="utf-8").replace(" --root /", "")
    for name, text in files(family).items():
        (step / name).write_text(text, encoding="utf-8")
    said = done(commands(family)[0], step)
    assert int(said.splitlines()[-1]) > 0
    assert re.search(
        r"^base\.family +sedge +sedge +saltmarsh-buoy 1\.0 +PackageFamily, PackageChanges, ", said, re.MULTILINE
    )
    assert "keepers" in (step / "sedge.md").read_text(encoding="utf-8")


def test_two_wheels_in_one_environment(place: Path) -> None:
    shutil.copytree(ROOT / "tests" / "plugin_example", place / "example", dirs_exist_ok=True)
    python = place / "saltmarsh-buoy" / ".venv" / "bin" / "python"
    done(f"{python} -m pip wheel --quiet --no-deps --wheel-dir wheels ./bedplate ./example", place)
    wheels = sorted(path.name.split("-")[0] for path in (place / "wheels").glob("*.whl"))
    assert wheels == ["bedplate", "saltmarsh_tide_gauge"]
    done(f"{python} -m pip install --quiet --force-reinstall --no-deps wheels/*.whl", place)
    machine = place / "machine"
    machine.mkdir()
    for path in (ROOT / "specs").glob("limpet-01.*"):
        shutil.copy(path, machine)
    shutil.copy(ROOT / "specs" / "common.toml", machine)
    with (machine / "limpet-01.toml").open("a") as spec:
        spec.write('\n[tide_gauge]\nkeeper = "warden"\ngauges = [{ name = "north", port = "ttyS0" }]\n')
    bedplate = python.with_name("bedplate")
    for rendering in ("checklist", "script", "audit", "json"):
        assert "/etc/tide-gauge/settings.json" in done(f"{bedplate} compile limpet-01.toml --as {rendering}", machine)
    text = (machine / "limpet-01.toml").read_text().replace('family = "dnf"\nrelease = "42"', 'family = "sedge"')
    (machine / "sedge.toml").write_text(text)
    assert "tide-clock.service" in done(f"{bedplate} compile sedge.toml", machine)
    assert "passed" in done(f"{python} -m pytest -q tests", place / "example")
