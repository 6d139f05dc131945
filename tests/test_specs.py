"""The example machines: every rendering of each, the same bytes everywhere, and scripts that four shells accept."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

import bedplate_schema
from bedplate.loading.registry import load

ROOT = Path(__file__).resolve().parent.parent
MACHINES = ("barnacle-05", "kelp-02", "limpet-01", "tern-04")


def bedplate(*arguments: str, cwd: Path = ROOT, **environment: str) -> subprocess.CompletedProcess[bytes]:
    paths = os.pathsep.join(str(ROOT / top) for top in ("compiler", "plugins", "schema"))
    return subprocess.run(
        [sys.executable, "-m", "bedplate.cli", *arguments],
        cwd=cwd,
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONPATH": paths, **environment},
    )


@pytest.fixture(scope="module")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with every rendering of every machine."""
    folder = tmp_path_factory.mktemp("compiled")
    specs = [f"specs/{name}.toml" for name in MACHINES]
    for rendering in load().renderers:
        ran = bedplate("compile", *specs, "--as", rendering, "--out", str(folder))
        assert ran.returncode == 0, ran.stderr.decode()
    return folder


def test_every_spec_of_the_folder_is_tested() -> None:
    found = {path.stem for path in (ROOT / "specs").glob("*.toml") if "." not in path.stem}
    assert found == {*MACHINES, "common"}


@pytest.mark.parametrize("name", MACHINES)
def test_a_spec_is_clean(name: str) -> None:
    ran = bedplate("check", f"specs/{name}.toml")
    assert ran.returncode == 0
    assert b": no faults" in ran.stderr


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("kind", ["", ".audit"])
@pytest.mark.parametrize(
    "shell", [["shellcheck", "-s", "sh"], ["dash", "-n"], ["bash", "-n"], ["busybox", "sh", "-n"]], ids=" ".join
)
def test_scripts_are_clean_in_every_shell(compiled: Path, name: str, kind: str, shell: list[str]) -> None:
    script = compiled / f"{name}{kind}.sh"
    ran = subprocess.run([*shell, str(script)], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "", "")
    assert os.access(script, os.X_OK)


@pytest.mark.parametrize("name", MACHINES)
def test_the_json_rendering_keeps_its_published_schema(compiled: Path, name: str) -> None:
    """Reference: the meta-schema of JSON Schema draft 2020-12, and the schema `bedplate schema --of graph` prints."""
    schema = bedplate_schema.load("graph")
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(json.loads((compiled / f"{name}.json").read_text()))


def test_the_composed_schema_keeps_the_meta_schema_and_takes_every_example() -> None:
    """Reference: https://json-schema.org/draft/2020-12/schema, as shipped with the jsonschema library."""
    schema = json.loads(bedplate("schema").stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


VARIATIONS = (
    {"TZ": "Pacific/Auckland", "PYTHONHASHSEED": "1", "LC_ALL": "C"},
    {"TZ": "America/St_Johns", "PYTHONHASHSEED": "4242", "LC_ALL": "C.UTF-8"},
)


@pytest.mark.parametrize("rendering", sorted(load().renderers))
def test_same_input_same_bytes(rendering: str, tmp_path: Path) -> None:
    """Twice, in two time zones, two working folders, two hash seeds and two locales."""
    outputs = []
    for number, variation in enumerate(VARIATIONS):
        folder = tmp_path / f"place-{number}" / "specs"
        shutil.copytree(ROOT / "specs", folder)
        ran = bedplate("compile", "specs/kelp-02.toml", "--as", rendering, cwd=folder.parent, **variation)
        outputs.append(ran.stdout)
    outputs.append(bedplate("compile", str(folder / "kelp-02.toml"), "--as", rendering, cwd=tmp_path).stdout)
    assert outputs[0]
    assert outputs[0] == outputs[1] == outputs[2]


def test_no_output_names_this_machine(compiled: Path) -> None:
    for path in compiled.iterdir():
        assert str(ROOT) not in path.read_text(encoding="utf-8"), path.name
