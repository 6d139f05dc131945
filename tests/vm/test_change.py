"""A machine changed after its installation, compared with one that was installed from the new spec at once.

Installed from OLD; the change script runs on it, it starts anew, the audit of NEW holds. A second machine is installed
from NEW: both hold the same files with the same content, minus `OWN`, what every machine has of its own. Then the
change is taken back, and the audit of OLD holds.
"""

import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from attrs import evolve

from bedplate.cli.main import main

from .cache import cache_root
from .console import Console
from .factory import FactoryMachine
from .install import Technician, bedplate, begin, carry, known_of
from .machine import SHARE_MOUNT, Machine
from .media import LiveMedium
from .rack import Rack
from .sources import PackageSource

pytestmark = [pytest.mark.bench, pytest.mark.long]

PAIRS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "zone and keymap": (('zone = "Europe/Amsterdam"', 'zone = "Europe/Berlin"'), ('keymap = "uk"', 'keymap = "de"')),
    "people": (
        ('groups = ["dialout"]', 'groups = ["video", "plugdev"]'),
        ('full_name = "Station warden"', 'full_name = "Warden of the station"'),
    ),
    "every section": (
        ('microcode = "none"', 'microcode = "none"\nservices = ["fstrim.timer"]'),
        ('mount = "/home"', 'mount = "/home"\noptions = ["noatime"]'),
        ('zone = "Europe/Amsterdam"', 'zone = "Europe/Berlin"'),
        ('keymap = "uk"', 'keymap = "de"'),
        ('names = ["barnacle-05.saltmarsh.example", "barnacle-05"]', 'names = ["barnacle-05"]'),
        ('groups = ["dialout"]', 'groups = ["dialout", "video"]'),
        ("menu_time = 10", "menu_time = 12"),
    ),
}
"""Wholly in place, or at the next start."""

OWN = (
    "var/log/",
    "var/lib/bedplate/aside/",
    "var/lib/bedplate/install.log",
    "var/lib/bedplate/spec",
    "var/lib/systemd/",
    "var/lib/dbus/",
    "var/cache/",
    "var/tmp/",
    "tmp/",
    "etc/machine-id",
    "etc/ssh/ssh_host_",
    "etc/shadow",
    "etc/gshadow",
    "etc/.pwd.lock",
    "etc/passwd-",
    "etc/group-",
    "etc/subuid-",
    "etc/subgid-",
    "boot/grub/grubenv",
    "boot/initrd.img-",
    "var/lib/private/",
    "home/ana/.bash_history",
    "root/.bash_history",
)
"""What differs between any two installations of one spec: logs, keys and ids of the machine, salts, caches,
and what a person's own logins leave behind. Images of the initramfs carry times: their content is compared instead."""


Edits = tuple[tuple[str, str], ...]


def edit(text: str, edits: Edits) -> str:
    """The spec with these edits; each text stands there exactly once."""
    for was, now in edits:
        assert text.count(was) == 1, was
        text = text.replace(was, now)
    return text


def installed(machine: Machine, medium: LiveMedium, known: Mapping[str, str], edits: Edits = ()) -> Technician:
    """Installed from the case with these edits, and switched off."""
    technician = Technician(machine=machine, case="kelp-02")
    console = begin(machine, medium)
    survey = technician.survey(console)
    technician.write_spec({**known_of(survey, machine.disks[0].serial), **known})
    technician.spec.write_text(edit(technician.spec.read_text(), edits))
    technician.compile()
    result = technician.install(console)
    assert result.status == 0, result.output
    machine.power_off(console)
    return technician


def write_change(technician: Technician, edits: Edits) -> None:
    """NEW beside OLD; the change script and both audits, where the machine can read them."""
    old, share = technician.spec, technician.machine.share
    new = old.with_name("new.toml")
    new.write_text(edit(old.read_text(), edits))
    for spec, name in ((old, "old"), (new, "new")):
        (share / f"audit-{name}.sh").write_text(bedplate("compile", spec, "--as", "audit"))
    # Status 1: the specs differ.
    assert main(["diff", str(old), str(new), "--as", "script", "--out", str(share / "change.sh")]) == 1


def run_change(console: Console, name: str, option: str = "") -> None:
    """The script, confirmed by the machine's name."""
    console.start(f"sh {SHARE_MOUNT}/change.sh {option}")
    console.expect(r"Type the name of the machine \([^)]*\)", 120)
    console.answer(name)
    result = console.finish(900)
    assert result.status == 0, result.output


def audited(console: Console, name: str) -> None:
    """Every proof of that audit holds."""
    said = console.run(f"sh {SHARE_MOUNT}/audit-{name}.sh", 300).output
    failed = "\n".join(line for line in said.splitlines() if not line.startswith("holds "))
    assert said.splitlines()[-1].endswith(" proofs hold, 0 do not"), failed


def files(technician: Technician, console: Console) -> dict[str, str]:
    """Every file of the running system and of its initramfs by content, links by where they point."""
    out = f"{SHARE_MOUNT}/tree.txt"
    console.check(
        f"cd / && find . -xdev -type f -exec sha256sum {{}} + >{out}; "
        f"find . -xdev -type l -printf 'link:%l  %p\\n' >>{out}; cd; sync",
        600,
    )
    console.check(
        f"mkdir /run/look && unmkinitramfs /boot/initrd.img-* /run/look && cd /run/look && "
        f"find . -type f -exec sha256sum {{}} + | sed 's#  ./#  ./initramfs/#' >>{out}; "
        f"cd; rm -r /run/look; sync",
        600,
    )
    found: dict[str, str] = {}
    for line in (technician.machine.share / "tree.txt").read_text().splitlines():
        digest, _, path = line.partition("  ./")
        if not path.startswith(OWN):
            found[path] = digest
    return found


def start(technician: Technician) -> Console:
    """Started from its own disk, as root, the shared folder there."""
    console = technician.start_new_system("ana")
    technician.become_root(console)
    technician.machine.mount_share(console)
    return console


def restart(technician: Technician, console: Console) -> Console:
    """The same after a start."""
    console.answer("systemctl reboot")
    technician.machine.wait_off()
    return start(technician)


@pytest.fixture(scope="module")
def as_old(
    factory: FactoryMachine, medium: LiveMedium, archive: Path, package_source: PackageSource
) -> Iterator[Technician]:
    """A machine installed from OLD, off; the tests go on from copies of it."""
    folder = cache_root() / "runs" / "installed-from-old"
    shutil.rmtree(folder, ignore_errors=True)
    machine = factory.unpack(folder)
    try:
        yield installed(machine, medium, {"suite": package_source.suite, **carry(archive, machine)})
    finally:
        machine.off()
        machine.disks[0].path.unlink()


def copy_of(old: Technician, rack: Rack) -> Technician:
    """The same machine once more, its spec and survey beside it."""
    technician = evolve(old, machine=rack.fork("changed", old.machine))
    for file in (old.spec, old.survey_file):
        shutil.copyfile(file, technician.machine.folder / file.name)
    return technician


def papers(console: Console) -> list[str]:
    """The spec and survey that the machine keeps of itself."""
    return console.check("ls /var/lib/bedplate/spec/").split()


@pytest.mark.parametrize("name", PAIRS)
def test_a_changed_machine_is_like_one_installed_from_the_new_spec(
    name: str,
    rack: Rack,
    factory: FactoryMachine,
    medium: LiveMedium,
    archive: Path,
    package_source: PackageSource,
    as_old: Technician,
) -> None:
    technician = copy_of(as_old, rack)
    write_change(technician, PAIRS[name])
    console = start(technician)
    audited(console, "old")
    assert papers(console) == ["kelp-02.survey.toml", "kelp-02.toml"]
    run_change(console, technician.case)
    console = restart(technician, console)
    audited(console, "new")
    assert papers(console) == ["kelp-02.survey.toml", "new.toml"]
    changed = files(technician, console)
    run_change(console, technician.case, "--undo")
    console = restart(technician, console)
    audited(console, "old")
    assert papers(console) == ["kelp-02.survey.toml", "kelp-02.toml"]
    technician.machine.off()
    fresh = rack.factory("fresh", factory)
    other = installed(fresh, medium, {"suite": package_source.suite, **carry(archive, fresh)}, PAIRS[name])
    assert changed == files(other, start(other))
    fresh.off()
