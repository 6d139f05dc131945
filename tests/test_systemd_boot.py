"""systemd-boot: its faults, its files, its actions, its runtime verbs on made-up folders."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from attrs import evolve

from bedplate.actions import Call, InTarget, WriteFile
from bedplate.changes import Cost
from bedplate.facts import Family, LaidPartition, Layout
from bedplate.hookspecs import Side
from bedplate.survey import BootEntry, SurveyedFileSystem
from bedplate_steps.bootloader import systemd_boot
from bedplate_steps.bootloader.changes import changes
from bedplate_steps.bootloader.model import Bootloader, Entry
from bedplate_steps.bootloader.systemd_boot import entry, settings, written
from bedplate_steps.bootloader.validate_systemd_boot import XBOOTLDR
from library import LIBRARY
from test_bootloader import (
    ESP,
    ESP_UUID,
    FACTORY,
    FAMILIES,
    LAYOUT,
    MANAGER,
    ROOT,
    SHELLS,
    SURVEY,
    Bench,
    FakeContext,
    bench,
    emitted,
    faults,
    fill,
    plan,
)

__all__ = ["bench"]

KELP = Bootloader(name="kelp", loader="systemd-boot")
MIB_SECTORS = 2048
BOOT = LaidPartition(
    name="kernels",
    new=True,
    number=6,
    start=600000512,
    size=1024 * MIB_SECTORS,
    type=XBOOTLDR,
    uuid="2B7C6D5E-0A1B-5C2D-8E3F-4A5B6C7D8E9F",
    role="xbootldr",
    filesystem="vfat",
    fs_uuid="1234-ABCD",
    mount="/xbootldr",
)
BESIDE = evolve(LAYOUT, partitions=(evolve(ESP, mount="/efi"), FACTORY, ROOT, BOOT))
"""The shared EFI system partition of 260 MiB, and an extended boot partition for the kernels."""
ALONE = evolve(
    LAYOUT, partitions=(evolve(ESP, mount="/efi", new=True, size=1024 * MIB_SECTORS), ROOT), other_systems=()
)
"""A disk of its own: kernels on the EFI system partition."""


def context(layout: Layout = BESIDE, family: str = "apt", survey: object = SURVEY) -> FakeContext:
    made = FakeContext(layout, family, survey)  # type: ignore[arg-type]
    known = FAMILIES[family]
    names = {**known.packages, "loader-systemd-boot": ("systemd-boot",), "kernel": ("linux",)}
    made.facts[Family] = evolve(known, packages=names)
    return made


def at(mount: str, layout: Layout = BESIDE) -> Layout:
    return evolve(layout, partitions=(*layout.partitions[:-1], evolve(BOOT, mount=mount)))


# --- faults ------------------------------------------------------------------------------------------------------


def test_beside_another_system_and_alone_there_is_no_fault() -> None:
    assert faults(KELP, context()) == {}
    assert faults(KELP, context(ALONE)) == {}
    assert faults(KELP, context(at("/boot"), "pacman")) == {}


def test_kernels_need_room() -> None:
    # 260 MiB of the factory; 400 MiB are common practice, no source
    layout = evolve(LAYOUT, partitions=(evolve(ESP, mount="/efi"), FACTORY, ROOT))
    fault = faults(KELP, context(layout))["no-room-for-kernels"]
    assert "260 MiB" in fault.message and "400 MiB" in fault.message and "xbootldr" in str(fault.allowed)
    small = evolve(BESIDE, partitions=(*BESIDE.partitions[:-1], evolve(BOOT, size=300 * MIB_SECTORS)))
    assert faults(KELP, context(small))["no-room-for-kernels"].allowed == "a larger one"


def test_what_is_free_counts_and_the_specification_s_advice_is_passed_on() -> None:
    layout = evolve(LAYOUT, partitions=(evolve(ESP, mount="/efi", size=700 * MIB_SECTORS), FACTORY, ROOT))
    # UAPI.1 Boot Loader Specification, "Creating These Partitions": from 1 GiB on
    assert faults(KELP, context(layout))["kernels-crowded"].warning
    disk = SURVEY.disks[0]
    inside = SurveyedFileSystem(type="vfat", free_bytes=100 << 20)
    full = evolve(SURVEY, disks=(evolve(disk, partitions=(evolve(disk.partitions[0], filesystem=inside),)),))
    assert "100 MiB" in faults(KELP, context(layout, survey=full))["no-room-for-kernels"].message


def test_boot_itself_is_not_on_fat_where_the_package_tool_makes_links() -> None:
    # dpkg 1.21: "unable to make backup link of ... before installing new version"; link(2): EPERM
    assert faults(KELP, context(at("/boot")))["boot-on-fat"].found == '"/boot"'
    assert "boot-on-fat" in faults(
        KELP, context(evolve(ALONE, partitions=(evolve(ALONE.partitions[0], mount="/boot"), ROOT)))
    )


def test_pacman_s_kernels_stay_where_they_are() -> None:
    assert "/boot" in str(faults(KELP, context(family="pacman"))["boot-elsewhere"].allowed)
    arm = context(at("/boot"), "pacman")
    arm.facts[Family] = evolve(arm.fact(Family), architecture="arm64")
    assert faults(KELP, arm)["loader-unfit"].found == "arm64"


def test_the_loader_reads_fat_only_and_one_extended_partition_only() -> None:
    ext4 = evolve(BESIDE, partitions=(*BESIDE.partitions[:-1], evolve(BOOT, filesystem="ext4")))
    assert "kernels-not-on-fat" in faults(KELP, context(ext4))
    theirs = evolve(BOOT, name="theirs", new=False, mount="", uuid="A", start=1)
    assert faults(KELP, context(evolve(BESIDE, partitions=(theirs, *BESIDE.partitions))))["second-xbootldr"]


def test_names_and_folders_with_a_meaning_are_refused() -> None:
    assert faults(evolve(KELP, name="loader"), context())["folder-taken"].path == ("name",)
    disk = SURVEY.disks[0]
    files = ("/EFI/Systemd/systemd-bootx64.efi",)
    survey = evolve(SURVEY, disks=(evolve(disk, partitions=(evolve(disk.partitions[0], files=files),)),))
    assert faults(KELP, context(survey=survey))["folder-taken"].path == ("loader",)


def test_there_is_no_signed_chain() -> None:
    assert "systemd-boot" in faults(evolve(KELP, secure_boot="signed"), context())["no-signed-chain"].message
    on = evolve(SURVEY, firmware=evolve(SURVEY.firmware, secure_boot="on"))
    fault = faults(KELP, context(survey=on))["secure-boot-on"]
    assert fault.warning and "signed chain" in fault.notes[1] and "Or set" not in fault.notes[1]


def test_a_loader_on_another_partition_is_out_of_reach() -> None:
    # systemd-boot(7): it starts what lies on the partition it was started from
    second = evolve(ESP, name="esp-2", mount="", uuid=ESP_UUID.replace("6D", "7D"), fs_uuid="1-2", start=1)
    layout = evolve(BESIDE, partitions=(second, *BESIDE.partitions))
    other = BootEntry(number="0000", label="Factory", partition=second.uuid.lower(), loader=MANAGER)
    survey = evolve(SURVEY, firmware=evolve(SURVEY.firmware, entries=(other,)), disks=())
    assert faults(KELP, context(layout, survey=survey))["loader-out-of-reach"].warning
    asked = evolve(KELP, entries=(Entry(name="factory", title="Factory"),), default="factory")
    found = faults(asked, context(layout, survey=survey))
    assert not found["loader-out-of-reach"].warning and found["loader-out-of-reach"].path == ("entries", 0)
    assert found["unknown-default"].allowed == "new or last"
    assert plan(KELP, context(layout, survey=survey)).handovers == ()
    chain = evolve(layout, other_start_by="chain-load")
    assert not faults(KELP, context(chain, survey=survey))["loader-out-of-reach"].warning


# --- files -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "default, line",
    [("new", "default kelp-*"), ("last", "default @saved"), ("factory", "default kelp.kept-factory.conf")],
)
def test_loader_conf_has_default_and_time(default: str, line: str) -> None:
    # loader.conf(5): default, timeout, console-mode, editor, auto-entries
    text = settings(plan(evolve(KELP, default=default, menu_time=3), context()))
    assert text == f"{line}\ntimeout 3\nconsole-mode keep\neditor yes\nauto-entries no\n"


def test_a_kept_system_has_an_entry_on_the_partition_of_its_loader() -> None:
    # UAPI.1: the path of `efi` is relative to the root of the file system that holds the entry
    settled = plan(KELP, context())
    files = dict(written(settled))
    assert set(files) == {
        "/efi/loader/entries.srel",
        "/xbootldr/loader/entries.srel",
        "/efi/loader/loader.conf",
        "/efi/loader/entries/kelp.kept-factory.conf",
    }
    text = "title    Factory Boot Manager\nsort-key zz-kept-01\nefi      /EFI/Microsoft/Boot/bootmgfw.efi\n"
    assert files["/efi/loader/entries/kelp.kept-factory.conf"] == text
    assert entry(evolve(settled.handovers[0], title="größe $(x)"), 2).startswith("title    größe $(x)\n")


def test_kernel_install_is_told_everything() -> None:
    # kernel-install(8): cmdline, entry-token, install.conf
    section = evolve(KELP, kernel_parameters=("quiet",), terminal="serial")
    action = emitted(section, context())["bootloader.settings"]
    files = {
        item.path.path: item.content
        for item in action.operations
        if isinstance(item, WriteFile) and isinstance(item.path, InTarget)
    }
    assert files == {
        "/etc/kernel/cmdline": (f"root=UUID={ROOT.fs_uuid} ro console=ttyS0,115200 quiet\n",),
        "/etc/kernel/entry-token": ("kelp\n",),
        "/etc/kernel/install.conf": ("layout=bls\nBOOT_ROOT=/xbootldr\n",),
    }
    [conf] = emitted(KELP, context(ALONE))["bootloader.settings"].operations[2:]
    assert isinstance(conf, WriteFile) and conf.content == ("layout=bls\nBOOT_ROOT=/efi\n",)


def test_pacman_has_written_entries_and_an_updater() -> None:
    settled = plan(KELP, context(at("/boot"), "pacman"))
    text = dict(written(settled))["/boot/loader/entries/kelp-linux.conf"]
    assert "linux    /vmlinuz-linux\ninitrd   /initramfs-linux.img\n" in text
    assert f"options  root=UUID={ROOT.fs_uuid} ro\n" in text
    action = emitted(KELP, context(at("/boot"), "pacman"))["bootloader.settings"]
    assert action.gives == ("service:systemd-boot-update.service",)


def test_dnf_builds_its_images_with_the_entries() -> None:
    # from memory: dracut's script for kernel-install builds the initramfs in $BOOT
    assert faults(KELP, context(family="dnf")) == {}
    actions = emitted(KELP, context(family="dnf"))
    assert "bootloader.initramfs" not in actions
    menu = actions["bootloader.menu"]
    assert "initramfs:built" in menu.gives and "initramfs:built" not in menu.needs
    assert "file:/etc/dracut.conf.d/bedplate.conf" in menu.needs and "keymap:target" in menu.needs
    carried = [
        check.test.args[0]
        for check in menu.proofs
        if isinstance(check.test, Call) and check.test.verb == "bootloader/initramfs-carries"
    ]
    assert carried == [InTarget("/xbootldr/kelp")]
    assert "service:systemd-boot-update.service" in actions["bootloader.settings"].gives


def test_the_firmware_starts_the_loader_from_bootctl_s_folder() -> None:
    # bootctl(1): /EFI/systemd/; file names by architecture: systemd-boot(7)
    actions = emitted(KELP, context())
    [call] = actions["bootloader.boot-entry"].operations
    assert isinstance(call, Call) and r"\EFI\systemd\systemd-bootx64.efi" in call.args and "kelp" in call.args
    arm = context()
    arm.facts[Family] = evolve(arm.fact(Family), architecture="arm64")
    assert systemd_boot.image(plan(KELP, arm)) == "systemd-bootaa64.efi"
    fallback = emitted(evolve(KELP, fallback=True), context(ALONE))["bootloader.fallback"]
    assert isinstance(fallback.operations[1], Call) and "BOOTX64.EFI" in fallback.operations[1].args


def test_what_is_its_own_must_be_free_before_anything_is_written() -> None:
    def wanted(layout: Layout) -> list[object]:
        guards = emitted(KELP, context(layout))["bootloader.save-boot-state"].guards
        assert all(check.early for check in guards)
        return [check.test.args[1] for check in guards if isinstance(check.test, Call)]

    assert wanted(BESIDE) == ["EFI/systemd", "loader"]
    kept = evolve(LAYOUT, partitions=(evolve(ESP, mount="/efi", size=2048 * MIB_SECTORS), FACTORY, ROOT))
    assert wanted(kept) == ["EFI/systemd", "loader", "kelp"]
    assert wanted(ALONE) == []


def test_the_first_boot_speaks_of_this_loader() -> None:
    text = emitted(KELP, context())["bootloader.first-boot"].trouble
    assert "grub" not in text.lower() and "menu without an entry" in text


# --- changes -----------------------------------------------------------------------------------------------------


def test_menu_time_parameters_and_titles_change_at_next_boot() -> None:
    other = evolve(KELP, menu_time=9, kernel_parameters=("quiet",), entries=(Entry(name="factory", title="Tides"),))
    old = Side(section=KELP, context=context(), actions=emitted(KELP, context()))  # type: ignore[arg-type]
    new = Side(section=other, context=context(), actions=emitted(other, context()))  # type: ignore[arg-type]
    found = list(changes(old, new))
    assert {change.cost for change in found} == {Cost.NEXT_BOOT}
    [action] = {change.actions for change in found if change.actions}
    texts = [part for item in action[0].operations if isinstance(item, WriteFile) for part in item.content]
    assert any("timeout 9" in str(text) for text in texts) and any("Tides" in str(text) for text in texts)
    assert any("quiet" in str(text) for text in texts)
    assert any(
        isinstance(item, Call) and item.verb == "bootloader/write-kernel-entries" for item in action[0].operations
    )
    back = [part for item in action[0].way_back.operations if isinstance(item, WriteFile) for part in item.content]
    assert any("timeout 5" in str(text) for text in back)


def test_another_loader_takes_a_live_medium() -> None:
    grub = Bootloader(name="kelp")
    old = Side(section=grub, context=context(), actions=emitted(grub, context()))  # type: ignore[arg-type]
    new = Side(section=KELP, context=context(), actions=emitted(KELP, context()))  # type: ignore[arg-type]
    [change] = [change for change in changes(old, new) if change.old == ("loader",)]
    assert change.cost is Cost.LIVE_MEDIUM


# --- verbs -------------------------------------------------------------------------------------------------------

ENTRY = (
    "title x\nversion 6.1\noptions    root=UUID=1 ro\nlinux      /kelp/6.1/linux\ninitrd     /kelp/6.1/initrd.img-6.1\n"
)


def installed(bench: Bench) -> Path:
    boot = bench.folder / "xboot"
    files = {
        "kelp/6.1/linux": "k",
        "kelp/6.1/initrd.img-6.1": "i",
        "loader/entries/kelp-6.1.conf": ENTRY,
        "loader/entries.srel": "type1\n",
    }
    for path, text in files.items():
        (boot / path).parent.mkdir(parents=True, exist_ok=True)
        (boot / path).write_text(text)
    (bench.target / "boot").mkdir(exist_ok=True)
    (bench.target / "boot/vmlinuz-6.1").write_text("k")
    (bench.target / "boot/initrd.img-6.1").write_text("i")
    return boot


@pytest.mark.parametrize("shell", SHELLS)
def test_every_kernel_is_started_as_planned(bench: Bench, shell: str) -> None:
    boot = installed(bench)
    words = (str(boot), "kelp", "root=UUID=1 ro", "copied")
    assert bench.run("bootloader/entries-start", *words, shell=shell).returncode == 0
    said = bench.run("bootloader/entries-start", str(boot), "kelp", "root=UUID=1 ro quiet", "copied", shell=shell)
    assert said.returncode == 1 and 'starts with "root=UUID=1 ro"' in said.stderr
    (bench.target / "boot/initrd.img-6.1").write_text("newer")
    assert "not the same" in bench.run("bootloader/entries-start", *words, shell=shell).stderr
    (bench.target / "boot/initrd.img-6.1").write_text("i")
    (bench.target / "boot/vmlinuz-6.2").write_text("k2")
    assert "kernel 6.2 has no entry" in bench.run("bootloader/entries-start", *words, shell=shell).stderr
    (bench.target / "boot/vmlinuz-6.2").unlink()
    (boot / "loader/entries/kelp-6.0.conf").write_text(ENTRY.replace("6.1", "6.0"))
    assert "which is not there" in bench.run("bootloader/entries-start", *words, shell=shell).stderr
    (bench.target / "boot/vmlinuz-6.1").unlink()
    (boot / "loader/entries/kelp-6.0.conf").unlink()
    assert "no kernel" in bench.run("bootloader/entries-start", *words, shell=shell).stderr


@pytest.mark.parametrize("shell", SHELLS)
def test_a_kernel_beside_its_modules_has_its_image_with_the_entry(bench: Bench, shell: str) -> None:
    # kernel-install(8): the image is given as /usr/lib/modules/VERSION/vmlinuz; the rest is from memory
    boot = installed(bench)
    words = (str(boot), "kelp", "root=UUID=1 ro", "beside")
    assert "no kernel" in bench.run("bootloader/entries-start", *words, shell=shell).stderr
    kernel = bench.target / "lib/modules/6.1/vmlinuz"
    kernel.parent.mkdir(parents=True)
    kernel.write_text("k")
    assert "no more than 5 MiB" in bench.run("bootloader/entries-start", *words, shell=shell).stderr
    (boot / "kelp/6.1/initrd.img-6.1").write_bytes(b"i" * 5242881)
    assert bench.run("bootloader/entries-start", *words, shell=shell).returncode == 0
    kernel.write_text("newer")
    assert "not the same" in bench.run("bootloader/entries-start", *words, shell=shell).stderr


OWN = {
    "loader": ("kept", ("EFI/systemd",), ("EFI/systemd/*",)),
    "later": ("kept", ("EFI/BOOT",), ("EFI/BOOT/BOOTX64.EFI",)),
    "menu": (
        "kept",
        ("loader", "loader/entries"),
        (
            "loader/loader.conf",
            "loader/entries.srel",
            "loader/random-seed",
            "loader/entries/kelp-*",
            "loader/entries/kelp.*",
        ),
    ),
    "menu-boot": (
        "new",
        ("loader", "loader/entries", "kelp"),
        ("loader/entries.srel", "loader/entries/kelp-*", "loader/entries/kelp.*", "kelp/*"),
    ),
}
"""What each of the loader's actions notes: kind of partition, folders, patterns."""


def noted(bench: Bench, verb: str, key: str, shell: str = "dash", before: str = "") -> None:
    """One of the verbs around what an action writes."""
    kind, folders, patterns = OWN[key]
    base = bench.folder / "xboot" if key == "menu-boot" else bench.esp
    words = folders if verb == "bootloader/boot-files-begin" else (kind, *patterns)
    done = bench.run(verb, key, str(base), *words, shell=shell, before=before)
    assert done.returncode == 0, done.stderr


def all_written(bench: Bench, shell: str) -> Path:
    """Everything of ours on the EFI system partition and on $BOOT, and noted; the partition of the others is filled."""
    fill(bench.esp)
    (bench.folder / "xboot").mkdir()
    bench.saved()
    for key in OWN:
        noted(bench, "bootloader/boot-files-begin", key, shell)
    boot = installed(bench)
    (bench.target / "image").write_text("loader")
    for _ in range(2):
        put = bench.run(
            "bootloader/put-systemd-boot",
            str(bench.esp),
            str(bench.target / "image"),
            "systemd-bootx64.efi",
            shell=shell,
        )
        assert put.returncode == 0
    for path in ("loader/loader.conf", "loader/entries/kelp.kept-factory.conf"):
        (bench.esp / path).parent.mkdir(parents=True, exist_ok=True)
        (bench.esp / path).write_text("ours")
    for key in OWN:
        noted(bench, "bootloader/boot-files-note", key, shell)
    return boot


def taken_back(bench: Bench, shell: str, before: str = "") -> list[str]:
    """The ways back, the last first; what they have left."""
    for key in ("menu-boot", "menu", "loader", "later"):
        noted(bench, "bootloader/drop-boot-files", key, shell, before)
    path = bench.folder / "work/left"
    return path.read_text().splitlines() if path.exists() else []


@pytest.mark.parametrize("shell", SHELLS)
def test_our_files_go_and_foreign_ones_stay(bench: Bench, shell: str) -> None:
    boot = all_written(bench, shell)
    assert (bench.esp / "EFI/systemd/systemd-bootx64.efi").read_text() == "loader"
    assert (bench.esp / "EFI/BOOT/BOOTX64.EFI").read_text() == "fallback"
    (bench.esp / "loader/random-seed").write_text("of the first start")  # systemd-boot(7)
    for _ in range(2):  # a way back that was cut short is walked again
        assert taken_back(bench, shell) == []
    assert not (bench.esp / "loader").exists() and not (bench.esp / "EFI/systemd").exists()
    assert (bench.esp / "EFI/BOOT/BOOTX64.EFI").read_text() == "fallback"
    assert list(boot.iterdir()) == []


@pytest.mark.parametrize("shell", SHELLS)
def test_entries_and_kernels_of_a_system_that_came_later_stay(bench: Bench, shell: str) -> None:
    boot = all_written(bench, shell)
    others = [
        bench.esp / "loader/entries/heron-6.9.conf",
        boot / "loader/entries/heron-6.9.conf",
        boot / "heron/6.9/linux",
        bench.esp / "loader/random-seed",
    ]
    for path in others:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("another system's")
    (bench.esp / "loader/loader.conf").write_text("default heron-*\n")
    left = taken_back(bench, shell)
    assert [path for path in others if not path.exists()] == []
    assert len(left) == 1 and "loader.conf" in left[0], "changed by the other system, so it is named and stays"
    files = sorted(str(path.relative_to(boot)) for path in boot.rglob("*") if path.is_file())
    assert files == ["heron/6.9/linux", "loader/entries/heron-6.9.conf"]


@pytest.mark.parametrize("shell", SHELLS)
def test_entries_that_updates_brought_go_where_they_start_our_system(bench: Bench, shell: str) -> None:
    boot = all_written(bench, shell)
    rows = "OUR_ROWS='AAAA 2048 4096 T ext4 11f0-22 root root'"
    (boot / "loader/entries/kelp-6.2.conf").write_text("options root=UUID=11f0-22 ro\nlinux /kelp/6.2/linux\n")
    (boot / "loader/entries/kelp-two-6.2.conf").write_text("options root=UUID=33f0-22 ro\nlinux /kelp-two/linux\n")
    (boot / "kelp/6.2").mkdir()
    (boot / "kelp/6.2/linux").write_text("k2")
    (bench.target / "boot/vmlinuz-6.2").write_text("k2")
    left = taken_back(bench, shell, rows)
    assert not (boot / "loader/entries/kelp-6.2.conf").exists() and not (boot / "kelp").exists()
    assert len(left) == 1 and "kelp-two-6.2.conf" in left[0]


@pytest.mark.parametrize("shell", SHELLS)
def test_an_empty_fallback_folder_is_made_and_taken_away(bench: Bench, shell: str) -> None:
    bench.saved()
    noted(bench, "bootloader/boot-files-begin", "later", shell)
    noted(bench, "bootloader/boot-files-note", "later", shell)
    (bench.target / "image").write_text("loader")
    put = ("bootloader/put-systemd-boot", str(bench.esp), str(bench.target / "image"), "x.efi")
    assert bench.run(*put, shell=shell).returncode == 0
    assert list((bench.esp / "EFI/BOOT").iterdir()) == []
    own = bench.target / "usr/lib/systemd/boot/efi/systemd-bootx64.efi"
    own.parent.mkdir(parents=True)
    own.write_text("newer")
    (bench.esp / "EFI/BOOT/BOOTX64.EFI").write_text("newer")  # bootctl(1), update
    noted(bench, "bootloader/drop-boot-files", "later", shell)
    assert not (bench.esp / "EFI/BOOT").exists()


@pytest.mark.parametrize("shell", SHELLS)
def test_the_fallback_loader_of_a_system_that_came_later_stays(bench: Bench, shell: str) -> None:
    bench.saved()
    noted(bench, "bootloader/boot-files-begin", "later", shell)
    noted(bench, "bootloader/boot-files-note", "later", shell)
    (bench.esp / "EFI/BOOT").mkdir(parents=True)
    (bench.esp / "EFI/BOOT/BOOTX64.EFI").write_text("another system's")
    noted(bench, "bootloader/drop-boot-files", "later", shell)
    assert (bench.esp / "EFI/BOOT/BOOTX64.EFI").read_text() == "another system's"
    assert "BOOTX64.EFI" in (bench.folder / "work/left").read_text()


@pytest.mark.parametrize("shell", SHELLS)
def test_a_text_is_compared_whole(bench: Bench, shell: str) -> None:
    path = bench.folder / "loader.conf"
    path.write_text("timeout 5\n")
    script = bench.folder / "text.sh"
    script.write_text(f"WORK='{bench.folder}/work'\n{LIBRARY.text(['bootloader/text-is'])}\nverb_text_is \"$1\"\n")

    def same(text: str) -> int:
        done = subprocess.run(
            [*SHELLS[shell], str(script), str(path)], input=text, text=True, check=False, capture_output=True
        )
        return done.returncode

    assert same("timeout 5\n") == 0
    assert same("timeout 5") == 1
    path.unlink()
    assert same("timeout 5\n") == 1


def test_verbs_are_clean_posix_shell(tmp_path: Path) -> None:
    used = [
        "bootloader/put-systemd-boot",
        "bootloader/boot-files-begin",
        "bootloader/boot-files-note",
        "bootloader/drop-boot-files",
        "bootloader/entries-start",
        "bootloader/text-is",
    ]
    script = tmp_path / "verbs.sh"
    script.write_text("#!/bin/sh\n# shellcheck disable=SC2034,SC2154,SC2317\n" + LIBRARY.text(used))
    subprocess.run(["shellcheck", "-s", "sh", str(script)], check=True)
    for shell in SHELLS.values():
        subprocess.run([*shell, "-n", str(script)], check=True)
