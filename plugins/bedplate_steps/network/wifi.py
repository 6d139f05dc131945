"""Wi-Fi: the rules for names and passphrases, and the files of iwd.

Enters: a link with its `wifi`. Leaves: faults, a `Secret`, and files with the secret put in at run time.

A network's name is 1 to 32 octets; a WPA passphrase 8 to 63 printable ASCII characters (IEEE 802.11; SAE alone has no
such limit, but iwd keeps to it).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from bedplate.actions import Coding, Content, InTarget, Secret, SecretRef, WriteFile
from bedplate.faults import Fault, shown
from bedplate_steps.network.model import Network, NetworkLink, Wifi

MAX_SSID = 32
"""Octets."""
_FILE = "file:"
_IWD_PLAIN = re.compile(r"[A-Za-z0-9 _-]+")


def wifi_faults(link: NetworkLink, wifi: Wifi, section: Network) -> Iterable[Fault]:
    """Faults of one wireless network, paths below `wifi`."""
    octets = len(wifi.ssid.encode())
    if not 1 <= octets <= MAX_SSID:
        yield Fault(
            code="bad-ssid",
            message=f"the name of a wireless network has 1 to {MAX_SSID} octets in UTF-8, this one has {octets}",
            path=("ssid",),
            found=shown(wifi.ssid),
        )
    if wifi.security == "open":
        yield Fault(
            code="open-wifi",
            message="everybody nearby can read and change what this network carries",
            path=("security",),
            found='"open"',
            warning=True,
        )
        if wifi.passphrase != "ask":
            yield Fault(
                code="needless-passphrase",
                message="an open network takes no passphrase",
                path=("passphrase",),
                allowed="no passphrase",
            )
    elif wifi.passphrase != "ask" and not _file_of(wifi):
        yield Fault(
            code="plain-passphrase",
            message="a passphrase never stands in a spec",
            path=("passphrase",),
            found=f"a text of {len(wifi.passphrase)} characters",
            allowed='"ask", or "file:/PATH" of a file on the live medium',
        )


def _file_of(wifi: Wifi) -> str:
    """The absolute path a passphrase is read from; empty if it is asked for."""
    path = wifi.passphrase.removeprefix(_FILE)
    return path if wifi.passphrase.startswith(_FILE + "/") and len(path) > 1 else ""


def secret(link: NetworkLink, wifi: Wifi, section: Network) -> tuple[Secret, ...]:
    """The passphrase as a secret of the installation; none for an open network."""
    if wifi.security == "open":
        return ()
    limited = wifi.security == "wpa-psk" or section.daemon == "iwd"
    return (
        Secret(
            name=secret_name(link),
            prompt=f"Passphrase of the wireless network {wifi.ssid}",
            file=_file_of(wifi),
            min_length=8 if limited else 1,
            max_length=63 if limited else 128,
        ),
    )


def secret_name(link: NetworkLink) -> str:
    """The name of the link's passphrase among the secrets."""
    return f"wifi-{link.name}"


def country_file(section: Network) -> tuple[WriteFile, ...]:
    """The country as a parameter of the kernel's wireless module, which holds for every Wi-Fi program."""
    if not (section.wireless and section.wifi_country):
        return ()
    text = f"options cfg80211 ieee80211_regdom={section.wifi_country}\n"
    return (WriteFile(path=InTarget("/etc/modprobe.d/wifi-country.conf"), content=(text,)),)


# --- iwd -----------------------------------------------------------------------------------------------------------


def iwd_path(wifi: Wifi) -> str:
    """iwd.network(5): the name as it is if plain, else `=` and its octets in hexadecimal."""
    plain = _IWD_PLAIN.fullmatch(wifi.ssid) is not None
    name = wifi.ssid if plain else "=" + wifi.ssid.encode().hex()
    return f"/var/lib/iwd/{name}.{'open' if wifi.security == 'open' else 'psk'}"


def iwd_file(link: NetworkLink, wifi: Wifi) -> WriteFile:
    """The file iwd knows the network by."""
    content: Content = (f"[Settings]\nAutoConnect=true\nHidden={str(wifi.hidden).lower()}\n",)
    if wifi.security != "open":
        content = (*content, "\n[Security]\nPassphrase=", SecretRef(secret_name(link), Coding.KEYFILE), "\n")
    return WriteFile(path=InTarget(iwd_path(wifi)), content=content, mode=0o600)


IWD_SETTINGS = WriteFile(
    path=InTarget("/etc/iwd/main.conf"), content=("[General]\nEnableNetworkConfiguration=false\n",)
)
"""iwd's own settings: addresses stay with the network manager."""
