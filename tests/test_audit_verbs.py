"""The verbs of the audit that look at a running system, on made-up folders and with made-up tools, in three shells.

What the real tools and files say stands in tests/vm/, where the audit runs on installed machines.
"""

from __future__ import annotations

import shlex
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest
from attrs import define

from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import function_script as script
from library import LIBRARY

MAC = "00:00:5e:00:53:17"  # for documentation: RFC 7042, section 2.1.2


@define
class Running:
    """A running system made of files and tools."""

    folder: Path
    shell: Sequence[str]

    def __attrs_post_init__(self) -> None:
        for name in ("net", "bin", "work", "efivars"):
            (self.folder / name).mkdir()

    def link(self, name: str, mac: str, *, carrier: bool) -> None:
        """A network card as sysfs shows it (Documentation/ABI/testing/sysfs-class-net of the kernel)."""
        place = self.folder / "net" / name
        (place / "device").mkdir(parents=True)
        (place / "address").write_text(mac + "\n")
        (place / "carrier").write_text(f"{int(carrier)}\n")

    def tool(self, name: str, body: str) -> None:
        """A tool that stands before the real one."""
        path = self.folder / "bin" / name
        path.write_text(f"#!/bin/sh\n{body}\n")
        path.chmod(0o755)

    def run(self, verb: str, *args: str) -> subprocess.CompletedProcess[str]:
        """The verb's outcome."""
        text = script(verb, args, "", self.folder / "work")
        for real, made in (
            ("/sys/class/net", "net"),
            ("/sys/firmware/efi/efivars", "efivars"),
            ("/proc/swaps", "swaps"),
            ("/etc/resolv.conf", "resolv.conf"),
            ("/etc/apt/", "apt/"),
        ):
            text = text.replace(real, str(self.folder / made) + ("/" if real.endswith("/") else ""))
        text = f"PATH={shlex.quote(str(self.folder / 'bin'))}:$PATH\n{text}"
        return subprocess.run([*self.shell, "-c", text], capture_output=True, text=True, timeout=60)


@pytest.fixture(params=SHELLS, ids=lambda shell: shell[0])
def running(request: pytest.FixtureRequest, tmp_path: Path) -> Running:
    return Running(tmp_path, request.param)


def addresses(*words: str) -> str:
    """What ip(8) prints with -o, one address a line."""
    return "\n".join(f"echo '2: enp1s0    inet {word} brd 192.0.2.255 scope global enp1s0'" for word in words) or ":"


def test_a_link_needs_an_address(running: Running) -> None:
    running.link("enp1s0", MAC, carrier=True)
    running.tool("ip", addresses("192.0.2.11/24"))
    assert running.run("network/link-runs", MAC, "needed").returncode == 0
    assert running.run("network/link-runs", "enp1s0", "needed", "192.0.2.11/24").returncode == 0
    done = running.run("network/link-runs", MAC, "needed", "192.0.2.1/24")
    assert (done.returncode, done.stderr) == (1, "enp1s0 has not the address 192.0.2.1/24\n")
    running.tool("ip", ":")
    done = running.run("network/link-runs", MAC, "needed")
    assert (done.returncode, done.stderr) == (1, "enp1s0 has no address\n")


def test_a_link_that_is_not_there(running: Running) -> None:
    done = running.run("network/link-runs", MAC, "optional")
    assert (done.returncode, done.stderr) == (1, f"there is no link {MAC}\n")


def test_an_optional_link_without_a_cable_says_so(running: Running) -> None:
    running.link("enp1s0", MAC, carrier=False)
    running.tool("ip", ":")
    done = running.run("network/link-runs", MAC, "optional")
    assert done.returncode == 0
    assert done.stdout == "enp1s0 is optional and not connected: there is nothing to look at\n"
    assert running.run("network/link-runs", MAC, "needed").returncode == 1


def vlan(running: Running, *, name: str = "pump@enp1s0", flags: str = "UP,LOWER_UP", number: int = 42) -> None:
    """What ip(8) prints of a VLAN with -d and -o (iproute2's iplink_vlan.c, from memory), and of its addresses."""
    shown = f"3: {name}: <BROADCAST,MULTICAST,{flags}> mtu 1500 qdisc noqueue state UP\\\\    link/ether {MAC}"
    shown += f"\\\\    vlan protocol 802.1Q id {number} <REORDER_HDR> addrgenmode eui64"
    running.tool("ip", f"case $* in *'link show dev pump') echo '{shown}' ;; *) {addresses('192.0.2.66/28')} ;; esac")


def test_a_vlan_lies_on_its_card_with_its_number(running: Running) -> None:
    running.link("enp1s0", MAC, carrier=True)
    (running.folder / "net/pump").mkdir()  # has its card's address, and no device of its own
    (running.folder / "net/pump/address").write_text(MAC + "\n")
    vlan(running)
    words = ("network/vlan-runs", "pump", "42", MAC, "needed", "192.0.2.66/28")
    done = running.run(*words)
    assert done.returncode == 0, done.stderr
    assert running.run("network/card-name", MAC).stdout == "enp1s0\n"
    for wrong, trouble in (
        ({"number": 421}, "pump is not the VLAN 42 on enp1s0\n"),
        ({"name": "pump@enp2s0"}, "pump is not the VLAN 42 on enp1s0\n"),
        ({"flags": "LOWER_UP"}, "pump is not up\n"),
    ):
        vlan(running, **wrong)  # type: ignore[arg-type]
        done = running.run(*words)
        assert (done.returncode, done.stderr) == (1, trouble)
    running.tool("ip", "exit 1")
    done = running.run(*words)
    assert (done.returncode, done.stderr) == (1, "there is no link pump\n")
    running.link("enp9s0", "00:00:5e:00:53:18", carrier=False)
    done = running.run("network/vlan-runs", "pump", "42", "00:00:5e:00:53:18", "optional")
    assert (done.returncode, done.stdout) == (
        0,
        "pump is optional and enp9s0 not connected: there is nothing to look at\n",
    )


def online(running: Running, found: int) -> subprocess.CompletedProcess[str]:
    running.tool("ip", "echo 'default via 192.0.2.1 dev enp1s0'")
    running.tool("getent", f'[ "$*" = "ahosts mirror.example" ] || exit 9\nexit {found}')
    (running.folder / "resolv.conf").write_text("nameserver 192.0.2.53\n")
    (running.folder / "apt").mkdir(exist_ok=True)
    (running.folder / "apt/sources.list").write_text("deb http://mirror.example:8080/debian bookworm main\n")
    return running.run("network/online", "needed")


def test_online_asks_for_the_package_sources_name(running: Running) -> None:
    done = online(running, 0)
    assert (done.returncode, done.stdout) == (0, "the name mirror.example is found\n")
    done = online(running, 2)
    assert (done.returncode, done.stderr) == (1, "the name mirror.example is not found\n")


def test_online_wants_a_route_and_a_server(running: Running) -> None:
    running.tool("ip", ":")
    assert "no default route" in running.run("network/online", "needed").stderr
    running.link("lo", "00:00:00:00:00:00", carrier=True)
    running.link("wlp1s0", MAC, carrier=False)
    done = running.run("network/online", "optional")
    assert (done.returncode, done.stdout) == (0, "no link is connected: there is nothing to look at\n")


def test_started_by_our_entry(running: Running) -> None:
    """BootCurrent: four bytes of attributes, then the number, low byte first (UEFI 2.10, 3.3)."""
    variable = running.folder / "efivars/BootCurrent-8be4df61-93ca-11d2-aa0d-00e098032b8c"
    variable.write_bytes(b"\x06\0\0\0\x03\0")
    done = running.run("bootloader/started-by", "6d0325d8-cf1c-525b-838b-9949aba9601a", "\\EFI\\saltmarsh\\grubx64.efi")
    assert (done.returncode, done.stderr) == (1, "the firmware has started entry 0003, which is not ours\n")
    (running.folder / "efivars/Boot0003-8be4df61-93ca-11d2-aa0d-00e098032b8c").write_bytes(load_option())
    done = running.run("bootloader/started-by", "6d0325d8-cf1c-525b-838b-9949aba9601a", "\\EFI\\saltmarsh\\grubx64.efi")
    assert (done.returncode, done.stderr) == (0, "")


def load_option() -> bytes:
    """EFI_LOAD_OPTION with a hard drive node and a file path node (UEFI 2.10, 3.1.3, 10.3.5.1, 10.3.5.4)."""
    guid = bytes.fromhex("d825036d1ccf5b52838b9949aba9601a")
    drive = b"\x04\x01\x2a\0" + b"\x01\0\0\0" + bytes(16) + guid + b"\x02\x02"
    name = "\\EFI\\saltmarsh\\grubx64.efi\0".encode("utf-16-le")
    file = b"\x04\x04" + (len(name) + 4).to_bytes(2, "little") + name
    path = drive + file + b"\x7f\xff\x04\0"
    title = "saltmarsh\0".encode("utf-16-le")
    return b"\x07\0\0\0" + b"\x01\0\0\0" + len(path).to_bytes(2, "little") + title + path


def test_swap_file_in_use(running: Running) -> None:
    swaps = running.folder / "swaps"
    swaps.write_text("Filename\t\tType\tSize\tUsed\tPriority\n/swapfile  file\t1024\t0\t-2\n")
    assert running.run("disk/swap-file-is-on", "/swapfile").returncode == 0
    assert running.run("disk/swap-file-is-on", "/swap").stderr == "/swap is not in use as swap\n"


def test_failed_units_are_named(running: Running) -> None:
    failed = "tide.service loaded failed failed Tide"
    running.tool("systemctl", f'[ "$1" = is-system-running ] || {{ echo "{failed}"; exit; }}\necho degraded; exit 1')
    done = running.run("bootloader/units-are-well")
    assert done.returncode == 1
    assert done.stderr == f"the system is degraded\n{failed}\n"
    running.tool("systemctl", "echo running")
    assert running.run("bootloader/units-are-well").returncode == 0


def test_firmware_variables_are_not_compared_by_size() -> None:
    """GNU cmp with -s compares sizes less positions first; efivarfs has no positions (found on the proving bench)."""
    for verb in LIBRARY.entries:
        lines = LIBRARY.text([verb]).splitlines()
        assert not [line for line in lines if "cmp -s" in line and "efivars" in line], verb
