"""Every built-in step keeps to the contract, nothing switched off; and the kit complains where it should."""

from __future__ import annotations

from pathlib import Path

from bedplate.testing import Host, conformance_tests

ROOT = Path(__file__).resolve().parent.parent
MACHINES = [Host.read(ROOT / "specs" / f"{name}.toml") for name in ("kelp-02", "limpet-01", "barnacle-05", "tern-04")]

test_base = conformance_tests("base", hosts=MACHINES)
test_bootloader = conformance_tests("bootloader", hosts=MACHINES)
test_clock = conformance_tests("clock", hosts=MACHINES)
test_disk = conformance_tests("disk", hosts=MACHINES)
test_locale = conformance_tests("locale", hosts=MACHINES)
test_network = conformance_tests("network", hosts=MACHINES)
test_users = conformance_tests("users", hosts=MACHINES)
