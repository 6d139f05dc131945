"""Network links. Enters: `ip -j link` and the facts of /sys/class/net. Leaves: links that have hardware behind them.

Values of type and addr_assign_type: Linux kernel, Documentation/ABI/testing/sysfs-class-net (1 is Ethernet, which
Wi-Fi shares; 0 is a permanent address).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from bedplate.survey import Link
from bedplate.surveying.capture.sections import Capture

_MAC = re.compile(r"[0-9a-f]{2}(:[0-9a-f]{2}){5}")
_WIFI_NAME = re.compile(r"(wl|wlan|wifi|ath|ra)[a-z]*\d")


def links(capture: Capture) -> tuple[Link, ...]:
    """Links with a hardware address, by name. Loopback, bridges, tunnels and other links without a device are left
    out wherever /sys was captured."""
    listed = _listed(capture)
    names = dict.fromkeys([*listed, *capture.each("link")])
    made = (_link(name, listed.get(name, {}), capture.facts("link", name)) for name in names)
    return tuple(sorted((link for link in made if link is not None), key=lambda link: link.name))


def doubts(capture: Capture) -> list[str]:
    """Sentences about links whose address may change: it was set, or is random, and no permanent one is known."""
    listed = _listed(capture)
    return [
        f"The address {link.mac} of {link.name} was set by the live system and may be a random one: look up the"
        " permanent one (ethtool -P) before a spec relies on it."
        for link in links(capture)
        if not _permanent(listed.get(link.name, {}), capture.facts("link", link.name))
    ]


def _listed(capture: Capture) -> dict[str, Mapping[str, Any]]:
    """What `ip -j link` lists, by name."""
    data = capture.data("ip-link")
    rows = data if isinstance(data, list) else []
    return {str(row["ifname"]): row for row in rows if isinstance(row, dict) and "ifname" in row}


def _link(name: str, row: Mapping[str, Any], facts: Mapping[str, str]) -> Link | None:
    ethernet = facts.get("type") == "1" if facts else row.get("link_type") == "ether"
    mac = _address(row, facts)
    if not ethernet or (facts and "device" not in facts) or not mac:
        return None
    wifi = "wireless" in facts if facts else _WIFI_NAME.match(name) is not None
    return Link(
        name=name,
        mac=mac,
        kind="wifi" if wifi else "ethernet",
        driver=facts.get("driver", ""),
        carrier=facts.get("carrier") == "1" or "LOWER_UP" in row.get("flags", ()),
    )


def _address(row: Mapping[str, Any], facts: Mapping[str, str]) -> str:
    """The permanent address where one is told, else the one in use; empty if it is not six bytes or all zeros."""
    for told in (facts.get("permanent"), row.get("permaddr"), facts.get("address"), row.get("address")):
        mac = str(told or "").lower()
        if _MAC.fullmatch(mac) and mac != "00:00:00:00:00:00":
            return mac
    return ""


def _permanent(row: Mapping[str, Any], facts: Mapping[str, str]) -> bool:
    """Whether the address is known to be the device's own; without any word on it, a locally administered one
    (IEEE 802: second bit of the first byte) is taken for a random one."""
    if facts.get("permanent") or row.get("permaddr"):
        return True
    kind = facts.get("address_kind")
    return kind == "0" if kind else not int(_address(row, facts)[:2], 16) & 2
