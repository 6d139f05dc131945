"""VLANs, ways to IPv6 addresses, and wpa_supplicant for one interface: faults, files, changes, verbs."""

from __future__ import annotations

import subprocess
from pathlib import Path

import jsonschema
import pytest

from bedplate.actions import Action, Call, InTarget, SecretRef
from bedplate.changes import Change
from bedplate.faults import dotted
from bedplate.hookspecs import Side
from bedplate.testing import Host, conformance_tests
from bedplate.testing.function_runner import SHELLS
from bedplate.testing.function_runner import run_function as run_verb
from networking import AIR, CABLE, LINK, NEEDS, STEP, SURVEY, WIFI, Around, actions, faults, section, written

VLAN = '[[links]]\nname = "pump"\nvlan = { id = 42, on = "cable" }\n'
BARE = LINK + 'dhcp = "no"\n'
WPA = 'wifi_daemon = "wpa_supplicant"\n' + WIFI
NM = 'manager = "networkmanager"\n'


def network_file(text: str, name: str = "cable") -> str:
    return written(actions(text)[f"network.link-{name}"])[f"/etc/systemd/network/10-{name}.network"]


def key_file(text: str, name: str = "cable") -> str:
    [content] = written(actions(NM + text)[f"network.link-{name}"]).values()
    return content


# --- faults ----------------------------------------------------------------------------------------------------------

BAD = [
    (LINK + VLAN.replace("cable", "cabel"), "vlan-parent", "links[1].vlan.on"),
    (VLAN.replace("cable", "pump"), "vlan-parent", "links[0].vlan.on"),
    (WIFI + VLAN.replace("cable", "air"), "vlan-parent", "links[1].vlan.on"),
    (LINK + VLAN + VLAN.replace("pump", "weir").replace("cable", "pump"), "vlan-parent", "links[2].vlan.on"),
    (LINK + VLAN + VLAN.replace("pump", "weir"), "duplicate-vlan", "links[2].vlan.id"),
    (LINK + VLAN + f'mac = "{AIR}"', "link-match", "links[1].mac"),
    (LINK + VLAN + 'wifi = { ssid = "x" }', "vlan-contradiction", "links[1].vlan"),
    (LINK + VLAN.replace("pump", "eth0"), "interface-name", "links[1].name"),
    (LINK + VLAN.replace("pump", "default"), "interface-name", "links[1].name"),
    (WPA.replace('"air"', '"wlan0"'), "interface-name", "links[0].name"),
    (LINK + VLAN + 'dhcp = "no"', "link-without-address", "links[1].dhcp"),
    (
        LINK + 'ipv6 = "off"\ndhcp = "ipv6"\naddresses = ["192.0.2.5/24"]\ngateways = ["192.0.2.1"]',
        "ipv6-contradiction",
        "links[0].ipv6",
    ),
    (LINK + 'ipv6 = "off"\naddresses = ["2001:db8::5/64"]', "ipv6-contradiction", "links[0].addresses[0]"),
    (LINK + 'ipv6 = "slaac"\ndhcp = "ipv4"', "ipv6-contradiction", "links[0].ipv6"),
    (NM + LINK + 'ipv6 = "slaac"', "ipv6-unfit", "links[0].ipv6"),
    (NM + LINK + 'ipv6 = "dhcpv6"', "ipv6-unfit", "links[0].ipv6"),
]


@pytest.mark.parametrize(("text", "code", "path"), BAD, ids=[f"{row[1]}-{index}" for index, row in enumerate(BAD)])
def test_one_mistake_is_one_fault_at_its_place(text: str, code: str, path: str) -> None:
    found = [fault for fault in faults(text) if not fault.warning]
    assert [(fault.code, dotted(fault.path)) for fault in found] == [(code, path)]


def test_an_unknown_cable_is_named_with_the_nearest() -> None:
    [fault] = faults(LINK + VLAN.replace("cable", "cabel"))
    assert (fault.nearest, fault.allowed) == ("cable", '"cable"')


# IEEE 802.1Q: identifiers 0 and 4095 are reserved; IFNAMSIZ is 16 with the closing zero (linux/if.h)
@pytest.mark.parametrize("vlan", ["0", "4095", "-1", "42.5", '"42"', "true"])
def test_the_schema_knows_the_numbers(vlan: str) -> None:
    with pytest.raises(jsonschema.ValidationError):
        section(LINK + VLAN.replace("42", vlan))


@pytest.mark.parametrize("number", [1, 4094])
def test_the_first_and_the_last_number(number: int) -> None:
    assert faults(LINK + VLAN.replace("42", str(number))) == []


def test_an_interface_s_name_has_fifteen_characters_at_most() -> None:
    assert faults(LINK + VLAN.replace("pump", "p" * 15)) == []
    with pytest.raises(jsonschema.ValidationError):
        section(LINK + VLAN.replace("pump", "p" * 16))


def test_one_number_on_two_cables_is_two_vlans() -> None:
    other = LINK.replace("cable", "spare").replace(CABLE, AIR)
    assert faults(LINK + other + VLAN + VLAN.replace("pump", "weir").replace("cable", "spare")) == []


def test_a_card_of_the_survey_keeps_its_name() -> None:
    found = faults(LINK + VLAN.replace("pump", "enp1s0"), Around(survey=SURVEY))
    assert [(fault.code, dotted(fault.path)) for fault in found] == [("interface-name", "links[1].name")]
    assert faults(WPA.replace('"air"', '"wlp2s0"'), Around(survey=SURVEY)) == []
    assert faults(WPA.replace('"air"', '"enp1s0"'), Around(survey=SURVEY)) != []


def test_privacy_without_own_addresses_is_a_warning() -> None:
    [fault] = faults(LINK + 'dhcp = "ipv4"\nipv6_privacy = "off"')
    assert (fault.code, fault.warning) == ("needless-privacy", True)


# --- files -----------------------------------------------------------------------------------------------------------


def test_networkd_makes_the_vlan_and_tells_the_cable_of_it() -> None:
    found = written(actions(LINK + VLAN)["network.link-pump"])
    # systemd.netdev(5), Kind=vlan and Id=; systemd.network(5), VLAN=
    assert found["/etc/systemd/network/10-pump.netdev"] == "[NetDev]\nName=pump\nKind=vlan\n\n[VLAN]\nId=42\n"
    assert found["/etc/systemd/network/10-pump.network"].startswith("[Match]\nName=pump\n\n[Network]\nDHCP=yes\n")
    assert network_file(LINK + VLAN).endswith("\nVLAN=pump\n")
    assert "VLAN=" not in network_file(LINK)


def test_networkmanager_hangs_the_vlan_on_the_cable_s_connection() -> None:
    cable = key_file(LINK + VLAN).split("uuid=")[1].split()[0]
    # nm-settings-keyfile(5), nm-settings(5): vlan.id, vlan.parent by the connection's UUID
    assert f"type=vlan\ninterface-name=pump\n\n[vlan]\nid=42\nparent={cable}\n" in key_file(LINK + VLAN, "pump")


def test_a_cable_for_vlans_alone_has_no_addresses_and_is_up_with_its_carrier() -> None:
    # systemd.network(5), RequiredForOnline=: a minimum operational state, here that of networkctl(1) without addresses
    assert network_file(BARE + VLAN) == (
        f"[Match]\nPermanentMACAddress={CABLE}\n\n[Link]\nRequiredForOnline=carrier\n\n[Network]\nDHCP=no\n"
        "LinkLocalAddressing=no\nIPv6AcceptRA=no\nVLAN=pump\n"
    )
    assert "[ipv4]\nmethod=disabled\n\n[ipv6]\nmethod=disabled\n" in key_file(BARE + VLAN)
    assert actions(BARE + VLAN)["network.link-cable"].audits == ()


def test_nobody_waits_for_a_vlan_on_an_optional_cable() -> None:
    text = LINK + "optional = true\n" + VLAN
    assert "RequiredForOnline=no\n" in network_file(text, "pump")
    masks = [getattr(operation, "path", None) for operation in actions(text)["network.manager"].operations]
    assert InTarget("/etc/systemd/system/systemd-networkd-wait-online.service") in masks
    assert "RequiredForOnline" not in network_file(LINK + VLAN, "pump")


# systemd.network(5): DHCP=, IPv6AcceptRA=, LinkLocalAddressing=, DHCPv6Client=, UseAutonomousPrefix=, WithoutRA=
@pytest.mark.parametrize(
    ("way", "dhcp", "lines"),
    [
        ("announced", "yes", "IPv6PrivacyExtensions=yes\n"),
        ("slaac", "ipv4", "IPv6PrivacyExtensions=yes\n\n[IPv6AcceptRA]\nDHCPv6Client=no\n"),
        (
            "dhcpv6",
            "yes",
            "\n[IPv6AcceptRA]\nUseAutonomousPrefix=no\nDHCPv6Client=always\n\n[DHCPv6]\nWithoutRA=solicit\n",
        ),
        ("off", "ipv4", "LinkLocalAddressing=no\nIPv6AcceptRA=no\n"),
    ],
)
def test_networkd_takes_ipv6_as_it_is_told(way: str, dhcp: str, lines: str) -> None:
    assert network_file(LINK + f'ipv6 = "{way}"').partition("[Network]\n")[2] == f"DHCP={dhcp}\n{lines}"


# systemd.network(5), IPv6PrivacyExtensions=; nm-settings(5), ip6-privacy; what they mean: RFC 8981
@pytest.mark.parametrize(
    ("choice", "networkd", "manager"), [("temporary", "yes", "2"), ("public", "prefer-public", "1"), ("off", "no", "0")]
)
def test_privacy_is_a_choice(choice: str, networkd: str, manager: str) -> None:
    text = LINK + f'ipv6_privacy = "{choice}"'
    assert f"\nIPv6PrivacyExtensions={networkd}\n" in network_file(text)
    assert f"[ipv6]\nmethod=auto\nip6-privacy={manager}\n" in key_file(text)


def test_temporary_addresses_unless_told_otherwise() -> None:
    assert network_file(LINK) == network_file(LINK + 'ipv6_privacy = "temporary"')
    fixed = LINK + 'dhcp = "ipv4"\naddresses = ["2001:db8::5/64"]'
    assert "Privacy" not in network_file(fixed)
    assert "privacy" not in key_file(fixed)


def test_ipv6_off() -> None:
    assert key_file(LINK + 'ipv6 = "off"').endswith("[ipv6]\nmethod=disabled\n")


# --- wpa_supplicant under networkd -----------------------------------------------------------------------------------


def conf_call(text: str) -> Call:
    [call] = [each for each in actions(text)["network.link-air"].operations if isinstance(each, Call)]
    return call


def test_the_card_gets_a_name_its_files_and_its_unit_can_rely_on() -> None:
    found = written(actions(WPA)["network.link-air"])
    # systemd.link(5): without NamePolicy= the name is Name=
    assert found["/etc/systemd/network/10-air.link"] == f"[Match]\nPermanentMACAddress={AIR}\n\n[Link]\nName=air\n"
    manager = actions(WPA)["network.manager"]
    assert "service:wpa_supplicant@air.service" in manager.gives
    assert "package:wifi-wpa" in manager.needs
    assert "/etc/systemd/system/wpa_supplicant@.service" in written(actions(WPA)["network.settings"])


def test_a_card_matched_by_name_keeps_it() -> None:
    text = WPA.replace(f'mac = "{AIR}"', 'interface = "wl-one.2"')
    assert "/etc/systemd/network/10-air.link" not in written(actions(text)["network.link-air"])
    assert conf_call(text).args[0] == InTarget("/etc/wpa_supplicant/wpa_supplicant-wl-one.2.conf")


@pytest.mark.parametrize("name", ["air", "air-one", "a--b"])
def test_the_unit_s_name_is_escaped_as_systemd_does(name: str) -> None:
    words = ["systemd-escape", "--template=wpa_supplicant@.service", name]
    escaped = subprocess.run(words, capture_output=True, text=True, check=True).stdout.strip()
    found = actions(WPA.replace('"air"', f'"{name}"'))["network.manager"]
    assert f"service:{escaped}" in found.gives


def test_an_open_network_has_a_file_without_keys() -> None:
    action = actions(WPA.replace("wpa-psk", "open"))["network.link-air"]
    text = written(action)["/etc/wpa_supplicant/wpa_supplicant-air.conf"]
    assert "key_mgmt=NONE\n" in text and "psk" not in text
    assert action.secrets == ()


def test_the_passphrase_stands_in_no_argument() -> None:
    call = conf_call(WPA)
    assert call.stdin == (SecretRef("wifi-air"),)
    assert not any(isinstance(word, SecretRef) for word in call.args)
    assert {"package:wifi-wpa", "target:api"} <= set(actions(WPA)["network.link-air"].needs)
    [secret] = actions(WPA)["network.link-air"].secrets
    assert (secret.min_length, secret.max_length) == (8, 63)  # IEEE 802.11: 8 to 63 characters
    sae = actions(WPA.replace("wpa-psk", "sae"))["network.link-air"].secrets[0]
    assert (sae.min_length, sae.max_length) == (1, 128)


KEY = "f42c6fc52df0ebef9ebb4b90b38a5f902e83fe1b135a70e23aed762e9710a12e"  # IEEE 802.11, J.4.2: "password" at "IEEE"
TOOL = (
    """read -r passphrase || [ -n "$passphrase" ]; [ "$1 $2 $passphrase" = 'wpa_passphrase IEEE password' ] &&
printf 'network={\\n\\tssid="x"\\n\\t#psk="psk=0"\\n\\tpsk=%s\\n}\\n' """
    + KEY
)


@pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])
def test_the_verb_writes_keys_and_nothing_else_of_the_passphrase(tmp_path: Path, shell: tuple[str]) -> None:
    (tmp_path / "work").mkdir()
    path, head = tmp_path / "etc/wpa.conf", "network={\n\tssid=49454545\n"

    def verb(name: str, *args: str, stdin: str = "", tool: str = TOOL) -> subprocess.CompletedProcess[str]:
        return run_verb(name, *args, target=tmp_path, work=tmp_path / "work", shell=shell, stdin=stdin, in_target=tool)

    done = verb("network/wpa-file", str(path), "IEEE", "wpa-psk", head, stdin="password")
    assert done.returncode == 0, done.stderr
    octets = b"password".hex()
    assert path.read_text() == f"{head}\tpsk={KEY}\n\tsae_password={octets}\n}}\n"
    assert path.stat().st_mode & 0o777 == 0o600
    assert list((tmp_path / "work").iterdir()) == []
    assert verb("network/wpa-file-is", str(path), "49454545", "wpa-psk").returncode == 0
    for ssid, text in (
        ("49454546", path.read_text()),
        ("49454545", path.read_text()[:-2]),
        ("49454545", path.read_text().replace(KEY, KEY[:-1])),
        ("49454545", path.read_text().replace(octets, "")),
    ):
        (tmp_path / "other.conf").write_text(text)
        done = verb("network/wpa-file-is", str(tmp_path / "other.conf"), ssid, "wpa-psk")
        assert (done.returncode, KEY[:-1] in done.stderr) == (1, False)
    failed = verb(
        "network/wpa-file", str(tmp_path / "not.conf"), "IEEE", "wpa-psk", head, stdin="password", tool="false"
    )
    assert failed.returncode == 1 and "made no key" in failed.stderr
    assert not (tmp_path / "not.conf").exists() and list((tmp_path / "work").iterdir()) == []
    assert verb("network/wpa-file", str(path), "IEEE", "sae", head, stdin="x", tool="false").returncode == 0
    assert path.read_text() == f"{head}\tsae_password=78\n}}\n"
    assert verb("network/wpa-file-is", str(path), "49454545", "sae").returncode == 0
    assert verb("network/wpa-file-is", str(path), "49454545", "wpa-psk").returncode == 1


# --- changes ---------------------------------------------------------------------------------------------------------


def told(old: str, new: str) -> dict[str, Change]:
    def side(text: str) -> Side:
        return Side(section=section(text), context=Around(), actions=actions(text))

    assert STEP.changes is not None
    return {change.says: change for change in STEP.changes(side(old), side(new))}


def ids(change: Change) -> set[str]:
    return {action.id for action in change.actions}


def test_a_vlan_that_comes_or_goes_changes_its_cable_too() -> None:
    [added] = told(LINK, LINK + VLAN).items()
    assert added[0] == "link pump is added (VLAN 42 on cable)"
    assert ids(added[1]) == {"network.link-pump", "network.link-cable"}
    [gone] = told(LINK + VLAN, LINK).items()
    assert gone[0] == "link pump is removed"
    assert ids(gone[1]) == {"network.link-pump", "network.link-cable"}


def test_a_changed_number_and_a_changed_way_are_told() -> None:
    assert list(told(LINK + VLAN, LINK + VLAN.replace("42", "43"))) == [
        "link pump: VLAN 43 on cable instead of VLAN 42 on cable"
    ]
    assert list(told(LINK, LINK + 'ipv6_privacy = "public"')) == [
        "link cable: IPv6 privacy public instead of temporary"
    ]
    assert list(told(LINK, LINK + 'ipv6 = "off"')) == ["link cable: IPv6 from the network off instead of announced"]


def test_another_wifi_program_takes_the_first_one_s_unit_and_files_away() -> None:
    [change] = told(WPA, WPA.replace("wpa_supplicant", "iwd")).values()
    assert ids(change) == {"network.settings", "network.manager", "network.link-air"}
    text = repr([action.operations for action in change.actions])
    assert "'disable', '--', 'wpa_supplicant@air.service'" in text
    for path in (
        "/etc/wpa_supplicant/wpa_supplicant-air.conf",
        "/etc/systemd/network/10-air.link",
        "/etc/systemd/system/wpa_supplicant@.service",
    ):
        assert path in text


def test_every_change_has_a_proof_and_a_way_back() -> None:
    found: list[Action] = [*actions(LINK + VLAN).values(), *actions(WPA).values(), *actions(NM + LINK + VLAN).values()]
    for action in found:
        assert not action.changes or (action.proofs and action.way_back.note and action.way_back.operations)
    assert set(NEEDS) >= {"wifi-wpa"}


# --- the contract ----------------------------------------------------------------------------------------------------


KELP = Host.read(Path(__file__).resolve().parent.parent / "specs/kelp-02.toml")


def on_kelp(text: str) -> str:
    """The same links with the cards of an example machine."""
    text = text.replace(CABLE, "00:00:5e:00:53:17").replace(AIR, "00:00:5e:00:53:18")
    return "[network]\n" + text.replace("[[links]]", "[[network.links]]")


test_the_step_keeps_to_the_contract = conformance_tests(
    "network", examples=[on_kelp(LINK + VLAN), on_kelp(NM + LINK + VLAN), on_kelp(WPA)], hosts=[KELP]
)
