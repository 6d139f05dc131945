"""Accidents inside the new system: clock, language, keymap, users, identity, network."""

from __future__ import annotations

import re

from accidents.staging import (
    MACHINES,
    Edits,
    Place,
    actions,
    caught_by,
    checks,
    concern,
    faults,
    function,
    planned,
    rendered,
    spoiled,
    told,
    unseen,
    value,
    verb,
)
from bedplate.actions import Call, Outputs, Stage, WriteFile
from bedplate_steps.bootloader.initramfs import Initramfs
from library import LIBRARY

ENCRYPTED = (
    (
        'name = "root"\nsize = "40GiB"',
        'name = "boot"\nsize = "1GiB"\nfilesystem = "ext4"\nmount = "/boot"\n\n'
        '[[disk.new]]\nname = "root"\nencrypt = true\nsize = "40GiB"',
    ),
    ('name = "swap"\n', 'name = "swap"\nencrypt = true\n'),
    ('name = "home"\n', 'name = "home"\nencrypt = true\n'),
)
"""kelp-02 with everything but /boot in containers."""


def _files(name: str, **edits: Edits) -> dict[str, str]:
    """Every file that the actions write whose id begins with `name`: from path to text."""
    found = [
        item
        for one in actions(planned(**edits)).values()
        if one.id.startswith(name)  # type: ignore[arg-type]
        for item in one.operations
        if isinstance(item, WriteFile)
    ]
    return {str(getattr(item.path, "path", item.path)): "".join(map(str, item.content)) for item in found}


# --- clock, language, keymap ---------------------------------------------------------------------------------------


@caught_by(function("clock.validate:_hardware_clock"), unseen("action:clock.hardware"))
def test_d01_two_readings_of_one_clock() -> None:
    local = faults()["hardware-clock-local"]
    assert "two systems will keep one hardware clock in local time" in local and "Cure 1" in local and "Cure 2" in local
    utc = (('hardware_clock = "local"       # the factory system keeps it so', 'hardware_clock = "utc"'),)
    assert "RealTimeIsUniversal /t REG_DWORD /d 1" in told(planned(spec=utc))
    hardware = actions(planned())["clock.hardware"]
    assert _files("clock.hardware")["/etc/adjtime"].splitlines()[2] == "LOCAL"  # adjtime_config(5)
    audit = hardware.audits[0]
    assert isinstance(audit.test, Outputs) and "--property=LocalRTC" in audit.test.argv and audit.test.text == "yes"


@caught_by(unseen("action:network.resolver"))
def test_d03_a_wrong_clock_and_strict_validation() -> None:
    # resolved.conf(5): DNSSEC=
    assert _files("network.resolver")["/etc/systemd/resolved.conf.d/dnssec.conf"] == "[Resolve]\nDNSSEC=no\n"


@caught_by(function("locale.validate:_locale"), unseen("action:locale.locales"), spoiled("_run", "env -i", "env"))
def test_d04_a_language_that_was_never_made() -> None:
    unknown = faults(common=(("en_GB.UTF-8", "en_GX.UTF-8"),))["unknown-locale"]
    assert "nearest: en_G" in unknown or "nearest: en_" in unknown
    proofs = [check for check in actions(planned())["locale.locales"].proofs if isinstance(check.test, Outputs)]
    assert [check.test.argv for check in proofs] == [("locale", "-a")]  # type: ignore[union-attr]
    assert proofs[0].says == "The locale en_GB.UTF-8 is on the machine"
    assert "env -i PATH=" in rendered(planned())


@caught_by(
    unseen("action:locale.live-keymap"), spoiled("_secrets", "(again)", ""), spoiled("_install", "load_keys", ":")
)
def test_d06_a_password_typed_on_another_layout() -> None:
    found = planned()
    order = actions(found)
    keymap = list(order).index("locale.live-keymap")
    first = next(index for index, one in enumerate(order.values()) if one.secrets)
    assert keymap < first
    script = rendered(found)
    asking = script[script.index("ask_now() {") :]
    assert asking.index("for_each_action load_keys") < asking.index('"secrets_$1_$2"')
    assert 'hidden_answer "$2 (again): "' in script and "Only printable ASCII" in script


IMAGE = "kernel/drivers/nvme/host/nvme.ko.xz\nkernel/fs/ext4/ext4.ko\nkernel/drivers/md/dm-crypt.ko.zst\n"
KEYMAP = "etc/console-setup/cached_UTF-8_del.kmap\n"
"""Where setupcon(1) of console-setup 1.221 puts the keymap for an image."""
KEYBOARD = (
    "S: Sysfs=/devices/platform/kbd0\nH: Handlers=sysrq kbd event3\n\nS: Sysfs=/devices/button\nH: Handlers=kbd\n"
)


def _initramfs(kind: str, listed: str, shell: str = "dash") -> tuple[int, str]:
    """The verb on a target whose image holds `listed`; an NVMe disk; a keyboard driven by hid_vendor."""
    place = Place()
    place.put("target/boot/initrd.img-6.1.0", "x")
    place.put("target/usr/lib/modules/6.1.0/modules.builtin", "kernel/drivers/pci/pcieport.ko\n")
    place.put("target/usr/bin/lsinitramfs", mode=0o755)
    place.put("input", KEYBOARD)
    for device, module in (("nvme0", "nvme"), ("kbd0", "hid_vendor"), ("port0", "pcieport")):
        place.put(f"sys/module/{module}/keep")
        folder = {
            "nvme0": "sys/devices/port0/nvme0",
            "kbd0": "sys/devices/platform/kbd0",
            "port0": "sys/devices/port0",
        }[device]
        link = place.path / folder / "driver/module"
        link.parent.mkdir(parents=True)
        link.symlink_to(place.path / "sys/module" / module)
    block = place.put("sys/devices/port0/nvme0/disk/keep").parent
    (place.path / "sys/class/block").mkdir(parents=True)
    (place.path / "sys/class/block/disk").symlink_to(block)
    moved = {
        '"/sys': f'"{place.path}/sys',
        "#/sys/devices/": f"#{place.path}/sys/devices/",
        "/proc/bus/input/devices": f"{place.path}/input",
    }
    fakes = {"lsinitramfs": f"printf '{listed}'"}
    words = (str(place.target / "boot"), kind, "ext4", "dm_crypt")
    return place.run("bootloader/initramfs-carries", *words, fakes=fakes, moved=moved, shell=shell)


HID = "kernel/drivers/hid/hid-vendor.ko\n"


@caught_by(verb("bootloader/initramfs-carries"))
def test_d05_the_passphrase_prompt_has_another_keymap() -> None:
    for shell in ("dash", "bash", "busybox sh"):
        code, said = _initramfs("keyboard", IMAGE + HID, shell)
        assert (code, "initrd.img-6.1.0 has no keymap" in said) == (1, True), said
    # systemd's own setup takes a file of keymaps; a passphrase is asked for in the other family as well
    for map in ("usr/lib/kbd/keymaps/xkb/gb.map.gz\n", "keymap.bin\n"):
        assert _initramfs("keyboard", IMAGE + HID + map) == (0, "")
    assert _initramfs("disk", IMAGE) == (0, "")  # nobody types anything there
    assert "keymap:target" in actions(planned(spec=ENCRYPTED))["bootloader.initramfs"].needs


@caught_by(verb("bootloader/initramfs-carries"), unseen("verb:initramfs-carries"))
def test_d07_a_keyboard_dead_at_the_passphrase_prompt() -> None:
    for shell in ("dash", "bash", "busybox sh"):
        code, said = _initramfs("keyboard", IMAGE + KEYMAP, shell)
        assert (code, "initrd.img-6.1.0 lacks: hid_vendor" in said) == (1, True), said
        assert _initramfs("keyboard", IMAGE + KEYMAP + HID, shell) == (0, "")
    [proof] = checks(actions(planned(spec=ENCRYPTED))["bootloader.initramfs"], "bootloader/initramfs-carries")
    assert isinstance(proof.test, Call) and "keyboard" in proof.test.args and "dm_crypt" in proof.test.args


@caught_by(verb("bootloader/initramfs-carries"), unseen("verb:initramfs-carries"), concern(Initramfs, settings=""))
def test_f02_an_initramfs_for_the_live_environment() -> None:
    lacking = IMAGE.replace("nvme.ko.xz", "ahci.ko.xz")
    assert "lacks: nvme" in _initramfs("disk", lacking)[1]
    assert _initramfs("disk", IMAGE) == (0, "")
    assert checks(actions(planned())["bootloader.initramfs"], "bootloader/initramfs-carries")
    for name, words in (("limpet-01", 'hostonly="no"'), ("barnacle-05", "HOOKS=(base systemd")):
        assert words in rendered(planned(name)) and "autodetect" not in rendered(planned(name))


# --- users ---------------------------------------------------------------------------------------------------------


@caught_by(function("users.validate:_administrator_faults"), verb("users/sudo-allows"), unseen("verb:sudo-allows"))
def test_d09_nobody_is_administrator() -> None:
    said = faults(common=(("administrator = true", "administrator = false"),))["no-administrator"]
    assert "nobody could ever change anything" in said and "administrator = true for one person" in said
    place = Place()
    fakes = {"visudo": "return 0", "sudo": "echo 'User ana may run the following commands: (root) /bin/ls'"}
    assert "sudo does not let ana run every command" in place.says("users/sudo-allows", "ana", fakes=fakes)
    assert checks(actions(planned())["users.administrators"], "users/sudo-allows")


@caught_by(value("users.emit:SUDOERS", "/etc/sudoers.d/ana.r"), function("users.validate:_form_faults"))
def test_d10_a_rule_file_that_is_passed_over() -> None:
    # sudoers(5): files whose names end in ~ or contain a . are skipped
    [operation] = actions(planned())["users.administrators"].operations
    [path] = operation.args  # type: ignore[union-attr]
    assert re.fullmatch(r"/etc/sudoers\.d/[A-Za-z0-9_-]+", str(path))
    assert "other than lower-case letters" in faults(spec=(('name = "ana"', 'name = "ana.r"'),))["bad-user-name"]


@caught_by(verb("users/login-shell"), verb("users/password-is"), unseen("verb:login-shell"), unseen("verb:password-is"))
def test_d12_the_new_user_cannot_log_in() -> None:
    place = Place()
    assert "/usr/bin/zsh is not installed" in place.says(
        "users/login-shell", "/usr/bin/zsh", fakes={"in_target": ""}, moved={"in_target test -x": "false"}
    )
    place.put("target/etc/shells", "/bin/sh\n")
    assert "does not stand in /etc/shells" in place.says("users/login-shell", "/bin/cat")
    place.put("target/etc/shadow", "ana:!:20000:0:99999:7:::\n")
    assert "ana has no usable password" in place.says("users/password-is", "ana", "set")
    found = actions(planned())
    assert checks(found["users.person-ana"], "users/login-shell") and checks(
        found["users.password-ana"], "users/password-is"
    )


@caught_by(function("users.validate:_root_faults"))
def test_d13_a_failed_start_that_lets_nobody_in() -> None:
    rescue = 'rescue = "live-medium"         # a failed start is mended from the station\'s live medium\n'
    said = faults(common=((rescue, ""),))["locked-root-without-rescue"]
    assert "ends at a console that lets nobody in" in said and '"open-shell" or "live-medium"' in said


@caught_by(verb("base/machine-id-own"), unseen("verb:machine-id-own"), verb("base/host-keys-there"))
def test_d14_two_machines_with_one_id() -> None:
    place = Place()
    same = "0123456789abcdef0123456789abcdef\n"
    place.put("target/etc/machine-id", same)
    live = place.put("live-id", same)
    moved = {"-f /etc/machine-id": f"-f {live}", "cat /etc/machine-id": f"cat {live}"}
    assert "the machine-id is that of the live medium" in place.says("base/machine-id-own", moved=moved)
    assert checks(actions(planned())["base.machine-id"], "base/machine-id-own")
    place.put("target/usr/sbin/sshd", mode=0o755)
    assert "there is no SSH host key" in place.says("base/host-keys-there")


# --- network -------------------------------------------------------------------------------------------------------


@caught_by(
    function("network.validate:_no_network_faults"),
    verb("network/unit-complete"),
    unseen("verb:unit-complete"),
    unseen("verb:service-enabled"),
)
def test_e01_no_network_after_the_restart() -> None:
    said = faults(spec=(('manager = "networkmanager"', 'manager = "none"'),))["network-unconfirmed"]
    assert "no network after its first start; say so on purpose" in said
    place = Place()
    place.put("target/usr/lib/systemd/system/NetworkManager.service", "[Service]\nExecStart=/usr/sbin/No-Such-Thing\n")
    missing = place.says("network/unit-complete", str(place.target), "NetworkManager.service")
    assert "NetworkManager.service starts /usr/sbin/No-Such-Thing, which is not installed" in missing
    manager = actions(planned())["network.manager"]
    assert checks(manager, "network/unit-complete") and checks(manager, "service-enabled")


@caught_by(verb("link-is"), unseen("verb:link-is"), unseen("action:network.first-start"))
def test_e02_names_do_not_resolve() -> None:
    place = Place()
    place.put("target/etc/resolv.conf", "nameserver 192.0.2.1\n")
    stub = "../run/systemd/resolve/stub-resolv.conf"
    assert "resolv.conf" in place.says("link-is", str(place.target / "etc/resolv.conf"), stub)
    found = actions(planned())
    assert checks(found["network.resolver"], "link-is")
    order = list(found)
    assert order.index("network.resolver") > order.index("base.packages")
    assert [check.test.verb for check in found["network.first-start"].audits if isinstance(check.test, Call)] == [
        "network/online"
    ]
    assert "getent" in LIBRARY.text(["network/online"])


@caught_by(function("network.validate_links:_survey_faults"), function("network.validate_links:_match_faults"))
def test_e03_another_interface_name() -> None:
    said = faults(spec=(("00:00:5e:00:53:17", "00:00:5e:00:53:19"),))["link-not-in-survey"]
    assert "the survey has no such network card" in said and "00:00:5e:00:53:17 (ethernet enp0s31f6)" in said
    named = faults(spec=(('mac = "00:00:5e:00:53:17"', 'interface = "enp0s31f6"'),))["interface-may-change"]
    assert "can differ between the live medium and the installed system" in named


@caught_by(verb("network/firmware-of-link"), unseen("verb:firmware-of-link"))
def test_e04_wifi_without_its_firmware() -> None:
    place = Place()
    mac, wanted = "00:00:5e:00:53:18", "iwlwifi-ty-a0-gf-a0-72.ucode"
    place.put("net/wlan0/address", mac + "\n")
    (place.path / "net/wlan0/device/driver").mkdir(parents=True)
    (place.path / "net/wlan0/device/driver/module").symlink_to(place.put("module/iwlwifi/keep").parent)
    place.put("target/usr/lib/modules/6.1.0/modules.dep")
    place.put("target/usr/lib/firmware/iwlwifi-older-50.ucode.xz")
    fakes = {
        "modinfo": f"printf 'iwlwifi-older-50.ucode\\n{wanted}\\n'",
        "dmesg": f"echo 'iwlwifi 0000:00:14.3: firmware: direct-loading firmware {wanted}'",
    }
    moved = {"/sys/class/net/": f"{place.path}/net/"}
    said = place.says("network/firmware-of-link", mac, fakes=fakes, moved=moved)
    assert f"iwlwifi has loaded here, and the new system lacks: {wanted}" in said
    place.put(f"target/usr/lib/firmware/{wanted}.xz")
    place.holds("network/firmware-of-link", mac, fakes=fakes, moved=moved)
    action = actions(planned())["network.firmware"]
    assert checks(action, "network/firmware-of-link") and "firmware_packages of [base]" in action.trouble


@caught_by(function("network.emit:masked_units"))
def test_e06_two_network_managers() -> None:
    for name, rival in (("kelp-02", "systemd-networkd.service"), ("limpet-01", "NetworkManager.service")):
        manager = actions(planned(name))["network.manager"]
        masked = [check.says for check in checks(manager, "link-is")]
        assert f"/etc/systemd/system/{rival} points to /dev/null" in masked


@caught_by(function("network.emit:masked_units"))
def test_e07_waiting_for_an_unplugged_port() -> None:
    masked = [check.says for check in checks(actions(planned())["network.manager"], "link-is")]
    assert "/etc/systemd/system/NetworkManager-wait-online.service points to /dev/null" in masked


def test_every_machine_compiles_with_every_check_on() -> None:
    """No false alarm: the example machines as they are have no faults, and every stage its actions."""
    for name in MACHINES:
        assert {node.action.stage for node in planned(name).nodes} == set(Stage)
