"""wpa_supplicant for one interface, without a manager that talks to it over the bus: its file and its unit.

wpa_supplicant.conf(5). In that file a name or passphrase in quotes ends at the last `"` and loses what follows a `#`
outside of quotes, so neither is written in quotes: the network's name and the passphrase stand as hexadecimal octets,
and WPA's key is derived from both (PBKDF2 with HMAC-SHA1, 4096 rounds, 256 bits: IEEE 802.11, J.4.1) by the target's
own wpa_passphrase(8) while the passphrase is at hand.
"""

from __future__ import annotations

import shlex

from bedplate.actions import TARGET, Call, Check, InTarget, SecretRef, WriteFile
from bedplate.conditions import holds
from bedplate_steps.network.model import NetworkLink, Wifi
from bedplate_steps.network.wifi import secret_name

_KEYS = {"wpa-psk": "WPA-PSK WPA-PSK-SHA256 SAE", "sae": "SAE", "open": "NONE"}
"""Values of key_mgmt. `wpa-psk` joins WPA2 and WPA3 networks; what the card cannot do is left out by itself (from
memory)."""
_PROTECTED = {"wpa-psk": 1, "sae": 2, "open": 0}
"""Protected management frames: where they are offered, always (WPA3 asks for it), never."""

UNIT_FILE = WriteFile(
    path=InTarget("/etc/systemd/system/wpa_supplicant@.service"),
    content=(
        """[Unit]
Description=Wi-Fi of the interface %I
Requires=sys-subsystem-net-devices-%i.device
After=sys-subsystem-net-devices-%i.device
Before=network.target
Wants=network.target

[Service]
Type=simple
ExecStart=/usr/sbin/wpa_supplicant -c/etc/wpa_supplicant/wpa_supplicant-%I.conf -i%I
ExecReload=/bin/kill -HUP $MAINPID

[Install]
WantedBy=multi-user.target
""",
    ),
)
"""As in the program's own sources. Written for every family, since not each one's package brings it (from memory)."""


def unit(interface: str) -> str:
    """The unit of one interface, its name escaped as an instance is (systemd.unit(5))."""
    return f"wpa_supplicant@{interface.replace('-', chr(92) + 'x2d')}.service"


def network_file(link: NetworkLink, wifi: Wifi, interface: str) -> WriteFile | Call:
    """The file that names the network; with a passphrase, the call that writes it (see `proofs`)."""
    path = InTarget(f"/etc/wpa_supplicant/wpa_supplicant-{interface}.conf")
    head = _head(wifi)
    if wifi.security == "open":
        return WriteFile(path=path, content=(f"{head}}}\n",), mode=0o600)
    return Call(
        verb="network/wpa-file",
        args=(path, wifi.ssid, wifi.security, head),
        stdin=(SecretRef(secret_name(link)),),
        by_hand=_by_hand(TARGET + path.path, wifi, head),
    )


def _head(wifi: Wifi) -> str:
    hidden = "\tscan_ssid=1\n" if wifi.hidden else ""
    return (
        f"ctrl_interface=DIR=/run/wpa_supplicant\n\nnetwork={{\n\tssid={wifi.ssid.encode().hex()}\n{hidden}"
        f"\tkey_mgmt={_KEYS[wifi.security]}\n\tieee80211w={_PROTECTED[wifi.security]}\n"
    )


def _by_hand(path: str, wifi: Wifi, head: str) -> tuple[str, ...]:
    """The same by hand. The passphrase is typed unseen into a variable of the shell."""
    words = " ".join(shlex.quote(line.replace("\t", "    ")) for line in head.splitlines())
    key = (
        f"printf '%s' \"$PASSPHRASE\" | chroot {TARGET} wpa_passphrase {shlex.quote(wifi.ssid)} | "
        f"grep '^[[:blank:]]*psk=' >> {path}"
    )
    return (
        f"install -D -m 600 /dev/null {path}",
        f"printf '%s\\n' {words} > {path}",
        "# The next line waits for the passphrase and does not show it: type it and press Enter.",
        "stty -echo; IFS= read -r PASSPHRASE; stty echo",
        "# After that, write what is made of it:",
        *((key,) if wifi.security == "wpa-psk" else ()),
        f"printf '    sae_password=%s\\n}}\\n' \"$(printf '%s' \"$PASSPHRASE\" | od -An -v -tx1 | tr -d ' \\n')\" "
        f">> {path}",
        "unset PASSPHRASE",
    )


def proof(call: Call) -> Check:
    """That the file which `call` writes names the network and holds keys; what they are is not looked at."""
    path, ssid, security, _ = call.args
    assert isinstance(path, InTarget) and isinstance(ssid, str)
    octets = ssid.encode().hex()
    file = TARGET + path.path
    look = (f"grep 'ssid={octets}$' {file}", f"grep 'sae_password=.' {file} | grep -o sae_password=")
    return holds(
        f"{path.path} names the wireless network and holds its key",
        "network/wpa-file-is",
        path,
        octets,
        security,
        early=False,
        by_hand=look,
    )
