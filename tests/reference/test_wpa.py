"""wpa_supplicant's file, read by wpa_supplicant itself without a card; its key by the real wpa_passphrase."""

from __future__ import annotations

import hashlib
import re
import shlex
import subprocess
from pathlib import Path

import pytest

from bedplate.actions import Call
from bedplate.testing.function_runner import run_function as run_verb
from networking import WIFI, actions

from .test_network_tools import WPA, all_files
from .unpacked import program

PASSPHRASES = [
    "tide and mud",
    'tide "#" mud',
    'a#b"c#d"efgh',
    "back\\slash\\",
    " outer blanks ",
    "$(reboot)`x`",
    "'quoted'#",
    "~" * 63,
    "12345678",
]
NAMES = ["saltmarsh", "a;b#c 'd\"", "-x", "psk=00", "m\N{LATIN SMALL LETTER O WITH DIAERESIS}we", "x" * 32]


def understood(folder: Path, text: str) -> dict[str, bytes]:
    """What wpa_supplicant says it has read, from its own dumps; it ends for want of a card."""
    path = folder / "wpa.conf"
    path.write_text(text.replace("/run/wpa_supplicant", str(folder / "control")))
    command = [*program("wpa_supplicant"), "-dd", "-K", "-Dnone", "-inone0", f"-c{path}"]
    said = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False).stdout
    assert "Line" not in said.replace("Line: ", ""), said  # `Line 4: unknown network field`
    assert "Priority group" in said, said
    found: dict[str, bytes] = {}
    name = ""
    for line in said.splitlines():
        if head := re.match(r"(\w+) - hexdump(?:_ascii)?\(len=\d+\):((?: [0-9a-f]{2})*)", line):
            name = head[1]
            found[name] = bytes.fromhex(head[2])
        elif (row := re.match(r" {5}((?:[0-9a-f]{2} ){1,16})", line)) and name:
            found[name] += bytes.fromhex(row[1])
        else:
            name = ""
            if setting := re.match(r"(key_mgmt: |\w+=)(\S+)", line):
                found[setting[1].strip(":= ")] = setting[2].encode()
    return found


def conf(folder: Path, ssid: str, passphrase: str, security: str = "wpa-psk") -> str:
    """The file that the verb writes, its key from the real wpa_passphrase."""
    text = WPA + WIFI.replace('"saltmarsh"', _toml(ssid)).replace("wpa-psk", security)
    [call] = [each for each in actions(text)["network.link-air"].operations if isinstance(each, Call)]
    work, path = folder / "work", folder / "written.conf"
    work.mkdir(exist_ok=True)
    _, *words = (str(word) for word in call.args)
    tool = f'shift; {shlex.join(program("wpa_passphrase"))} "$@"'
    done = run_verb("network/wpa-file", str(path), *words, target="/", work=work, stdin=passphrase, in_target=tool)
    assert done.returncode == 0, done.stderr
    proof = run_verb("network/wpa-file-is", str(path), ssid.encode().hex(), security, target="/", work=work)
    assert proof.returncode == 0, proof.stderr
    return path.read_text()


def _toml(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


@pytest.mark.proves(manager="networkd", by="tool")
@pytest.mark.parametrize("passphrase", PASSPHRASES)
def test_wpa_supplicant_gets_every_passphrase_whole(tmp_path: Path, passphrase: str) -> None:
    """The key a second time, by Python's own PBKDF2 (RFC 8018; IEEE 802.11, J.4.1: 4096 rounds, 256 bits)."""
    read = understood(tmp_path, conf(tmp_path, "saltmarsh", passphrase))
    assert read["sae_password"] == passphrase.encode()
    assert read["PSK"] == hashlib.pbkdf2_hmac("sha1", passphrase.encode(), b"saltmarsh", 4096, 32)


@pytest.mark.parametrize("ssid", NAMES)
def test_wpa_supplicant_gets_every_name_whole(tmp_path: Path, ssid: str) -> None:
    read = understood(tmp_path, conf(tmp_path, ssid, "tide and mud"))
    assert read["ssid"] == ssid.encode()
    assert read["PSK"] == hashlib.pbkdf2_hmac("sha1", b"tide and mud", ssid.encode(), 4096, 32)


# IEEE 802.11, J.4.2: test vectors of the key
@pytest.mark.parametrize(
    ("passphrase", "ssid", "key"),
    [
        ("password", "IEEE", "f42c6fc52df0ebef9ebb4b90b38a5f902e83fe1b135a70e23aed762e9710a12e"),
        ("ThisIsAPassword", "ThisIsASSID", "0dc0d6eb90555ed6419756b9a15ec3e3209b63df707dd508d14581f8982721af"),
        ("a" * 32, "Z" * 32, "becb93866bb8c3832cb777c2f559807c8c59afcb6eae734885001300a981cc62"),
    ],
)
def test_the_published_keys(tmp_path: Path, passphrase: str, ssid: str, key: str) -> None:
    assert understood(tmp_path, conf(tmp_path, ssid, passphrase))["PSK"].hex() == key


def test_security_as_wpa_supplicant_counts_it(tmp_path: Path) -> None:
    """Bits of key_mgmt: PSK 2, PSK-SHA256 0x100, SAE 0x400, none 4 (wpa_supplicant's defs.h, from memory)."""
    assert understood(tmp_path, conf(tmp_path, "saltmarsh", "tide and mud"))["key_mgmt"] == b"0x502"
    sae = understood(tmp_path, conf(tmp_path, "saltmarsh", "mud", "sae"))
    assert (sae["key_mgmt"], sae["ieee80211w"], "PSK" in sae) == (b"0x400", b"2", False)
    text = all_files(WPA + WIFI.replace("wpa-psk", "open"))["/etc/wpa_supplicant/wpa_supplicant-air.conf"]
    assert understood(tmp_path, text)["key_mgmt"] == b"0x4"


def test_a_quoted_passphrase_would_be_cut(tmp_path: Path) -> None:
    """Why the file holds none: what follows a # outside of quotes is a comment."""
    with pytest.raises(AssertionError, match="failed to parse psk"):
        understood(tmp_path, 'network={\n\tssid=78\n\tpsk="tide "#" mud"\n}\n')
