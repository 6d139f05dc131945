"""A first `[network]` section for a surveyed machine, with its reasons as comments."""

from __future__ import annotations

from bedplate.survey import Link, Survey, SurveyedDisk


def draft(survey: Survey, disk: SurveyedDisk | None = None) -> str:
    """Commented TOML: the first wired card with its address from the network, else the first wireless one."""
    head = [
        "[network]",
        "# host_name is the machine's name if left out: 1 to 63 lower-case letters, digits and hyphens.",
        '# domain = "saltmarsh.example"',
    ]
    chosen = _chosen(survey)
    if chosen is None:
        return "\n".join([*head, *_NONE]) + "\n"
    wireless = chosen.kind == "wifi"
    lines = [*head, "# networkd suits machines that stay where they are; networkmanager those that change networks."]
    lines += [f'manager = "{"networkmanager" if wireless else "networkd"}"', "", *_link(chosen)]
    others = [link for link in survey.links if link is not chosen and link.kind in ("ethernet", "wifi")]
    lines += [f"# Also found: {link.kind} card {link.name}, mac {link.mac}." for link in others]
    return "\n".join(lines) + "\n"


_NONE = (
    "# The survey lists no network card. If there is one, survey again with its driver loaded.",
    'manager = "none"',
    "no_network_after_reboot = true",
)


def _chosen(survey: Survey) -> Link | None:
    wired = [link for link in survey.links if link.kind == "ethernet"]
    plugged = [link for link in wired if link.carrier]
    wireless = [link for link in survey.links if link.kind == "wifi"]
    return next(iter([*plugged, *wired, *wireless]), None)


def _link(link: Link) -> list[str]:
    lines = [
        "[[network.links]]",
        f'name = "{"air" if link.kind == "wifi" else "cable"}"',
        f"# Matched by MAC address: the live medium called this card {link.name}, the new system may not.",
        f'mac = "{link.mac}"',
        'dhcp = "both"',
    ]
    if link.kind == "wifi":
        lines.append("# Put the name of your network here; the passphrase is asked for during the installation.")
        lines.append('wifi = { ssid = "put-its-name-here", security = "wpa-psk", passphrase = "ask" }')
    elif not link.carrier:
        lines.append("# No cable was plugged in: starting does not wait for this link.")
        lines.append("optional = true")
    return lines
