"""Network files read by the programs they are for: systemd-networkd and udev in a network of their own, nmcli and
NetworkManager without a bus, systemd-analyze. wpa_supplicant is beside, in test_wpa.py; iwd has no way to check a file.

networkd is really run on a tap device: it sets the fixed addresses, and its wait-online comes back though an optional
link has no carrier. What a program cannot show here is said in PROVEN.md.
"""

from __future__ import annotations

import configparser
import hashlib
import itertools
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from bedplate.actions import Action, InTarget, SecretRef, WriteFile
from networking import LINK, WIFI, actions, section

from .unpacked import program

NM = 'manager = "networkmanager"\n'
WPA = 'wifi_daemon = "wpa_supplicant"\n'
BY_NAME = '[[links]]\nname = "cable"\ninterface = "cable"\n'
VLAN = '[[links]]\nname = "pump"\nvlan = { id = 42, on = "cable" }\n'
FIXED = 'dhcp = "no"\naddresses = ["192.0.2.5/24", "2001:db8::5/64"]\ngateways = ["192.0.2.1", "2001:db8::1"]\n'
SERVERS = 'dns = ["192.0.2.53", "2001:db8::53"]\nsearch = ["saltmarsh.example", "example"]\n'
OPTIONAL = '[[links]]\nname = "spare"\ninterface = "spare"\noptional = true\n'

SECTIONS = {
    "cable": LINK,
    "fixed": LINK + FIXED + SERVERS,
    "mixed": LINK + 'dhcp = "ipv4"\naddresses = ["2001:db8::5/64"]\n' + SERVERS,
    "public": LINK + 'ipv6_privacy = "public"\n',
    "plain": LINK + 'ipv6_privacy = "off"\n',
    "ipv6-only": LINK + 'dhcp = "ipv6"\n',
    "no-ipv6": LINK + 'ipv6 = "off"\n',
    "by-name": BY_NAME + "optional = true\n",
    "vlan": LINK + VLAN + FIXED,
    "trunk": LINK + 'dhcp = "no"\n' + VLAN.replace("pump", "weir") + "optional = true\n",
    "wifi": WIFI,
    "sae": WIFI.replace("wpa-psk", 'sae", hidden = true, passphrase = "ask'),
    "open": WIFI.replace("wpa-psk", "open"),
    "odd-name": WIFI.replace("saltmarsh", "a;b#c 'd'"),
}
WAYS = {way: LINK + f'ipv6 = "{way}"\n' for way in ("slaac", "dhcpv6")}


def files(action: Action) -> dict[str, str]:
    """What the action writes, by path; a secret as the passphrase `tide and mud`."""
    return {
        operation.path.path: "".join(
            "tide and mud" if isinstance(part, SecretRef) else str(part) for part in operation.content
        )
        for operation in action.operations
        if isinstance(operation, WriteFile) and isinstance(operation.path, InTarget)
    }


def all_files(text: str) -> dict[str, str]:
    return dict(itertools.chain.from_iterable(files(action).items() for action in actions(text).values()))


# --- NetworkManager --------------------------------------------------------------------------------------------------


def keys(text: str) -> dict[tuple[str, str], str]:
    parser = configparser.RawConfigParser(delimiters=("=",), comment_prefixes=("#",), strict=True)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(text)
    return {(group, key): parser[group][key] for group in parser.sections() for key in parser[group]}


def nmcli(*words: str, stdin: str = "") -> str:
    command = [*program("nmcli"), "--offline", "connection", *words]
    done = subprocess.run(command, input=stdin, capture_output=True, text=True, check=False)
    assert done.returncode == 0, (words, done.stderr)
    return done.stdout


def read_back(text: str) -> dict[tuple[str, str], str]:
    """The key file as nmcli understands it: read whole, and written anew with nothing changed."""
    return keys(nmcli("modify", "connection.zone", "", stdin=text))


def usual(found: dict[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    """Two values that nm-settings-keyfile(5) lets be written in two ways, in one of them: the gateway behind the first
    address, and the name of a wireless network as a list of octets."""
    usual = dict(found)
    for group in ("ipv4", "ipv6"):
        gateway = usual.pop((group, "gateway"), "")
        if gateway:
            usual[group, "address1"] += f",{gateway}"
    ssid = usual.get(("wifi", "ssid"), "")
    if ssid and not re.fullmatch(r"(\d+;)+", ssid):
        usual["wifi", "ssid"] = "".join(f"{octet};" for octet in re.sub(r"\\+;", ";", ssid).encode())
    return usual


@pytest.mark.proves(manager="networkmanager", by="tool")
@pytest.mark.parametrize("name", SECTIONS)
def test_nmcli_reads_every_key(name: str) -> None:
    for link in section(NM + SECTIONS[name]).links:
        [text] = files(actions(NM + SECTIONS[name])[f"network.link-{link.name}"]).values()
        ours, theirs = usual(keys(text)), usual(read_back(text))
        assert {pair: value for pair, value in ours.items() if theirs.get(pair) != value} == {}


@pytest.mark.parametrize(("key", "value"), [("ip6-privacy", "9"), ("ip6-privaci", "2"), ("addr-gen-mode", "stabel")])
def test_a_key_that_nmcli_does_not_know_is_lost(key: str, value: str) -> None:
    [text] = files(actions(NM + LINK)["network.link-cable"]).values()
    assert ("ipv6", key) not in read_back(text.replace("ip6-privacy=2", f"{key}={value}")) or key != "ip6-privaci"
    assert read_back(text.replace("ip6-privacy=2", f"{key}={value}")).get(("ipv6", key)) != value


ADDED = {
    "fixed": (
        "type",
        "ethernet",
        "con-name",
        "cable",
        "mac",
        "00:16:3E:5A:17:01",
        "ipv4.method",
        "manual",
        "ipv4.addresses",
        "192.0.2.5/24",
        "ipv4.gateway",
        "192.0.2.1",
        "ipv4.dns",
        "192.0.2.53",
        "ipv4.dns-search",
        "saltmarsh.example,example",
        "ipv6.method",
        "manual",
        "ipv6.addresses",
        "2001:db8::5/64",
        "ipv6.gateway",
        "2001:db8::1",
        "ipv6.dns",
        "2001:db8::53",
        "ipv6.dns-search",
        "saltmarsh.example,example",
    ),
    "public": ("type", "ethernet", "con-name", "cable", "mac", "00:16:3E:5A:17:01", "ipv6.ip6-privacy", "1"),
    "no-ipv6": ("type", "ethernet", "con-name", "cable", "mac", "00:16:3E:5A:17:01", "ipv6.method", "disabled"),
    "vlan": (
        "type",
        "vlan",
        "con-name",
        "pump",
        "ifname",
        "pump",
        "dev",
        "PARENT",
        "id",
        "42",
        "ipv4.method",
        "manual",
        "ipv4.addresses",
        "192.0.2.5/24",
        "ipv4.gateway",
        "192.0.2.1",
        "ipv6.method",
        "manual",
        "ipv6.addresses",
        "2001:db8::5/64",
        "ipv6.gateway",
        "2001:db8::1",
    ),
    "wifi": (
        "type",
        "wifi",
        "con-name",
        "air",
        "mac",
        "00:16:3E:5A:17:02",
        "ssid",
        "saltmarsh",
        "wifi.mode",
        "infrastructure",
        "wifi-sec.key-mgmt",
        "wpa-psk",
        "wifi-sec.psk",
        "tide and mud",
        "ipv6.ip6-privacy",
        "2",
    ),
}
"""What a technician would type for the same links: nmcli(1), nm-settings-nmcli(5)."""


@pytest.mark.proves(manager="networkmanager", by="tool")
@pytest.mark.parametrize("name", ADDED)
def test_our_key_file_is_what_nmcli_would_write(name: str) -> None:
    link = section(NM + SECTIONS[name]).links[-1]
    [text] = files(actions(NM + SECTIONS[name])[f"network.link-{link.name}"]).values()
    ours = read_back(text)
    words = [ours["vlan", "parent"] if word == "PARENT" else word for word in ADDED[name]]
    theirs = keys(nmcli("add", *words))
    own = {("connection", "uuid"), ("ipv6", "addr-gen-mode"), ("connection", "interface-name")}

    assert {pair: value for pair, value in theirs.items() if pair not in own} == {
        pair: value for pair, value in ours.items() if pair not in own
    }


@pytest.mark.proves(manager="networkmanager", by="tool")
def test_networkmanager_reads_its_settings(tmp_path: Path) -> None:
    text = files(actions(NM + 'wifi_daemon = "iwd"\n' + WIFI)["network.settings"])
    (tmp_path / "conf.d").mkdir()
    for path, content in text.items():
        (tmp_path / "conf.d" / Path(path).name).write_text(content)
    (tmp_path / "whole.conf").write_text("[main]\n")
    command = [
        *program("NetworkManager"),
        "--print-config",
        f"--config={tmp_path}/whole.conf",
        f"--config-dir={tmp_path}/conf.d",
        f"--system-config-dir={tmp_path}/none",
        f"--intern-config={tmp_path}/intern.conf",
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "[device]\nwifi.backend=iwd\n" in done.stdout
    assert "WARN" not in done.stdout + done.stderr


# --- systemd ---------------------------------------------------------------------------------------------------------

NETWORK = "/etc/systemd/network"
NEEDS_ROOT = pytest.mark.skipif(os.getuid() != 0, reason="a network of its own needs root: run the tests as root")
COMPLAINT = re.compile(r"Unknown key|Unknown section|Failed to parse|[Ii]nvalid|ignoring", re.ASCII)


def alone(folder: Path, script: str, *, tap: str = "") -> str:
    """What a shell script prints in a network, mounts and /run of its own, /etc/systemd/network being `folder`."""
    folder.chmod(0o755)  # networkd reads it as a user of its own
    lines = (
        f"mount --bind {shlex.quote(str(folder))} {NETWORK}",
        "mount -t tmpfs none /run",
        "mkdir -p /run/systemd/netif/links /run/systemd/netif/leases /run/systemd/netif/lldp",
        "chown -R systemd-network: /run/systemd/netif",
        "mount -t sysfs -o ro none /sys",  # networkd waits for udev only where it could write there
        "ip link set lo up",
        script,
    )
    inner = ["sh", "-ec", "\n".join(lines)]
    holder = [sys.executable, "-c", _TAP, tap, *inner] if tap else inner
    command = ["unshare", "--net", "--mount", "--propagation", "private", *holder]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


_TAP = """
import fcntl, struct, subprocess, sys
tap = open("/dev/net/tun", "r+b", buffering=0)  # a tap device has a carrier while a program holds it
fcntl.ioctl(tap, 0x400454CA, struct.pack("16sH", sys.argv[1].encode(), 0x1002))  # TUNSETIFF, IFF_TAP | IFF_NO_PI
sys.exit(subprocess.run(sys.argv[2:]).returncode)
"""

DAEMON = "SYSTEMD_LOG_LEVEL=debug SYSTEMD_LOG_TARGET=console timeout 30 /lib/systemd/systemd-networkd"
START = f"{DAEMON} >/run/log 2>&1 & daemon=$!\n"
END = 'kill "$daemon"; wait "$daemon" || :\ncat /run/log\n'
LOADED = "for _ in $(seq 100); do ! grep -q 'Enumeration completed' /run/log || break; sleep 0.1; done\n"


def put(folder: Path, text: str) -> None:
    """The files of the section for systemd's network programs."""
    for path, content in all_files(text).items():
        if path.startswith(NETWORK + "/"):
            (folder / Path(path).name).write_text(content)


def complaints(said: str) -> list[str]:
    return [line for line in said.splitlines() if NETWORK in line and COMPLAINT.search(line)]


@NEEDS_ROOT
@pytest.mark.proves(manager="networkd", by="tool")
def test_networkd_knows_every_key(tmp_path: Path) -> None:
    """All files of all sections at once, each under names of its own; and what it says of a key it does not know."""
    texts = {**SECTIONS, **WAYS, "wpa": WPA + WIFI}
    for name, text in texts.items():
        (tmp_path / "one").mkdir()
        put(tmp_path / "one", text)
        for path in sorted((tmp_path / "one").iterdir()):
            path.rename(tmp_path / f"10-{name}-{path.name}")
        (tmp_path / "one").rmdir()
    said = alone(tmp_path, START + LOADED + END)
    assert complaints(said) == []
    assert 'pump: loaded "vlan"' in said
    spoilt = next(tmp_path.glob("10-slaac-*.network"))
    spoilt.write_text(spoilt.read_text().replace("DHCPv6Client", "DHCPv6Cleint"))
    [line] = complaints(alone(tmp_path, START + LOADED + END))
    assert "Unknown key 'DHCPv6Cleint' in section [IPv6AcceptRA]" in line


@NEEDS_ROOT
@pytest.mark.proves(manager="networkd", by="tool")
def test_networkd_sets_fixed_addresses_and_waits_for_no_optional_link(tmp_path: Path) -> None:
    """The link `cable` has a carrier, the optional `spare` has none; systemd-networkd-wait-online(8)."""
    put(tmp_path, BY_NAME + FIXED + OPTIONAL)
    waits = "timeout 25 /lib/systemd/systemd-networkd-wait-online --timeout=20 && echo ONLINE || echo NOT ONLINE\n"
    looks = "ip -o address show dev cable\nip route show default\nip -6 route show default\n"
    said = alone(tmp_path, "ip tuntap add dev spare mode tap\n" + START + LOADED + waits + looks + END, tap="cable")
    assert "\nONLINE\n" in f"\n{said}"
    assert " 192.0.2.5/24 " in said and " 2001:db8::5/64 " in said
    assert "default via 192.0.2.1 dev cable" in said and "default via 2001:db8::1 dev cable" in said
    put(tmp_path, BY_NAME + FIXED + OPTIONAL.replace("optional = true\n", ""))
    said = alone(
        tmp_path, "ip tuntap add dev spare mode tap\n" + START + LOADED + waits.replace("=20", "=3") + END, tap="cable"
    )
    assert "\nNOT ONLINE\n" in f"\n{said}"


@NEEDS_ROOT
@pytest.mark.proves(manager="networkd", by="tool")
def test_networkd_makes_the_vlan_on_its_cable(tmp_path: Path) -> None:
    """A kernel without VLANs is told by its own words; what is asked of it is seen either way."""
    put(tmp_path, BY_NAME + 'dhcp = "no"\n' + VLAN)
    waits = "for _ in $(seq 50); do ! grep -q 'pump: Creating' /run/log || break; sleep 0.1; done; sleep 1\n"
    said = alone(tmp_path, START + LOADED + waits + "ip -d -o link show dev pump || :\n" + END, tap="cable")
    assert "pump: Creating" in said
    made = re.search(r"pump@cable: .* vlan protocol 802\.1Q id 42 ", said)
    assert made or "cable: Could not create stacked netdev: Unknown device type. Operation not supported" in said


@NEEDS_ROOT
@pytest.mark.proves(manager="networkd", by="tool")
def test_a_bare_cable_is_online_with_its_carrier(tmp_path: Path) -> None:
    """There for its VLANs alone, it never has an address; looked at without them, since the kernel may know none."""
    put(tmp_path, BY_NAME + 'dhcp = "no"\n' + VLAN)
    (tmp_path / "10-pump.netdev").unlink()
    path = tmp_path / "10-cable.network"
    path.write_text(path.read_text().replace("VLAN=pump\n", ""))
    waits = "timeout 25 /lib/systemd/systemd-networkd-wait-online --timeout={} && echo ONLINE || echo NOT ONLINE\n"
    said = alone(tmp_path, START + LOADED + waits.format(20) + "ip -o address show dev cable\n" + END, tap="cable")
    assert said.startswith("ONLINE\n") and "inet" not in said.partition("\nBus ")[0]
    path.write_text(path.read_text().replace("RequiredForOnline=carrier", "RequiredForOnline=yes"))
    assert alone(tmp_path, START + LOADED + waits.format(3) + END, tap="cable").startswith("NOT ONLINE\n")


@NEEDS_ROOT
@pytest.mark.proves(manager="networkd", by="tool")
def test_udev_knows_every_key_of_a_link_file(tmp_path: Path) -> None:
    put(tmp_path, WPA + WIFI)
    words = " ".join(map(shlex.quote, (*program("udevadm"), "test-builtin", "net_setup_link", "/sys/class/net/lo")))
    script = f"SYSTEMD_LOG_LEVEL=debug {words} 2>&1 || :\n"
    said = alone(tmp_path, script)
    assert f'Parsed configuration file "{NETWORK}/10-air.link"' in said
    assert complaints(said) == []
    path = tmp_path / "10-air.link"
    path.write_text(path.read_text().replace("Name=air", "Nmae=air"))
    assert len(complaints(alone(tmp_path, script))) == 1


@pytest.mark.proves(manager="networkd", by="tool")
def test_the_unit_of_one_interface_is_sound(tmp_path: Path) -> None:
    """systemd-analyze verify: keys, and that the program it starts is there."""
    text = all_files(WPA + WIFI)["/etc/systemd/system/wpa_supplicant@.service"]

    def verified(text: str) -> str:
        root = tmp_path / hashlib.sha256(text.encode()).hexdigest()
        for path in ("etc/systemd/system", "usr/sbin", "bin", "usr/lib/systemd"):
            (root / path).mkdir(parents=True)
        (root / "usr/lib/systemd/system").symlink_to("/usr/lib/systemd/system")
        for name in ("usr/sbin/wpa_supplicant", "bin/kill"):
            (root / name).touch(0o755)
        (root / "etc/systemd/system/wpa_supplicant@.service").write_text(text)
        command = ["systemd-analyze", "verify", f"--root={root}", "--man=no", "wpa_supplicant@air.service"]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        return "".join(line for line in done.stderr.splitlines(True) if "wpa_supplicant@" in line)

    assert verified(text) == ""
    assert "Unknown key 'Requirez'" in verified(text.replace("Requires=", "Requirez="))
    assert "is not executable" in verified(text.replace("/usr/sbin/wpa", "/usr/sbin/wap"))
