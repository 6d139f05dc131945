"""Key files against GLib, which NetworkManager reads them with: groups, keys and a secret come back as they went in."""

from __future__ import annotations

import ctypes
import subprocess
from pathlib import Path

import pytest

from bedplate.actions import Coding, SecretRef
from bedplate.spec import Machine
from bedplate_steps.network.model import Network, NetworkLink, Wifi
from bedplate_steps.network.networkmanager import link_files

GLIB = ctypes.CDLL("libglib-2.0.so.0")
GLIB.g_key_file_new.restype = ctypes.c_void_p
GLIB.g_key_file_load_from_data.argtypes = [
    ctypes.c_void_p,
    ctypes.c_char_p,
    ctypes.c_size_t,
    ctypes.c_int,
    ctypes.c_void_p,
]
GLIB.g_key_file_get_string.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p, ctypes.c_void_p]
GLIB.g_key_file_get_string.restype = ctypes.c_char_p
RUNTIME = Path(__file__).resolve().parents[2] / "compiler" / "bedplate" / "rendering" / "sh" / "_secrets.sh"
SECRETS = ["tide and mud", "back\\slash", "\\s\\n", " outer blanks ", "  two  ", "a=b;c#d", "\"quoted\" 'too'", "[x]"]


class Around:
    """A context with nothing but a machine."""

    machine = Machine(name="tern-04")


def key_file(text: str) -> int:
    handle: int = GLIB.g_key_file_new()
    data = text.encode()
    assert GLIB.g_key_file_load_from_data(handle, data, len(data), 0, None)
    return handle


def value(handle: int, group: str, key: str) -> str | None:
    found: bytes | None = GLIB.g_key_file_get_string(handle, group.encode(), key.encode(), None)
    return None if found is None else found.decode()


def coded(secret: str, folder: Path) -> str:
    """The secret as the script's runtime writes it into a key file."""
    (folder / "secret-wifi-air").write_text(secret)
    script = f"MODE=install WORK='{folder}'\n{RUNTIME.read_text()}\nsecret_for_key_file wifi-air"
    return subprocess.run(["dash", "-c", script], capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("secret", SECRETS)
def test_a_passphrase_comes_back_as_it_went_in(secret: str, tmp_path: Path) -> None:
    link = NetworkLink(name="air", mac="00:16:3e:5a:17:02", wifi=Wifi(ssid="saltmarsh", security="sae"))
    [file] = link_files(link, Network(links=(link,)), Around())  # type: ignore[arg-type]
    assert SecretRef("wifi-air", Coding.KEYFILE) in file.content
    text = "".join(coded(secret, tmp_path) if isinstance(part, SecretRef) else str(part) for part in file.content)
    handle = key_file(text)
    # nm-settings-keyfile(5): wifi and wifi-security stand for the 802-11 names
    assert value(handle, "wifi-security", "psk") == secret
    assert value(handle, "wifi-security", "key-mgmt") == "sae"
    assert value(handle, "connection", "type") == "wifi"
    assert value(handle, "wifi", "ssid") == "saltmarsh"
