"""The boot loader step: its faults, its files, its actions, and its runtime verbs on made-up machines."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import TypeVar

import cattrs
import jsonschema
import pytest
from attrs import evolve

from bedplate.actions import KINDS, Action, ByHand, Call, InTarget, Run, Stage, WriteFile, token_kind
from bedplate.facts import Family, KernelParameters, LaidPartition, Layout, Subvolume
from bedplate.faults import Fault
from bedplate.loading.registry import load
from bedplate.spec import Machine
from bedplate.survey import BootEntry, Firmware, Survey, SurveyedDisk, SurveyedMachine, SurveyedPartition
from bedplate_steps.bootloader import grub
from bedplate_steps.bootloader.facts import kernel_parameters
from bedplate_steps.bootloader.grub import entries, settings, stub
from bedplate_steps.bootloader.model import Bootloader, Entry, FirmwareKeys
from bedplate_steps.bootloader.other_systems import handovers
from bedplate_steps.bootloader.plan import Loader, Plan, settle
from bedplate_steps.bootloader.systemd_boot import SYSTEMD_BOOT
from family_records import record
from library import LIBRARY

T = TypeVar("T")
STEP = load().steps["bootloader"].step
SHELLS = {"dash": ["dash"], "bash": ["bash", "--posix"], "busybox": ["busybox", "sh"]}
ESP_TYPE = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"
ESP_UUID = "6D0325D8-CF1C-525B-838B-9949ABA9601A"
MANAGER = r"\EFI\Microsoft\Boot\bootmgfw.efi"
GLOBAL = "8be4df61-93ca-11d2-aa0d-00e098032b8c"

# --- a made-up machine -------------------------------------------------------------------------------------------

ESP = LaidPartition(
    name="esp",
    new=False,
    number=1,
    start=2048,
    size=532480,
    type=ESP_TYPE,
    uuid=ESP_UUID,
    role="esp",
    filesystem="vfat",
    fs_uuid="5A02-17C4",
    mount="/boot/efi",
)
FACTORY = LaidPartition(
    name="factory",
    new=False,
    number=3,
    start=567296,
    size=400000000,
    type="EBD0A0A2-B9E5-4433-87C0-68B6B72699C7",
    uuid="B6C153AE-B203-5A3F-9B66-7A67F98DDBE7",
    role="system",
    filesystem="ntfs",
)
ROOT = LaidPartition(
    name="root",
    new=True,
    number=5,
    start=500000768,
    size=83886080,
    type="4F68BCE3-E8CD-4DB1-96E7-FBCAF984B709",
    uuid="1C2D3E4F-0A1B-5C2D-8E3F-4A5B6C7D8E9F",
    role="root",
    filesystem="ext4",
    fs_uuid="11f0b0ce-6d4e-5a7a-9c3b-2f4d5e6f7a8b",
    mount="/",
)
LAYOUT = Layout(
    disk_words="Saltmarsh NVMe 512G",
    serial="SM-NVME-0217",
    size_bytes=512110190592,
    sector_size=512,
    table_id="7C0B6A1E-52D4-4B0F-9A3D-0217C4E8F651",
    whole_disk=False,
    first_lba=34,
    last_lba=1000215182,
    partitions=(ESP, FACTORY, ROOT),
    other_systems=("factory",),
)
SURVEY = Survey(
    firmware=Firmware(
        secure_boot="off",
        boot_order=("0000", "0001"),
        entries=(
            BootEntry(number="0000", label="Factory Boot Manager", partition=ESP_UUID.lower(), loader=MANAGER),
            BootEntry(number="0001", label="Setup", active=False),
        ),
    ),
    disks=(
        SurveyedDisk(
            path="/dev/nvme0n1",
            size_bytes=512110190592,
            partitions=(
                SurveyedPartition(
                    number=1,
                    start=2048,
                    size=532480,
                    type=ESP_TYPE,
                    uuid=ESP_UUID,
                    files=("/EFI/Microsoft/Boot/bootmgfw.efi", "/EFI/BOOT/BOOTX64.EFI"),
                ),
            ),
        ),
    ),
)
NAMES: dict[str, tuple[str, ...]] = {"boot-entries": ("efibootmgr",)}
FAMILIES = {
    "apt": Family(
        name="apt",
        architecture="amd64",
        rebuild_initramfs=("update-initramfs", "-u", "-k", "all"),
        packages={**NAMES, "loader-grub": ("grub-efi-amd64",), "secure-boot": ("shim-signed",)},
    ),
    "pacman": Family(
        name="pacman",
        architecture="amd64",
        rebuild_initramfs=("mkinitcpio", "-P"),
        packages={**NAMES, "loader-grub": ("grub",)},
    ),
    "dnf": Family(
        name="dnf",
        architecture="amd64",
        rebuild_initramfs=("dracut", "--regenerate-all", "--force"),
        packages={**NAMES, "loader-grub": ("grub2-efi-x64",), "secure-boot": ("shim-x64",)},
    ),
}


class FakeContext:
    """A context with fixed facts."""

    def __init__(self, layout: Layout = LAYOUT, family: str = "apt", survey: Survey | None = SURVEY) -> None:
        self.machine = Machine(name="kelp-02")
        self.survey = survey
        self.facts: dict[type, object] = {Layout: layout, Family: FAMILIES[family]}

    def of_family(self, kind: type[T]) -> T:
        return record(self.fact(Family).name, kind)

    def fact(self, kind: type[T]) -> T:
        return self.facts[kind]  # type: ignore[return-value]

    def extensions(self, kind: type[T]) -> dict[str, T]:
        return {"grub": grub.GRUB, "systemd-boot": SYSTEMD_BOOT} if kind is Loader else {}  # type: ignore[dict-item]

    def has(self, kind: type[object]) -> bool:
        return kind in self.facts


def faults(section: Bootloader, context: FakeContext | None = None) -> dict[str, Fault]:
    assert STEP.validate is not None
    return {fault.code: fault for fault in STEP.validate(section, context or FakeContext())}


def emitted(section: Bootloader, context: FakeContext | None = None) -> dict[str, Action]:
    return {action.id: action for action in STEP.emit(section, context or FakeContext())}


def plan(section: Bootloader, context: FakeContext | None = None) -> Plan:
    settled = settle(section, context or FakeContext())
    assert settled is not None
    return settled


KELP = Bootloader(name="kelp")


# --- the schema --------------------------------------------------------------------------------------------------

FULL = r"""
name = "kelp"
loader = "grub"
menu_time = 3
default = "factory"
kernel_parameters = ["quiet", "nvme_core.default_ps_max_latency_us=0"]
terminal = "both"
serial_port = "ttyS0"
serial_speed = 115200
fallback = false
secure_boot = "off"
boot_entry_position = "last"
entry_path = "full"
[[entries]]
name = "factory"
title = "Factory system"
loader = '\EFI\Microsoft\Boot\bootmgfw.efi'
partition = "esp"
[medium]
image = "live.iso"
checksums = "SHA256SUMS"
signature = "SHA256SUMS.gpg"
keyring = "/usr/share/keyrings/publisher.gpg"
[firmware]
boot_menu_key = "F12"
setup_key = "F2"
"""


def test_a_full_section_passes_schema_model_and_checks() -> None:
    raw = tomllib.loads(FULL)
    jsonschema.Draft202012Validator.check_schema(dict(STEP.schema))
    jsonschema.validate(raw, STEP.schema)
    section = cattrs.structure(raw, Bootloader)
    assert section.firmware == FirmwareKeys(boot_menu_key="F12", setup_key="F2")
    assert section.entries[0].loader == MANAGER
    assert faults(section) == {}


@pytest.mark.parametrize(
    "key, value",
    [
        ("name", "Kelp"),
        ("name", "../kelp"),
        ("name", "kelp 2"),
        ("name", "$(touch x)"),
        ("name", ""),
        ("menu_time", -1),
        ("menu_time", 1.5),
        ("menu_time", "5"),
        ("kernel_parameters", ["a b"]),
        ("kernel_parameters", ["a;reboot"]),
        ("kernel_parameters", ["x=$(y)"]),
        ("kernel_parameters", ["x='y'"]),
        ("kernel_parameters", ["quiet", "quiet"]),
        ("kernel_parameters", [""]),
        ("loader", "other"),
        ("terminal", "tty"),
        ("serial_speed", 1),
        ("surprise", 1),
        ("entries", [{"name": "a", "title": "two\nlines"}]),
        ("entries", [{"title": "no name"}]),
        ("entries", [{"name": "a", "loader": r"\EFI\..\x.efi"}]),
        ("entries", [{"name": "a", "loader": "x.efi"}]),
        ("entries", [{"name": "a", "loader": r"\EFI\a\'; reboot; '.efi"}]),
        ("medium", {"image": "a; rm -rf x"}),
        ("firmware", {"boot_menu_key": "F1\u0007"}),
    ],
)
def test_the_schema_refuses(key: str, value: object) -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"name": "kelp", key: value}, STEP.schema)


# --- faults ------------------------------------------------------------------------------------------------------


def test_a_plain_section_has_no_fault() -> None:
    assert faults(KELP) == {}


@pytest.mark.parametrize("name", ["boot", "microsoft"])
def test_folders_with_a_meaning_are_taken(name: str) -> None:
    # UEFI 2.10, 13.3.1.3: \EFI\BOOT is the fallback, every other folder a vendor's.
    assert faults(Bootloader(name=name))["folder-taken"].path == ("name",)


def test_a_folder_of_another_system_is_taken_whatever_its_case() -> None:
    files = ("/EFI/Kelp/grubx64.efi",)
    disk = SURVEY.disks[0]
    survey = evolve(SURVEY, disks=(evolve(disk, partitions=(evolve(disk.partitions[0], files=files),)),))
    assert "folder-taken" in faults(KELP, FakeContext(survey=survey))
    entries = (BootEntry(number="0001", label="kelp"),)  # one fault for one system
    both = evolve(survey, firmware=evolve(SURVEY.firmware, entries=entries))
    assert {code for code in faults(KELP, FakeContext(survey=both)) if code.endswith("-taken")} == {"folder-taken"}


def test_a_label_of_another_entry_is_taken() -> None:
    """A label is compared as it looks to a person in the firmware's list; common practice, no source."""
    assert faults(Bootloader(name="setup"))["label-taken"].warning is False
    padded = evolve(SURVEY, firmware=evolve(SURVEY.firmware, entries=(BootEntry(number="0001", label=" KELP "),)))
    assert "label-taken" in faults(KELP, FakeContext(survey=padded))
    assert "label-taken" not in faults(KELP)


@pytest.mark.parametrize(
    "word", ["root=/dev/sda1", "resume=UUID=1", "resume_offset=1", "ro", "rootflags=subvol=x", "rd.luks.name=a=b"]
)
def test_computed_parameters_may_not_be_given(word: str) -> None:
    fault = faults(Bootloader(name="kelp", kernel_parameters=("quiet", word)))["parameter-computed"]
    assert fault.path == ("kernel_parameters", 1)


def test_an_unknown_default_names_the_entries_and_the_nearest() -> None:
    fault = faults(Bootloader(name="kelp", default="factori"))["unknown-default"]
    assert (fault.allowed, fault.nearest) == ("new, last or factory", "factory")


def test_a_loader_the_survey_does_not_show_is_a_warning_with_the_nearest() -> None:
    entry = Entry(name="factory", loader=r"\EFI\Microsoft\Boot\bootmgfv.efi")
    fault = faults(Bootloader(name="kelp", entries=(entry,)))["loader-not-seen"]
    assert fault.warning and fault.nearest == MANAGER


def test_entries_point_to_kept_partitions_and_systems() -> None:
    section = Bootloader(
        name="kelp",
        entries=(Entry(name="factory", loader=MANAGER, partition="root"), Entry(name="fctory"), Entry(name="fctory")),
    )
    found = faults(section)
    assert found["unknown-partition"].allowed == "esp"
    assert found["unknown-system"].nearest == "factory"
    assert found["entry-name-taken"].path == ("entries", 2, "name")


def test_no_loader_in_the_survey_is_said() -> None:
    fault = faults(KELP, FakeContext(survey=None))["loader-not-found"]
    assert fault.warning and "factory" in fault.message


def test_an_esp_without_a_file_system_id_is_a_fault() -> None:
    layout = evolve(LAYOUT, partitions=(evolve(ESP, fs_uuid=""), FACTORY, ROOT))
    assert "esp-without-id" in faults(KELP, FakeContext(layout))


def test_secure_boot_on_gives_the_choices_and_the_caution() -> None:
    survey = evolve(SURVEY, firmware=evolve(SURVEY.firmware, secure_boot="on"))
    layout = evolve(LAYOUT, other_encryption="on", other_start_by="firmware-menu")
    fault = faults(KELP, FakeContext(layout, survey=survey))["secure-boot-on"]
    text = " ".join(fault.notes)
    assert fault.warning and "signed" in text and "recovery key" in text and "switch Secure Boot off" in text
    assert "secure-boot-on" not in faults(Bootloader(name="debian", secure_boot="signed"), FakeContext(survey=survey))


def test_the_signed_chain_wants_its_own_folder_and_a_family_that_has_one() -> None:
    signed = Bootloader(name="kelp", secure_boot="signed")
    assert "folder-fixed" in faults(signed)
    assert "no-signed-chain" in faults(signed, FakeContext(family="pacman"))
    assert "folder-fixed" in faults(KELP, FakeContext(family="dnf"))
    assert faults(Bootloader(name="fedora"), FakeContext(family="dnf")) == {}


def test_a_foreign_fallback_loader_is_never_overwritten() -> None:
    assert faults(Bootloader(name="kelp", fallback=True))["fallback-taken"].path == ("fallback",)
    # shim-x64 brings files in \EFI\BOOT with it (from memory)
    signed = Bootloader(name="fedora", secure_boot="signed")
    assert faults(signed, FakeContext(family="dnf"))["fallback-taken"].path == ("secure_boot",)


def test_the_family_s_own_folder_of_another_system_is_not_written_by_its_package() -> None:
    # postinst of Debian's grub-efi-amd64 2.06-13+deb12u2: it writes where /boot/efi/EFI/debian exists
    marsh = BootEntry(number="0002", label="marsh", partition=ESP_UUID.lower(), loader=r"\EFI\debian\shimx64.efi")
    context = FakeContext(survey=evolve(SURVEY, firmware=evolve(SURVEY.firmware, entries=(marsh,))))
    assert "/efi" in str(faults(KELP, context)["family-folder-taken"].allowed)
    context.facts[Layout] = evolve(LAYOUT, partitions=(evolve(ESP, mount="/efi"), FACTORY, ROOT))
    found = faults(KELP, context)
    assert "family-folder-taken" not in found and found["loader-not-updated"].warning


def test_remembering_needs_a_file_system_grub_can_write() -> None:
    layout = evolve(LAYOUT, partitions=(ESP, FACTORY, evolve(ROOT, filesystem="btrfs")))
    assert "cannot-remember" in faults(Bootloader(name="kelp", default="last"), FakeContext(layout))
    assert faults(Bootloader(name="kelp", default="last")) == {}


def test_firmware_facts_are_judged() -> None:
    legacy = evolve(SURVEY, firmware=evolve(SURVEY.firmware, mode="bios"))
    narrow = evolve(SURVEY, firmware=evolve(SURVEY.firmware, bits=32))
    raid = evolve(SURVEY, machine=SurveyedMachine(pci=("0104 8086:9a0b",)))
    assert "legacy-firmware" in faults(KELP, FakeContext(survey=legacy))
    assert "firmware-width" in faults(KELP, FakeContext(survey=narrow))
    assert faults(KELP, FakeContext(survey=raid))["storage-raid-mode"].warning


# --- kept systems ------------------------------------------------------------------------------------------------


def test_a_kept_system_gets_its_entry_by_itself() -> None:
    [item] = handovers(KELP, LAYOUT, SURVEY)
    assert (item.name, item.title, item.loader, item.partition) == ("factory", "Factory Boot Manager", MANAGER, ESP)


def test_an_entry_changes_what_came_by_itself_and_files_alone_are_enough() -> None:
    section = Bootloader(name="kelp", entries=(Entry(name="factory", title="Tide logger"),))
    survey = evolve(SURVEY, firmware=evolve(SURVEY.firmware, entries=()))
    [item] = handovers(section, LAYOUT, survey)
    assert (item.title, item.loader) == ("Tide logger", MANAGER)


def test_no_menu_entry_where_it_would_ask_for_a_recovery_key() -> None:
    layout = evolve(LAYOUT, other_encryption="on", other_start_by="firmware-menu")
    assert handovers(KELP, layout, SURVEY) == ()
    assert faults(KELP, FakeContext(layout))["firmware-menu-only"].warning
    texts = [
        op.text
        for op in emitted(KELP, FakeContext(layout))["bootloader.first-boot-other"].operations
        if isinstance(op, ByHand)
    ]
    assert len(texts) == 2 and "second time" in texts[1]


def test_a_second_linux_is_started_by_its_own_entry_not_by_the_boot_manager() -> None:
    other = evolve(FACTORY, name="marsh", filesystem="ext4", uuid="0" * 8 + FACTORY.uuid[8:])
    layout = evolve(LAYOUT, partitions=(ESP, FACTORY, other, ROOT), other_systems=("factory", "marsh"))
    marsh = BootEntry(number="0002", label="marsh", partition=ESP_UUID.lower(), loader=r"\EFI\marsh\grubx64.efi")
    survey = evolve(SURVEY, firmware=evolve(SURVEY.firmware, entries=(marsh, *SURVEY.firmware.entries)))
    found = {item.name: item.loader for item in handovers(KELP, layout, survey)}
    assert found == {"factory": MANAGER, "marsh": r"\EFI\marsh\grubx64.efi"}


# --- kernel parameters -------------------------------------------------------------------------------------------


def test_the_fact_holds_computed_and_given_words_in_order() -> None:
    swap = LaidPartition(
        name="their-swap", new=False, number=6, start=1, size=1, type="0657FD6D-A4AB-43C4-84E5-0933C84B4F4F", uuid="A"
    )
    layout = evolve(LAYOUT, partitions=(ESP, ROOT, swap), resume=("resume=UUID=1",))
    section = Bootloader(name="kelp", kernel_parameters=("quiet",), terminal="both")
    assert kernel_parameters(section, FakeContext(layout)) == KernelParameters(
        words=("resume=UUID=1", "systemd.gpt_auto=0", "console=tty0", "console=ttyS0,115200", "quiet")
    )


@pytest.mark.parametrize("family, words", [("apt", ()), ("dnf", ("rd.luks.name=42=croot",))])
def test_an_encrypted_root_is_unlocked_the_family_s_way(family: str, words: tuple[str, ...]) -> None:
    # Debian's initramfs reads crypttab; rd.luks.name=: systemd-cryptsetup-generator(8)
    root = evolve(ROOT, mapper="croot", luks_uuid="42")
    context = FakeContext(evolve(LAYOUT, partitions=(ESP, root)), family=family)
    assert kernel_parameters(KELP, context).words == words
    settled = plan(KELP, context)
    assert settled.roots == ("/dev/mapper/croot", f"UUID={root.fs_uuid}")
    assert settled.command_line.startswith("root=/dev/mapper/croot ro")


@pytest.mark.parametrize("hibernate", [True, False])
def test_an_encrypted_swap_is_unlocked_early_where_a_resume_reads_it(hibernate: bool) -> None:
    """systemd-hibernate-resume(8): the initramfs reads the device before any file system is mounted; what is only
    swapped to is unlocked by crypttab(5)."""
    parts = (
        evolve(ROOT, mapper="croot", luks_uuid="42"),
        evolve(ROOT, name="swap", role="swap", mount="", mapper="cswap", luks_uuid="43"),
        evolve(ROOT, name="logs", role="data", mount="/logs", mapper="clogs", luks_uuid="44"),
    )
    layout = evolve(LAYOUT, partitions=(ESP, *parts), hibernate=hibernate)
    swap = ("rd.luks.name=43=cswap",) if hibernate else ()
    assert kernel_parameters(KELP, FakeContext(layout, family="dnf")).words == ("rd.luks.name=42=croot", *swap)


# --- files -------------------------------------------------------------------------------------------------------

HOSTILE = ("it's $(touch BROKEN)", "`touch BROKEN`", '"; touch BROKEN; "', "'; touch BROKEN; '", "größe \\", "} ")


def test_settings_are_assignments_only() -> None:
    words = ("quiet", "mitigations=auto")
    section = Bootloader(name="kelp", kernel_parameters=words, terminal="serial", default="last")
    assert settings(plan(section)) == (
        "GRUB_DEFAULT=saved\nGRUB_TIMEOUT=5\nGRUB_TIMEOUT_STYLE=menu\nGRUB_DISTRIBUTOR=kelp\n"
        "GRUB_CMDLINE_LINUX='console=ttyS0,115200 mitigations=auto'\nGRUB_CMDLINE_LINUX_DEFAULT=quiet\n"
        "GRUB_DISABLE_OS_PROBER=true\nGRUB_SAVEDEFAULT=true\n"
        "GRUB_TERMINAL=serial\nGRUB_SERIAL_COMMAND='serial --unit=0 --speed=115200'\n"
    )
    assert "    savedefault\n" in entries(plan(section))


def test_the_entries_script_prints_the_entries(tmp_path: Path) -> None:
    script = tmp_path / "25_kept systems"
    script.write_text(entries(plan(KELP)), encoding="utf-8")
    for shell in SHELLS.values():
        out = subprocess.run([*shell, str(script)], capture_output=True, text=True, check=True).stdout
        assert out.splitlines()[0] == "menuentry 'Factory Boot Manager' --id kept-factory {"
        assert "    search --no-floppy --fs-uuid --set=root 5A02-17C4" in out
        assert "    chainloader /EFI/Microsoft/Boot/bootmgfw.efi" in out


@pytest.mark.parametrize(
    "boot, path",
    [
        (ROOT, "/boot/grub2"),
        (evolve(ROOT, mount="/boot", fs_uuid="22"), "/grub2"),
        (evolve(ROOT, mount="", subvolumes=(Subvolume(name="@", mount="/"),)), "/@/boot/grub2"),
    ],
)
def test_the_stub_finds_the_menu_from_the_root_of_its_file_system(boot: LaidPartition, path: str) -> None:
    parts = (ESP, boot) if boot.mount != "/boot" else (ESP, ROOT, boot)
    settled = plan(Bootloader(name="fedora"), FakeContext(evolve(LAYOUT, partitions=parts), family="dnf"))
    assert f"set prefix=($dev){path}\n" in stub(settled)
    assert f"--set=dev {boot.fs_uuid}\n" in stub(settled)


# --- actions -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("family", ["apt", "pacman", "dnf"])
def test_actions_are_whole(family: str) -> None:
    section = Bootloader(name="fedora" if family == "dnf" else "kelp")
    actions = emitted(section, FakeContext(family=family))
    given = {token for action in actions.values() for token in action.gives}
    for action in actions.values():
        assert action.id.startswith("bootloader.")
        assert all(token_kind(token) in KINDS for token in (*action.needs, *action.gives)), action.id
        if action.changes and action.stage in (Stage.LIVE, Stage.TARGET):
            assert action.proofs, action.id
        own = [token for token in action.needs if token.startswith(("loader:", "initramfs:", "boot:"))]
        assert set(own) <= given, action.id
        for check in (*action.guards, *action.proofs):
            if isinstance(check.test, Call):
                assert check.test.verb in LIBRARY.entries
        for operation in (*action.operations, *action.way_back.operations):
            if isinstance(operation, Call):
                assert operation.verb in LIBRARY.entries
    assert {"loader:installed", "loader:configured", "initramfs:built", "boot:new", "boot:other"} <= given


def test_grub_install_names_everything_and_touches_no_variable() -> None:
    # B13 and B15 of grub-install(8): nothing is left to its guesses
    _, run, _ = emitted(KELP)["bootloader.install"].operations
    assert isinstance(run, Run)
    assert run.argv == (
        "grub-install",
        "--target=x86_64-efi",
        "--efi-directory=/boot/efi",
        "--bootloader-id=kelp",
        "--no-nvram",
        "--no-uefi-secure-boot",
    )


def test_the_dnf_family_uses_its_packaged_image() -> None:
    _, write, _ = emitted(Bootloader(name="fedora"), FakeContext(family="dnf"))["bootloader.install"].operations
    assert isinstance(write, WriteFile)
    assert write.path == InTarget("/boot/efi/EFI/fedora/grub.cfg")


def test_arm64_has_its_own_names() -> None:
    context = FakeContext()
    context.facts[Family] = evolve(FAMILIES["apt"], architecture="arm64")
    settled = plan(KELP, context)
    assert (grub.image(settled), settled.machine) == ("grubaa64.efi", "64aa")
    _, run, _ = grub.install(settled).operations
    assert isinstance(run, Run) and "--target=arm64-efi" in run.argv


def test_without_another_system_its_parts_are_left_out() -> None:
    layout = evolve(LAYOUT, partitions=(evolve(ESP, new=True), ROOT), other_systems=(), whole_disk=True)
    actions = emitted(KELP, FakeContext(layout))
    assert "bootloader.first-boot-other" not in actions and "bootloader.protect-again" not in actions
    assert len(actions["bootloader.install"].guards) == 1
    assert "boot:new" in actions["bootloader.hand-over"].needs


def test_protection_is_resumed_at_the_end() -> None:
    actions = emitted(KELP, FakeContext(evolve(LAYOUT, other_encryption="suspended")))
    # then started twice: only a protected volume can show that it does not ask for its key the second time
    last = ["bootloader.protect-again", "bootloader.first-boot-other", "bootloader.hand-over"]
    assert list(actions)[-3:] == last
    assert "boot:other-protected" in actions["bootloader.first-boot-other"].needs
    assert actions["bootloader.hand-over"].needs == ("boot:other",)


def test_secure_boot_is_guarded_unless_signed() -> None:
    def verbs(section: Bootloader) -> list[str]:
        checks = emitted(section)["bootloader.check-firmware"].guards
        return [check.test.verb for check in checks if isinstance(check.test, Call)]

    assert verbs(KELP) == [
        "bootloader/firmware-is-uefi",
        "bootloader/secure-boot-is-off",
        "bootloader/loader-folder-is-free",
    ]
    assert verbs(Bootloader(name="debian", secure_boot="signed")) == [
        "bootloader/firmware-is-uefi",
        "bootloader/loader-folder-is-free",
    ]


def test_the_last_place_survives_package_updates() -> None:
    action = emitted(Bootloader(name="kelp", boot_entry_position="last"))["bootloader.settings"]
    run = action.operations[-1]
    assert isinstance(run, Run) and run.argv == ("debconf-set-selections",)
    assert run.stdin == ("grub-efi-amd64 grub2/update_nvram boolean false\n",)


def test_the_draft_passes_its_own_check() -> None:
    assert STEP.draft is not None
    taken = BootEntry(number="0003", label="Linux", partition=ESP_UUID.lower(), loader=r"\EFI\linux\grubx64.efi")
    for survey in (SURVEY, evolve(SURVEY, firmware=evolve(SURVEY.firmware, secure_boot="on", entries=(taken,)))):
        raw = tomllib.loads(STEP.draft(survey))["bootloader"]
        jsonschema.validate(raw, STEP.schema)
        found = faults(cattrs.structure(raw, Bootloader), FakeContext(survey=survey))
        assert [fault for fault in found.values() if not fault.warning] == []


# --- verbs -------------------------------------------------------------------------------------------------------


class Bench:
    """A made-up root with firmware variables, an EFI system partition and a target."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.variables = folder / "vars"
        self.esp = folder / "esp"
        self.target = folder / "target"
        for path in (self.variables, self.esp, self.target, folder / "work"):
            path.mkdir()

    def run(self, verb: str, *words: str, shell: str = "dash", before: str = "") -> subprocess.CompletedProcess[str]:
        text = LIBRARY.text([verb]).replace("/sys/firmware/efi/efivars", str(self.variables))
        head = f"set -u\nTARGET='{self.target}' WORK='{self.folder}/work' DISK=/dev/none\n"
        head += f"COPIES='{self.folder}/copies'\n{before}\n"
        script = self.folder / "script.sh"
        script.write_text(f'{head}{text}\n{LIBRARY.call(verb)} "$@"\n', encoding="utf-8")
        return subprocess.run(
            [*SHELLS[shell], str(script), *words], capture_output=True, text=True, check=False, env={"PATH": os.defpath}
        )

    def entry(self, number: str, guid: str, loader: str, active: bool = True, title: str = "Entry") -> None:
        path = self.variables / f"Boot{number}-{GLOBAL}"
        path.write_bytes(b"\x07\0\0\0" + load_option(title, guid, loader, active))

    def saved(self) -> None:
        """What the copies of this moment bring into the target."""
        copies = self.folder / "copies"
        shutil.rmtree(copies, ignore_errors=True)
        copies.mkdir()
        for path in self.variables.iterdir():
            shutil.copyfile(path, copies / path.name)
        command = "find . -type f -exec sha256sum -- {} +"
        with (copies / f"esp-{ESP_UUID}.sha256").open("w") as file:
            subprocess.run(["sh", "-c", command], cwd=self.esp, stdout=file, check=True)
        subprocess.run(["tar", "-cf", str(copies / f"esp-{ESP_UUID}.tar"), "-C", str(self.esp), "."], check=True)
        assert self.run("bootloader/save-boot-state", str(self.esp), ESP_UUID, "all").returncode == 0

    def order(self, *numbers: str) -> None:
        value = b"".join(int(number, 16).to_bytes(2, "little") for number in numbers)
        (self.variables / f"BootOrder-{GLOBAL}").write_bytes(b"\x07\0\0\0" + value)


def load_option(title: str, guid: str, loader: str, active: bool = True) -> bytes:
    """An EFI_LOAD_OPTION (UEFI 2.10, 3.1.3) with a hard drive and a file path node (10.3.5.1, 10.3.5.4)."""
    import uuid

    drive = b"\x04\x01\x2a\x00" + (1).to_bytes(4, "little") + (2048).to_bytes(8, "little")
    drive += (532480).to_bytes(8, "little") + uuid.UUID(guid).bytes_le + b"\x02\x02"
    name = loader.encode("utf-16-le") + b"\0\0"
    nodes = drive + b"\x04\x04" + (4 + len(name)).to_bytes(2, "little") + name + b"\x7f\xff\x04\x00"
    head = int(active).to_bytes(4, "little") + len(nodes).to_bytes(2, "little")
    return head + title.encode("utf-16-le") + b"\0\0" + nodes


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    yield Bench(tmp_path)


OURS = r"\EFI\kelp\grubx64.efi"
OTHER_GUID = "0d7f1a2b-3c4d-4e5f-8a9b-0c1d2e3f4a5b"


@pytest.mark.parametrize("shell", SHELLS)
def test_boot_entries_are_found_by_partition_and_file(bench: Bench, shell: str) -> None:
    bench.entry("0000", ESP_UUID, MANAGER)
    bench.entry("0001", OTHER_GUID, OURS)  # the same file on another partition
    bench.entry("0002", ESP_UUID, OURS, active=False)
    bench.entry("000A", ESP_UUID, r"\EFI\KELP\GRUBX64.EFI")  # FAT names know no case (UEFI 2.10, 13.3.1.2)
    bench.entry("0003", ESP_UUID, OURS + "x")
    (bench.variables / f"Boot0004-{GLOBAL}").write_bytes(b"\x07\0\0\0\x01")
    done = bench.run("bootloader/boot-entry-numbers", ESP_UUID.lower(), OURS, shell=shell)
    assert (done.stdout, done.returncode, done.stderr) == ("000A\n", 0, "")


@pytest.mark.parametrize("shell", SHELLS)
def test_one_entry_means_one(bench: Bench, shell: str) -> None:
    assert bench.run("bootloader/boot-entry-is", "one", ESP_UUID.lower(), OURS, shell=shell).returncode == 1
    bench.entry("0001", ESP_UUID, OURS)
    assert bench.run("bootloader/boot-entry-is", "one", ESP_UUID.lower(), OURS, shell=shell).returncode == 0
    bench.entry("0002", ESP_UUID, OURS)
    two = bench.run("bootloader/boot-entry-is", "one", ESP_UUID.lower(), OURS, shell=shell)
    assert two.returncode == 1 and "has 2 active entries" in two.stderr
    assert bench.run("bootloader/boot-entry-is", "some", ESP_UUID.lower(), OURS, shell=shell).returncode == 0


@pytest.mark.parametrize("shell", SHELLS)
def test_the_boot_order_is_read(bench: Bench, shell: str) -> None:
    assert bench.run("bootloader/boot-order", shell=shell).stdout == ""
    bench.order("0003", "0000", "001A")
    bench.entry("001A", ESP_UUID, OURS)
    assert bench.run("bootloader/boot-order", shell=shell).stdout.split() == ["0003", "0000", "001A"]
    assert bench.run("bootloader/boot-entry-stands", "last", ESP_UUID.lower(), OURS, shell=shell).returncode == 0
    first = bench.run("bootloader/boot-entry-stands", "first", ESP_UUID.lower(), OURS, shell=shell)
    assert first.returncode == 1 and "entry 0003 stands first" in first.stderr


@pytest.mark.parametrize("shell", SHELLS)
def test_secure_boot_is_read_from_the_fifth_byte(bench: Bench, shell: str) -> None:
    # Linux documentation, efivarfs: four bytes of attributes before the value
    variable = bench.variables / f"SecureBoot-{GLOBAL}"
    assert bench.run("bootloader/secure-boot-is-off", shell=shell).returncode == 0
    variable.write_bytes(b"\x06\0\0\0\0")
    assert bench.run("bootloader/secure-boot-is-off", shell=shell).returncode == 0
    variable.write_bytes(b"\x06\0\0\0\x01")
    assert bench.run("bootloader/secure-boot-is-off", shell=shell).returncode == 1


@pytest.mark.parametrize("shell", SHELLS)
def test_uefi_means_64_bits_and_variables_that_can_be_changed(bench: Bench, shell: str) -> None:
    def look() -> str:
        text = LIBRARY.text(["bootloader/firmware-is-uefi"]).replace("/proc/mounts", str(bench.folder / "mounts"))
        text = text.replace("-d /sys/firmware/efi ", f"-d '{bench.folder}/efi' ")
        text = text.replace("/sys/firmware/efi/fw_platform_size", str(bench.folder / "efi/fw_platform_size"))
        script = bench.folder / "uefi.sh"
        script.write_text(f"set -u\nWORK='{bench.folder}'\n{text}\nverb_firmware_is_uefi && echo good >&2\n")
        done = subprocess.run([*SHELLS[shell], str(script)], capture_output=True, text=True, check=False)
        return done.stderr

    assert "legacy mode" in look()
    (bench.folder / "efi").mkdir()
    mounts = bench.folder / "mounts"
    mounts.write_text("proc /proc proc rw 0 0\n")
    assert "not mounted" in look()
    mounts.write_text("efivarfs /sys/firmware/efi/efivars efivarfs ro,nosuid 0 0\n")
    assert "read-only" in look()
    mounts.write_text("efivarfs /sys/firmware/efi/efivars efivarfs rw,nosuid 0 0\n")
    assert look() == "good\n"
    (bench.folder / "efi/fw_platform_size").write_text("32\n")
    assert "32 bits" in look()


@pytest.mark.parametrize("shell", SHELLS)
def test_a_full_variable_store_names_the_dumps(bench: Bench, shell: str) -> None:
    for number in range(40):
        (bench.variables / f"dump-type0-{number}-{GLOBAL}").write_bytes(b"x")
    listing = "Filesystem 1024-blocks Used Available Capacity Mounted\\nefivarfs {} {} 0 0%% /x\\n"
    small = f"df() {{ printf '{listing.format(120, 119)}'; }}"
    unknown = f"df() {{ printf '{listing.format(0, 0)}'; }}"
    assert bench.run("bootloader/boot-store-has-room", "8", shell=shell).returncode == 0
    for fake in (small, unknown):
        full = bench.run("bootloader/boot-store-has-room", "8", shell=shell, before=fake)
        assert full.returncode == 1 and "40 crash dumps" in full.stderr


def fill(esp: Path) -> None:
    for path, text in (
        ("EFI/Microsoft/Boot/bootmgfw.efi", "manager"),
        ("EFI/BOOT/BOOTX64.EFI", "fallback"),
        ("odd name's file", "x"),
    ):
        (esp / path).parent.mkdir(parents=True, exist_ok=True)
        (esp / path).write_text(text)


@pytest.mark.parametrize("shell", SHELLS)
def test_what_is_foreign_is_saved_and_compared(bench: Bench, shell: str) -> None:
    fill(bench.esp)
    bench.order("0000")
    bench.entry("0000", ESP_UUID, MANAGER)
    assert bench.run("bootloader/boot-state-is-saved", shell=shell).returncode == 1
    bench.saved()
    assert bench.run("bootloader/boot-state-is-saved", shell=shell).returncode == 0
    listed = (bench.target / "var/lib/bedplate/boot/esp.sha256").read_text()
    assert f"{hashlib.sha256(b'manager').hexdigest()}  ./EFI/Microsoft/Boot/bootmgfw.efi\n" in listed
    assert listed.count("\n") == 3
    (bench.esp / "EFI/kelp").mkdir()
    (bench.esp / "EFI/kelp/grubx64.efi").write_text("ours")
    bench.entry("0001", ESP_UUID, OURS)
    kept = [ESP_UUID.lower(), OURS]
    for verb, words in (
        ("bootloader/esp-is-unchanged", [str(bench.esp), "all", "EFI/KELP"]),
        ("bootloader/boot-entries-are-kept", kept),
    ):
        assert bench.run(verb, *words, shell=shell).returncode == 0, verb
    for own in ("EFI/KEL", "EFI/BOOT", "kelp"):
        come = bench.run("bootloader/esp-is-unchanged", str(bench.esp), "all", own, shell=shell)
        assert come.returncode == 1 and "not ours: ./EFI/kelp/grubx64.efi" in come.stderr
    (bench.esp / "EFI/Microsoft/Boot/bootmgfw.efi").write_text("changed")
    bench.entry("0000", ESP_UUID, OURS)
    changed = bench.run("bootloader/esp-is-unchanged", str(bench.esp), "all", "EFI/kelp", shell=shell)
    assert changed.returncode == 1 and "bootmgfw.efi" in changed.stderr
    gone = bench.run("bootloader/boot-entries-are-kept", *kept, shell=shell)
    assert gone.returncode == 1 and "Boot0000" in gone.stderr


NOTED = ("loader", "kept", "EFI/kelp/*")
"""Key, kind of partition and pattern of the loader's own files."""


def noted(bench: Bench, verb: str, shell: str = "dash") -> subprocess.CompletedProcess[str]:
    """One of the verbs around what the loader's installation writes."""
    key, kind, pattern = NOTED
    words = (
        (key, str(bench.esp), "EFI/kelp")
        if verb == "bootloader/boot-files-begin"
        else (key, str(bench.esp), kind, pattern)
    )
    return bench.run(verb, *words, shell=shell)


def put(bench: Bench, **files: str) -> None:
    for name, text in {"grubx64.efi": "ours", "fonts/a.pf2": "font", **files}.items():
        (bench.esp / "EFI/kelp" / name).parent.mkdir(parents=True, exist_ok=True)
        (bench.esp / "EFI/kelp" / name).write_text(text)


def left(bench: Bench) -> list[str]:
    """What --undo would list at its end."""
    path = bench.folder / "work/left"
    return path.read_text().splitlines() if path.exists() else []


def started(bench: Bench, shell: str = "dash") -> None:
    """The state of before is saved, and the loader's installation has begun."""
    bench.saved()
    assert noted(bench, "bootloader/boot-files-begin", shell).returncode == 0


@pytest.mark.parametrize("shell", SHELLS)
def test_what_was_noted_goes_and_everything_else_stays(bench: Bench, shell: str) -> None:
    fill(bench.esp)
    before = sorted(path for path in bench.esp.rglob("*"))
    assert noted(bench, "bootloader/drop-boot-files", shell).returncode == 0  # nothing was begun
    started(bench, shell)
    put(bench)
    assert noted(bench, "bootloader/boot-files-note", shell).returncode == 0
    for _ in range(2):  # a way back that was cut short is walked again
        assert noted(bench, "bootloader/drop-boot-files", shell).returncode == 0
        assert (sorted(path for path in bench.esp.rglob("*")), left(bench)) == (before, [])


@pytest.mark.parametrize("shell", SHELLS)
def test_a_file_that_another_system_put_into_our_folder_or_changed_is_named_and_stays(bench: Bench, shell: str) -> None:
    fill(bench.esp)
    started(bench, shell)
    put(bench)
    assert noted(bench, "bootloader/boot-files-note", shell).returncode == 0
    put(bench, **{"grubx64.efi": "another system's", "its.cfg": "new"})
    assert noted(bench, "bootloader/drop-boot-files", shell).returncode == 0
    files = sorted(path.name for path in (bench.esp / "EFI/kelp").rglob("*"))
    assert files == ["grubx64.efi", "its.cfg"], "what is ours has gone, and its folder with it"
    assert sorted(line.split(": ")[0].rpartition("/")[2] for line in left(bench)) == ["grubx64.efi", "its.cfg"]


@pytest.mark.parametrize("shell", SHELLS)
def test_a_folder_whose_partitions_are_gone_is_no_end_of_the_way_back(bench: Bench, shell: str) -> None:
    """The folder was there before this installation began, so that nothing in it is of this one."""
    fill(bench.esp)
    put(bench)
    bench.saved()
    assert noted(bench, "bootloader/drop-boot-files", shell).returncode == 0
    assert (bench.esp / "EFI/kelp/grubx64.efi").read_text() == "ours"


@pytest.mark.parametrize("shell", SHELLS)
def test_what_was_cut_short_goes_and_what_was_listed_before_stays(bench: Bench, shell: str) -> None:
    fill(bench.esp)
    (bench.esp / "EFI/Kelp").mkdir()
    (bench.esp / "EFI/Kelp/old.efi").write_text("of before")
    bench.saved()
    assert noted(bench, "bootloader/boot-files-begin", shell).returncode == 0
    put(bench)  # and the plug is pulled
    assert noted(bench, "bootloader/drop-boot-files", shell).returncode == 0
    assert not (bench.esp / "EFI/kelp").exists() and left(bench) == []
    assert (bench.esp / "EFI/Kelp/old.efi").read_text() == "of before"


@pytest.mark.parametrize("shell", SHELLS)
def test_what_our_own_system_has_renewed_goes(bench: Bench, shell: str) -> None:
    """grub-install(8) leaves its image as /boot/grub/x86_64-efi/core.efi, too (seen with 2.06)."""
    started(bench, shell)
    put(bench)
    assert noted(bench, "bootloader/boot-files-note", shell).returncode == 0
    put(bench, **{"grubx64.efi": "newer"})
    core = bench.target / "boot/grub/x86_64-efi/core.efi"
    core.parent.mkdir(parents=True)
    core.write_text("newer")
    assert noted(bench, "bootloader/drop-boot-files", shell).returncode == 0
    assert not (bench.esp / "EFI/kelp").exists() and left(bench) == []


@pytest.mark.parametrize("shell", SHELLS)
def test_what_the_boot_entry_of_another_system_starts_stays(bench: Bench, shell: str) -> None:
    started(bench, shell)
    put(bench)
    assert noted(bench, "bootloader/boot-files-note", shell).returncode == 0
    bench.entry("0005", ESP_UUID, OURS, title="heron")
    assert bench.run("bootloader/drop-boot-entry", ESP_UUID.lower(), "kelp", OURS, shell=shell).returncode == 0
    assert "Boot0005" in left(bench)[0]
    assert noted(bench, "bootloader/drop-boot-files", shell).returncode == 0
    assert [path.name for path in (bench.esp / "EFI/kelp").iterdir()] == ["grubx64.efi"]


def firmware(bench: Bench, *order: str) -> str:
    """efibootmgr(8) as far as it is needed. With an order, the firmware has brought it up to date by itself."""
    (bench.folder / "tidied").write_bytes(b"\x07\0\0\0" + b"".join(bytes([int(one, 16), 0]) for one in order))
    tidied = f"cp '{bench.folder}/tidied' '{bench.variables}/BootOrder-{GLOBAL}'" if order else ":"
    remove = f"rm '{bench.variables}/Boot'\"$3\"-{GLOBAL}; {tidied}"
    return f'efibootmgr() {{ echo "$*" >>"$WORK/asked"; case ${{4-}} in -B) {remove} ;; esac; }}\n'


def asked(bench: Bench) -> list[str]:
    """What the firmware was asked for."""
    path = bench.folder / "work/asked"
    return path.read_text().splitlines() if path.exists() else []


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize("tidies", [False, True])
def test_our_entries_go_and_what_was_there_before_stays(bench: Bench, shell: str, tidies: bool) -> None:
    """Some firmware takes a number out of the order itself (UEFI 2.10, 3.1.1 asks for nothing), some does not."""
    bench.entry("0000", ESP_UUID, MANAGER)
    bench.entry("0003", ESP_UUID, OURS, title="kelp")
    bench.entry("0004", ESP_UUID, MANAGER, title="Old")
    bench.order("0000", "0003", "0004")
    bench.saved()
    for number in ("0001", "0002", "0004"):  # made by two tries; the last one is of before, and somebody changed it
        bench.entry(number, ESP_UUID, OURS, title="kelp")
    bench.order("0001", "0000", "0002", "0003", "0004")
    fake = firmware(bench, *(("0000", "0003", "0004") if tidies else ()))
    done = bench.run("bootloader/drop-boot-entry", ESP_UUID.lower(), "kelp", OURS, shell=shell, before=fake)
    assert (done.returncode, [one[:10] for one in (line.partition("Boot")[2] for line in left(bench))]) == (
        0,
        ["0004, whic"],
    )
    order = [] if tidies else ["-q -o 0000,0003,0004"]
    assert asked(bench) == ["-q -b 0001 -B", "-q -b 0002 -B", *order]
    assert set((bench.folder / "work/boot-started").read_text().splitlines()) == {"./EFI/kelp/grubx64.efi"}


def test_where_no_copies_were_made_no_entry_is_ours(bench: Bench) -> None:
    bench.entry("0001", ESP_UUID, OURS, title="kelp")
    done = bench.run("bootloader/drop-boot-entry", ESP_UUID.lower(), "kelp", OURS, before=firmware(bench))
    assert (done.returncode, asked(bench)) == (0, [])


def test_an_order_that_held_our_entry_alone_is_left_to_the_firmware(bench: Bench) -> None:
    """An empty order cannot be written."""
    bench.saved()
    bench.entry("0001", ESP_UUID, OURS, title="kelp")
    bench.order("0001")
    done = bench.run("bootloader/drop-boot-entry", ESP_UUID.lower(), "kelp", OURS, before=firmware(bench))
    assert (done.returncode, asked(bench)) == (0, ["-q -b 0001 -B"])


@pytest.mark.parametrize("shell", SHELLS)
def test_the_fallback_is_written_only_where_nothing_was(bench: Bench, shell: str) -> None:
    own = bench.esp / "EFI/kelp"
    own.mkdir(parents=True)
    (own / "grubx64.efi").write_text("ours")
    (own / "grub.cfg").write_text("stub")
    words = (str(bench.esp), "kelp", "BOOTX64.EFI", "grubx64.efi", "grub.cfg")
    assert bench.run("bootloader/make-fallback", *words, shell=shell).returncode == 1  # nothing saved yet
    bench.saved()
    assert bench.run("bootloader/make-fallback", *words, shell=shell).returncode == 0
    assert sorted(path.name for path in (bench.esp / "EFI/BOOT").iterdir()) == ["BOOTX64.EFI", "grub.cfg"]
    same = (str(own / "grubx64.efi"), str(bench.esp / "EFI/BOOT/BOOTX64.EFI"))
    assert bench.run("bootloader/same-file", *same, shell=shell).returncode == 0
    (own / "grubx64.efi").write_text("newer")
    assert bench.run("bootloader/same-file", *same, shell=shell).returncode == 1
    shutil.rmtree(bench.target / "var")
    bench.saved()
    assert bench.run("bootloader/make-fallback", *words, shell=shell).returncode == 1  # now it is foreign
    assert (bench.esp / "EFI/BOOT/BOOTX64.EFI").read_text() == "ours"


@pytest.mark.parametrize("shell", SHELLS)
def test_every_kernel_has_a_real_initramfs(bench: Bench, shell: str) -> None:
    boot = bench.folder / "boot"
    boot.mkdir()
    assert "no kernel" in bench.run("bootloader/initramfs-is-built", str(boot), shell=shell).stderr
    (boot / "vmlinuz-6.1.0-18-amd64").write_bytes(b"k")
    assert "no initramfs" in bench.run("bootloader/initramfs-is-built", str(boot), shell=shell).stderr
    (boot / "initrd.img-6.1.0-18-amd64").write_bytes(b"\0" * 5242880)
    assert "only 5242880" in bench.run("bootloader/initramfs-is-built", str(boot), shell=shell).stderr
    (boot / "initrd.img-6.1.0-18-amd64").write_bytes(b"\0" * 5242881)
    assert bench.run("bootloader/initramfs-is-built", str(boot), shell=shell).returncode == 0
    (boot / "vmlinuz-linux").write_bytes(b"k")
    (boot / "initramfs-linux.img").write_bytes(b"\0" * 5242881)
    assert bench.run("bootloader/initramfs-is-built", str(boot), shell=shell).returncode == 0


MENU = """\
menuentry 'kelp GNU/Linux' --class os {
	linux	/boot/vmlinuz-6.1 root=UUID=11f0 ro  quiet
	initrd	/boot/initrd.img-6.1
}
"""


@pytest.mark.parametrize("shell", SHELLS)
def test_a_menu_starts_what_is_there_with_what_is_needed(bench: Bench, shell: str) -> None:
    boot, menu = bench.folder / "boot", bench.folder / "grub.cfg"
    boot.mkdir()
    menu.write_text(MENU)
    words = (str(menu), str(boot), "UUID=11f0 PARTUUID=22c1", "")
    assert "no such file" in bench.run("bootloader/menu-starts", *words, shell=shell).stderr
    (boot / "vmlinuz-6.1").touch()
    (boot / "initrd.img-6.1").touch()
    assert bench.run("bootloader/menu-starts", *words, "quiet", shell=shell).returncode == 0
    missing = bench.run("bootloader/menu-starts", *words, "splash", shell=shell)
    assert missing.returncode == 1 and "without splash" in missing.stderr
    menu.write_text("menuentry 'x' { chainloader /x }\n")
    assert "starts no kernel" in bench.run("bootloader/menu-starts", *words, shell=shell).stderr
    listed = bench.folder / "entries"
    listed.mkdir()
    (listed / "a.conf").write_text("title a\nlinux /vmlinuz-6.1\ninitrd /initrd.img-6.1\noptions root=UUID=11f0 ro\n")
    assert bench.run("bootloader/menu-starts", str(listed), *words[1:], shell=shell).returncode == 0
    assert bench.run("bootloader/menu-starts", str(listed), *words[1:], "quiet", shell=shell).returncode == 1


ROOTS = {
    "root=UUID=11f0": "",
    "root=/dev/mapper/root": "",  # what 10_linux of GRUB 2.06 writes without /dev/disk/by-uuid
    "root=UUID=11f": "root=UUID=11f, where the new system is one of",
    "root=/dev/sda4": "root=/dev/sda4, where the new system is one of",
    "": "root=, where the new system is one of",
    "root=UUID=11f0 root=UUID=22c1": "root=UUID=11f0 UUID=22c1",  # the kernel takes the last
    "root=UUID=11f0 root=/dev/mapper/root": "root=UUID=11f0 /dev/mapper/root",
    "root=UUID=11f0 boot=live": "boot=live, a word for a live medium",  # live-boot(7)
    "toram root=UUID=11f0": "toram, a word for a live medium",
    "root=UUID=11f0 rd.live.image": "rd.live.image, a word for a live medium",  # dracut.cmdline(7)
    "root=UUID=11f0 archisobasedir=x": "archisobasedir=x, a word for a live medium",
    "root=UUID=11f0 rootflags=subvol=@old": "rootflags=subvol=@old, where the new system needs rootflags=",
}


@pytest.mark.parametrize("shell", SHELLS)
def test_a_menu_is_judged_by_what_the_kernel_would_do(bench: Bench, shell: str) -> None:
    boot, menu = bench.folder / "boot", bench.folder / "grub.cfg"
    boot.mkdir()
    for name in ("vmlinuz-6.1", "initrd.img-6.1"):
        (boot / name).touch()
    words = (str(menu), str(boot), "/dev/mapper/root UUID=11f0")
    for line, said in ROOTS.items():
        menu.write_text(MENU.replace("root=UUID=11f0", line))
        result = bench.run("bootloader/menu-starts", *words, "", shell=shell)
        assert (result.returncode, said in result.stderr) == (1 if said else 0, True), (line, result.stderr)
    for line, code in (
        ("root=UUID=11f0 rootflags=subvol=@", 0),
        ("root=UUID=11f0", 1),
        ("root=UUID=11f0 rootflags=subvol=@ rootflags=subvol=@old", 1),
    ):
        menu.write_text(MENU.replace("root=UUID=11f0", line))
        assert bench.run("bootloader/menu-starts", *words, "subvol=@", shell=shell).returncode == code, line


@pytest.mark.parametrize("shell", SHELLS)
def test_packaged_kernels_get_their_entries(bench: Bench, shell: str) -> None:
    fake = f"in_target() {{ printf '%s ' \"$@\" >>'{bench.folder}/ran'; }}"
    assert bench.run("bootloader/write-kernel-entries", shell=shell, before=fake).returncode == 1
    kernel = bench.target / "lib/modules/6.5.6-300/vmlinuz"
    kernel.parent.mkdir(parents=True)
    kernel.touch()
    assert bench.run("bootloader/write-kernel-entries", shell=shell, before=fake).returncode == 0
    words = "kernel-install add 6.5.6-300 /lib/modules/6.5.6-300/vmlinuz "
    assert (bench.folder / "ran").read_text() == words


def test_verbs_are_clean_posix_shell(tmp_path: Path) -> None:
    used = set()
    for family in FAMILIES:
        section = Bootloader(name="fedora" if family == "dnf" else "kelp", fallback=True)
        for action in STEP.emit(section, FakeContext(family=family)):
            tests = [check.test for check in (*action.guards, *action.proofs)]
            for item in (*action.operations, *action.way_back.operations, *tests):
                used |= {item.verb} if isinstance(item, Call) else set()
    assert len(used) > 15
    script = tmp_path / "verbs.sh"
    script.write_text("#!/bin/sh\n# shellcheck disable=SC2034,SC2154,SC2317\n" + LIBRARY.text(used))
    subprocess.run(["shellcheck", "-s", "sh", str(script)], check=True)
    for shell in SHELLS.values():
        subprocess.run([*shell, "-n", str(script)], check=True)
