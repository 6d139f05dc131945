"""The [tide_gauge] step: the conformance kit, and what is its own."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from bedplate.testing import SHELLS, conformance_tests, run_function

SMALL = """
[tide_gauge]
keeper = "warden"
gauges = [{ name = "north", port = "ttyS0" }]
"""
WHOLE = """
[tide_gauge]
every = 5
place = "Sluice, \\"north\\" wall"
keeper = "warden"
upload = "tide-store.saltmarsh.example"
gauges = [{ name = "north", port = "ttyS0", speed = 1200 }, { name = "south", port = "ttyUSB0" }]
"""

STRANGER = WHOLE.replace("warden", "wardem")
TWIN = WHOLE.replace("ttyUSB0", "ttyS0")

test_conformance = conformance_tests(
    "tide_gauge", examples=[SMALL, WHOLE], bad={"keeper-unknown": STRANGER, "gauge-twin": TWIN}
)


@pytest.mark.parametrize("rendering", ["checklist", "script", "audit", "json"])
def test_the_step_shows_in_every_rendering(rendering: str, bedplate_compile: Callable[..., str]) -> None:
    text = bedplate_compile(WHOLE, rendering)
    assert "tide logger's settings" in text.replace("'\"'\"'", "'").replace("&#x27;", "'")


def test_settings_are_json(bedplate_compile: Callable[..., str]) -> None:
    graph = json.loads(bedplate_compile(WHOLE, "json"))
    [action] = [one for one in graph["actions"] if one["id"] == "tide_gauge.settings"]
    settings = json.loads("".join(action["operations"][0]["content"]))
    assert settings["place"] == 'Sluice, "north" wall'
    assert settings["gauges"][1] == {"name": "south", "port": "/dev/ttyUSB0", "speed": 9600}


@pytest.mark.parametrize(("old", "new", "code"), [("ttyS0", "sda", "malformed"), ("warden", "Warden", "malformed")])
def test_faults(old: str, new: str, code: str, bedplate_compile: Callable[..., str]) -> None:
    with pytest.raises(pytest.fail.Exception, match=code):
        bedplate_compile(WHOLE.replace(old, new))


@pytest.mark.parametrize("shell", SHELLS, ids=" ".join)
def test_a_gauge_hangs_on_a_port_that_is_there(shell: tuple[str, ...], tmp_path: Path) -> None:
    """A serial port is a character device, as /dev/null is (stat(1)); a plain file of its name is none."""
    (tmp_path / "ttyS0").write_text("")
    assert run_function("tide_gauge/ports-there", "/dev/null", target=tmp_path, shell=shell).returncode == 0
    done = run_function("tide_gauge/ports-there", "/dev/null", tmp_path / "ttyS0", target=tmp_path, shell=shell)
    assert done.returncode == 1 and f"no serial port {tmp_path}/ttyS0" in done.stderr
