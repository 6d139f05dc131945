"""The network step: faults, files, actions, and its runtime verbs under three shells."""

from __future__ import annotations

import subprocess
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from attrs import evolve

from bedplate.actions import Action, InTarget, Link, Run, Stage, WriteFile, token_kind
from bedplate.faults import dotted
from bedplate.reading.structuring import structured
from bedplate.survey import Link as SurveyedLink
from bedplate.survey import Survey
from bedplate_steps.network.draft import draft
from bedplate_steps.network.emit import hosts_text
from bedplate_steps.network.managers import MANAGERS
from bedplate_steps.network.model import Network
from bedplate_steps.network.wifi import iwd_path
from library import LIBRARY
from networking import AIR, CABLE, LINK, STEP, SURVEY, WIFI, Around, actions, faults, section, written

# --- faults ----------------------------------------------------------------------------------------------------------


BAD = [
    ('host_name = "Kelp_02"\n' + LINK, "bad-host-name", "host_name"),
    ('host_name = "kelp.saltmarsh.example"\n' + LINK, "bad-host-name", "host_name"),
    ('host_name = "localhost"\n' + LINK, "bad-host-name", "host_name"),
    ('domain = "salt marsh"\n' + LINK, "bad-domain", "domain"),
    ('domain = "a..b"\n' + LINK, "bad-domain", "domain"),
    ('hosts = [{ address = "192.0.2.300", names = ["x"] }]\n' + LINK, "bad-address", "hosts[0].address"),
    ('hosts = [{ address = "192.0.2.3", names = ["a b"] }]\n' + LINK, "bad-host-name", "hosts[0].names[0]"),
    ('hosts = [{ address = "192.0.2.3", names = ["kelp-02"] }]\n' + LINK, "own-name-in-hosts", "hosts[0].names[0]"),
    ('manager = "none"', "network-unconfirmed", "manager"),
    ('manager = "none"\nno_network_after_reboot = true\n' + LINK, "network-contradiction", "links"),
    ("no_network_after_reboot = true\n" + LINK, "network-contradiction", "no_network_after_reboot"),
    ('manager = "networkd"', "no-links", ""),
    ('[[links]]\nname = "cable"', "link-match", "links[0]"),
    (LINK + 'interface = "enp1s0"', "link-match", "links[0].mac"),
    (LINK + 'dhcp = "no"', "link-without-address", "links[0].dhcp"),
    (LINK + 'addresses = ["192.0.2.5"]', "bad-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["192.0.2.5/33"]', "bad-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["192.0.2.05/24"]', "bad-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["fe80::1%eth0/64"]', "bad-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["192.0.2.0/24"]', "unusable-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["192.0.2.255/24"]', "unusable-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["2001:db8::/64"]', "unusable-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["127.0.0.5/8"]', "unusable-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["224.0.0.5/24"]', "unusable-address", "links[0].addresses[0]"),
    (LINK + 'addresses = ["192.0.2.5/24", "192.0.2.5/25"]', "duplicate-address", "links[0].addresses[1]"),
    (
        LINK + 'addresses = ["192.0.2.5/24"]\ngateways = ["198.51.100.1"]',
        "gateway-outside-subnet",
        "links[0].gateways[0]",
    ),
    (LINK + 'addresses = ["192.0.2.5/24"]\ngateways = ["192.0.2.5"]', "gateway-is-own-address", "links[0].gateways[0]"),
    (
        LINK + 'addresses = ["192.0.2.5/24"]\ngateways = ["192.0.2.1", "192.0.2.2"]',
        "second-gateway",
        "links[0].gateways[1]",
    ),
    (LINK + 'gateways = ["192.0.2.1"]', "gateway-outside-subnet", "links[0].gateways[0]"),
    (LINK + 'dns = ["nameserver"]', "bad-address", "links[0].dns[0]"),
    (LINK + 'dns = ["192.0.2.1", "192.0.2.1"]', "duplicate-address", "links[0].dns[1]"),
    (LINK + 'search = ["$(reboot)"]', "bad-domain", "links[0].search[0]"),
    (LINK.replace(CABLE, "01:16:3e:5a:17:01"), "bad-mac", "links[0].mac"),
    (LINK.replace(CABLE, "00:00:00:00:00:00"), "bad-mac", "links[0].mac"),
    (LINK + LINK.replace('"cable"', '"other"'), "duplicate-link", "links[1].mac"),
    (LINK + LINK.replace(CABLE, AIR), "duplicate-link", "links[1].name"),
    (WIFI.replace("saltmarsh", "\N{LATIN SMALL LETTER A WITH DIAERESIS}" * 17), "bad-ssid", "links[0].wifi.ssid"),
    (WIFI.replace("wpa-psk", 'sae", passphrase = "tide and mud'), "plain-passphrase", "links[0].wifi.passphrase"),
    (WIFI.replace("wpa-psk", 'open", passphrase = "file:/x'), "needless-passphrase", "links[0].wifi.passphrase"),
]


@pytest.mark.parametrize(("text", "code", "path"), BAD, ids=[f"{row[1]}-{index}" for index, row in enumerate(BAD)])
def test_one_mistake_is_one_fault_at_its_place(text: str, code: str, path: str) -> None:
    found = [fault for fault in faults(text) if not fault.warning]
    assert [(fault.code, dotted(fault.path)) for fault in found] == [(code, path)]
    assert found[0].message and not found[0].message.endswith(".")


FIXED = LINK + 'addresses = ["192.0.2.5/24", "2001:db8::5/64"]\n'


@pytest.mark.parametrize(
    ("addresses", "gateway", "fine"),
    [
        (FIXED, "fe80::1", True),
        (FIXED, "2001:db8::1", True),
        (FIXED, "2001:db8:0:1::1", False),
        (FIXED, "fd00::1", False),
        (FIXED, "169.254.0.1", False),
        (LINK + 'addresses = ["192.0.2.5/24"]\n', "fe80::1", False),
    ],
)
def test_a_router_is_known_by_its_link_local_address(addresses: str, gateway: str, fine: bool) -> None:
    """RFC 4861, 4.2 and 8: routers are told apart by link-local addresses, which lie in no subnet of ours; that of
    IPv4 (RFC 3927, 2.7) is none a router forwards from."""
    codes = [fault.code for fault in faults(f'{addresses}gateways = ["{gateway}"]') if not fault.warning]
    assert codes == ([] if fine else ["gateway-outside-subnet"])


def test_a_passphrase_that_stands_in_the_spec_is_never_shown() -> None:
    [fault] = faults(WIFI.replace("wpa-psk", 'sae", passphrase = "tide and mud'))
    assert "tide" not in repr(fault)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ('host_name = "2kelp"\n' + LINK, "host-name-digit-first"),
        ('[[links]]\nname = "cable"\ninterface = "enp1s0"', "interface-may-change"),
        (LINK + 'dhcp = "no"\naddresses = ["192.0.2.5/24"]\ndns = ["192.0.2.1"]', "no-gateway"),
        (LINK + 'dhcp = "no"\naddresses = ["192.0.2.5/24"]\ngateways = ["192.0.2.1"]', "no-name-server"),
        (LINK.replace("00:16", "02:16"), "mac-not-permanent"),
        (WIFI.replace("wpa-psk", "open"), "open-wifi"),
        ('wifi_daemon = "iwd"\n' + LINK, "needless-wifi-daemon"),
    ],
)
def test_what_one_should_know_is_a_warning(text: str, code: str) -> None:
    assert [(fault.code, fault.warning) for fault in faults(text)] == [(code, True)]


def test_links_are_looked_up_in_the_survey() -> None:
    around = Around(survey=SURVEY)
    assert faults(LINK + WIFI, around) == []
    [unknown] = faults(LINK.replace(":17:01", ":17:11"), around)
    assert (unknown.code, unknown.nearest) == ("link-not-in-survey", CABLE)
    assert CABLE in str(unknown.allowed)
    [name] = [each for each in faults('[[links]]\nname = "cable"\ninterface = "enp1s1"', around) if not each.warning]
    assert (name.code, name.nearest, dotted(name.path)) == ("link-not-in-survey", "enp1s0", "links[0].interface")
    [wired] = faults(WIFI.replace(AIR, CABLE), around)
    assert (wired.code, dotted(wired.path)) == ("link-kind", "links[0].wifi")
    [wireless] = faults(LINK.replace(CABLE, AIR), around)
    assert (wireless.code, dotted(wireless.path)) == ("link-kind", "links[0]")


def test_a_manager_says_which_wifi_programs_it_works_with() -> None:
    around = Around(managers={"networkd": evolve(MANAGERS["networkd"], wifi_daemons=("iwd",))})
    [fault] = faults('wifi_daemon = "wpa_supplicant"\n' + WIFI, around)
    assert (fault.code, dotted(fault.path), fault.allowed) == ("wifi-daemon-unfit", "wifi_daemon", '"iwd"')


def test_a_family_without_the_package_is_a_fault() -> None:
    [fault] = faults(LINK, Around(packages=("network-resolved",)))
    assert (fault.code, fault.found) == ("family-lacks", "network-networkd")


@pytest.mark.parametrize("hostile", ["a\nb", "$(reboot)", "a'b", 'a"b', "a\x00b", "a;b", "../x"])
def test_hostile_names_are_refused(hostile: str) -> None:
    data: dict[str, Any] = {"host_name": hostile, "links": [{"name": "cable", "mac": CABLE}]}
    judge = jsonschema.Draft202012Validator(STEP.schema)
    assert STEP.validate is not None
    assert not judge.is_valid(data) or list(STEP.validate(structured(data, Network), Around()))


# --- files -----------------------------------------------------------------------------------------------------------


def test_the_host_name_is_the_machine_s_unless_given() -> None:
    assert written(actions(LINK)["network.host-name"]) == {"/etc/hostname": "kelp-02\n"}
    assert written(actions('host_name = "reed"\n' + LINK)["network.host-name"]) == {"/etc/hostname": "reed\n"}


@pytest.mark.parametrize(
    ("text", "family", "own"),
    [
        # Debian Reference 5.1.1: 127.0.1.1 for a machine without a fixed address, the full name first (hosts(5))
        ('domain = "saltmarsh.example"\n' + LINK, "apt", "127.0.1.1\tkelp-02.saltmarsh.example kelp-02"),
        (LINK, "apt", "127.0.1.1\tkelp-02"),
        (LINK + 'addresses = ["192.0.2.5/24"]', "apt", "192.0.2.5\tkelp-02"),
        (LINK + 'addresses = ["2001:db8::5/64"]', "dnf", "2001:db8::5\tkelp-02"),
        ('domain = "saltmarsh.example"\n' + LINK, "dnf", "127.0.1.1\tkelp-02.saltmarsh.example kelp-02"),
        (LINK, "dnf", None),  # nss-myhostname(8) resolves the own name without a line
    ],
)
def test_the_machine_knows_its_own_name(text: str, family: str, own: str | None) -> None:
    lines = hosts_text(section(text), Around(family=family)).splitlines()
    # RFC 6761 (localhost), RFC 4291 (::1); 127.0.0.1 stays with localhost alone, Debian Reference 5.1.1
    assert lines[0].split() == ["127.0.0.1", "localhost"]
    assert lines[1].split()[:2] == ["::1", "localhost"]
    assert [line for line in lines if "kelp-02" in line] == ([own] if own else [])


def test_further_hosts_come_last() -> None:
    text = 'hosts = [{ address = "192.0.2.10", names = ["tide-store.example", "tide-store"] }]\n' + LINK
    assert hosts_text(section(text), Around()).splitlines()[-1] == "192.0.2.10\ttide-store.example tide-store"


def test_networkd_gets_one_file_per_link() -> None:
    text = LINK + 'dhcp = "no"\naddresses = ["192.0.2.5/24", "2001:db8::5/64"]\ngateways = ["192.0.2.1"]\n'
    text += 'dns = ["192.0.2.1"]\nsearch = ["saltmarsh.example"]\noptional = true\n'
    # systemd.network(5): sections, keys and the values of DHCP=
    assert written(actions(text)["network.link-cable"]) == {
        "/etc/systemd/network/10-cable.network": (
            f"[Match]\nPermanentMACAddress={CABLE}\n\n[Link]\nRequiredForOnline=no\n\n[Network]\nDHCP=no\n"
            "IPv6AcceptRA=no\nAddress=192.0.2.5/24\nAddress=2001:db8::5/64\nGateway=192.0.2.1\nDNS=192.0.2.1\n"
            "Domains=saltmarsh.example\n"
        )
    }


def test_networkmanager_gets_a_private_key_file() -> None:
    text = 'manager = "networkmanager"\n' + LINK + 'dhcp = "ipv6"\naddresses = ["192.0.2.5/24"]\n'
    text += 'gateways = ["192.0.2.1"]\ndns = ["192.0.2.1", "2001:db8::53"]\nsearch = ["saltmarsh.example"]\n'
    action = actions(text)["network.link-cable"]
    [(path, content)] = written(action).items()
    assert path == "/etc/NetworkManager/system-connections/cable.nmconnection"
    # nm-settings-keyfile(5): such files are ignored unless root alone can read them
    assert [operation.mode for operation in action.operations if isinstance(operation, WriteFile)] == [0o600]
    assert "mac-address=00:16:3E:5A:17:01\n" in content
    assert "[ipv4]\nmethod=manual\naddress1=192.0.2.5/24\ngateway=192.0.2.1\ndns=192.0.2.1;\n" in content
    assert "[ipv6]\nmethod=auto\ndns=2001:db8::53;\ndns-search=saltmarsh.example;\n" in content


def test_wifi_takes_its_passphrase_at_run_time() -> None:
    for head, path, text in (
        ("", "/var/lib/iwd/saltmarsh.psk", "[Security]\nPassphrase=<wifi-air>\n"),
        (
            'manager = "networkmanager"\n',
            "/etc/NetworkManager/system-connections/air.nmconnection",
            "[wifi-security]\nkey-mgmt=wpa-psk\npsk=<wifi-air>\n",
        ),
    ):
        action = actions(head + WIFI)["network.link-air"]
        assert text in written(action)[path]
        [secret] = action.secrets
        # IEEE 802.11: a passphrase has 8 to 63 characters (nm-settings(5), psk)
        assert (secret.name, secret.min_length, secret.max_length, secret.file) == ("wifi-air", 8, 63, "")
        assert action.stamped
        modes = {operation.path: operation.mode for operation in action.operations if isinstance(operation, WriteFile)}
        assert modes[InTarget(path)] == 0o600


# iwd.network(5): a name of letters, digits, space, underscore and hyphen as it is, else "=" and hexadecimal octets
@pytest.mark.parametrize(
    ("ssid", "security", "path"),
    [
        ("salt marsh-1_a", "wpa-psk", "/var/lib/iwd/salt marsh-1_a.psk"),
        ("saltmarsh", "open", "/var/lib/iwd/saltmarsh.open"),
        ("../etc/x", "sae", "/var/lib/iwd/=2e2e2f6574632f78.psk"),
        ("m\N{LATIN SMALL LETTER O WITH DIAERESIS}we", "wpa-psk", "/var/lib/iwd/=6dc3b67765.psk"),
    ],
)
def test_iwd_file_names(ssid: str, security: str, path: str) -> None:
    text = WIFI.replace("saltmarsh", ssid).replace("wpa-psk", security)
    wifi = section(text).links[0].wifi
    assert wifi is not None
    assert iwd_path(wifi) == path


@pytest.mark.parametrize("ssid", ["Saltmarsh ", " salt  marsh"])
def test_a_blank_in_a_wifi_name_stays_in_the_path_and_out_of_the_token(ssid: str) -> None:
    action = actions(WIFI.replace("saltmarsh", ssid))["network.link-air"]
    assert f"/var/lib/iwd/{ssid}.psk" in written(action)
    assert {token_kind(token) for token in action.gives} == {"file"}
    assert len(set(action.gives)) == len(action.gives)


def test_a_strange_ssid_stays_data() -> None:
    ssid = "a'b;c#d"
    octets = "".join(f"{octet};" for octet in ssid.encode())
    found = actions('manager = "networkmanager"\n' + WIFI.replace("saltmarsh", ssid))["network.link-air"]
    assert f"ssid={octets}\n" in next(iter(written(found).values()))


def test_the_country_is_set_in_the_kernel_for_every_wifi_program() -> None:
    found = written(actions('wifi_country = "IS"\n' + WIFI)["network.settings"])
    assert found["/etc/modprobe.d/wifi-country.conf"] == "options cfg80211 ieee80211_regdom=IS\n"


# --- actions ---------------------------------------------------------------------------------------------------------


def masked(action: Action) -> set[str]:
    return {
        operation.path.path.rsplit("/", 1)[1]
        for operation in action.operations
        if isinstance(operation, Link) and isinstance(operation.path, InTarget) and operation.to == "/dev/null"
    }


def test_exactly_one_manager_runs() -> None:
    networkd = actions(LINK)["network.manager"]
    assert "NetworkManager.service" in masked(networkd)
    assert "service:systemd-networkd.service" in networkd.gives
    other = actions('manager = "networkmanager"\n' + LINK)["network.manager"]
    assert {"systemd-networkd.service", "systemd-networkd.socket"} <= masked(other)
    assert "service:NetworkManager.service" in other.gives
    for action in (networkd, other):
        assert not masked(action) & {token.removeprefix("service:") for token in action.gives}


def test_exactly_one_wifi_program_runs() -> None:
    assert "wpa_supplicant.service" in masked(actions(WIFI)["network.manager"])
    other = actions('manager = "networkmanager"\n' + WIFI)["network.manager"]
    assert "iwd.service" in masked(other)
    third = actions('manager = "networkmanager"\nwifi_daemon = "iwd"\n' + WIFI)
    assert "wpa_supplicant.service" in masked(third["network.manager"])
    assert written(third["network.settings"]) == {
        "/etc/NetworkManager/conf.d/10-wifi.conf": "[device]\nwifi.backend=iwd\n"
    }
    assert not {"iwd.service", "wpa_supplicant.service"} & masked(actions(LINK)["network.manager"])


def test_starting_waits_only_for_links_that_are_not_optional() -> None:
    wait = "systemd-networkd-wait-online.service"
    assert wait not in masked(actions(LINK)["network.manager"])
    assert wait not in masked(actions(LINK + WIFI + "optional = true")["network.manager"])
    assert wait in masked(actions(LINK + "optional = true")["network.manager"])


def test_the_resolver_link_comes_after_everything_that_resolves_names() -> None:
    action = actions(LINK)["network.resolver"]
    # systemd-resolved(8): programs read stub-resolv.conf through this link
    assert Link(path=InTarget("/etc/resolv.conf"), to="../run/systemd/resolve/stub-resolv.conf") in action.operations
    assert "base" in action.needs  # given by the package transaction
    assert action.stage is Stage.TARGET


def test_no_network_on_purpose() -> None:
    found = actions('manager = "none"\nno_network_after_reboot = true')
    assert list(found) == ["network.live", "network.host-name", "network.hosts", "network.resolver"]
    assert "nameserver" not in written(found["network.resolver"])["/etc/resolv.conf"]


def test_a_local_archive_needs_no_live_network() -> None:
    assert "network.live" not in actions(LINK, Around(from_archive=True))


def test_every_change_has_a_proof_and_a_way_back() -> None:
    for head in ("", 'manager = "networkmanager"\n'):
        for action in actions(head + LINK + WIFI).values():
            assert not action.changes or (action.proofs and action.way_back.note and action.way_back.operations)


def test_no_user_s_text_stands_in_a_command() -> None:
    for action in actions(LINK + WIFI.replace("saltmarsh", "$(reboot)")).values():
        for operation in (*action.operations, *action.way_back.operations):
            assert not isinstance(operation, Run) or "$(reboot)" not in repr(operation.argv)


# --- the draft -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "links", [SURVEY.links, SURVEY.links[1:], (), (SurveyedLink(name="enp1s0", mac=CABLE, carrier=False),)]
)
def test_the_draft_passes_its_own_check(links: tuple[SurveyedLink, ...]) -> None:
    survey = Survey(links=links)
    text = draft(survey)
    assert text.startswith("[network]\n")
    data = tomllib.loads(text)["network"]
    jsonschema.Draft202012Validator(STEP.schema).validate(data)
    assert STEP.validate is not None
    assert list(STEP.validate(structured(data, Network), Around(survey=survey))) == []


# --- verbs -----------------------------------------------------------------------------------------------------------

SHELLS = [["dash"], ["bash", "--posix"], ["busybox", "sh"]]
shells = pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])


def run(shell: list[str], folder: Path, verb: str, *args: str) -> subprocess.CompletedProcess[str]:
    """A verb alone, in a folder of its own, `in_target` looking below that folder."""
    text = f'WORK=\'{folder}\' TARGET=\'{folder}\'\nin_target() {{ [ "$1" = test ] && test "$2" "$TARGET$3"; }}\n'
    text += LIBRARY.text([verb]) + f'{LIBRARY.call(verb)} "$@"\n'
    environment = {"PATH": f"{folder}:/usr/bin:/bin:/usr/sbin:/sbin"}
    command = [*shell, "-c", text, "verb", *args]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


@shells
@pytest.mark.parametrize(
    ("routes", "resolv", "trouble"),
    [
        ("default via 192.0.2.1 dev enp1s0", "search x\nnameserver 192.0.2.1\n", ""),
        ("default via 192.0.2.1 dev enp1s0", "nameserver 2001:db8::53\n", ""),
        ("", "nameserver 192.0.2.1\n", "no default route"),
        ("default via 192.0.2.1 dev enp1s0", "# nameserver 192.0.2.1\n", "names no name server"),
        ("default via 192.0.2.1 dev enp1s0", None, "names no name server"),
    ],
)
def test_network_live(shell: list[str], tmp_path: Path, routes: str, resolv: str | None, trouble: str) -> None:
    ip = tmp_path / "ip"
    ip.write_text(f"#!/bin/sh\n[ \"$1\" = -4 ] && printf '%s' '{routes}'\nexit 0\n")
    ip.chmod(0o755)
    if resolv is not None:
        (tmp_path / "resolv").write_text(resolv)
    done = run(shell, tmp_path, "network/network-live", str(tmp_path / "resolv"))
    assert (done.returncode == 0) == (not trouble)
    assert trouble in done.stderr


@shells
def test_unit_complete(shell: list[str], tmp_path: Path) -> None:
    units = tmp_path / "usr/lib/systemd/system"
    units.mkdir(parents=True)
    (units / "reed@.service").write_text("[Service]\nExecStart=!!/usr/bin/reed --name %i\n")
    missing = run(shell, tmp_path, "network/unit-complete", f"{tmp_path}/", "reed@air.service")
    assert missing.returncode == 1
    assert "starts /usr/bin/reed, which is not installed" in missing.stderr
    program = tmp_path / "usr/bin/reed"
    program.parent.mkdir()
    program.write_text("")
    program.chmod(0o755)
    assert run(shell, tmp_path, "network/unit-complete", f"{tmp_path}/", "reed@air.service").returncode == 0
    assert (
        "no unit file rush.service"
        in run(shell, tmp_path, "network/unit-complete", f"{tmp_path}/", "rush.service").stderr
    )
