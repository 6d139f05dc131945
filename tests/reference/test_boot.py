"""The boot loader step against outside tools: GRUB's own parser and image maker, efibootmgr, mkfs.fat, sfdisk."""

from __future__ import annotations

import os
import shutil
import subprocess
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from attrs import evolve

from bedplate_steps.bootloader.grub import entries, settings, stub
from bedplate_steps.bootloader.model import Bootloader, Entry
from bedplate_steps.bootloader.plan import IMAGE_TYPES, Plan
from library import LIBRARY
from test_bootloader import ESP, GLOBAL, HOSTILE, MANAGER, SHELLS, FakeContext, plan

GUID = "6d0325d8-cf1c-525b-838b-9949aba9601a"
OURS = r"\EFI\kelp\grubx64.efi"


def hostile(title: str) -> Plan:
    entry = Entry(name="factory", title=title, loader=r"\EFI\Odd Name (2)\boot~1.efi", partition="esp")
    return plan(Bootloader(name="kelp", entries=(entry,), kernel_parameters=("quiet",), terminal="both"))


@pytest.mark.proves(loader="grub", by="tool")
@pytest.mark.parametrize("title", ["Factory system", *HOSTILE])
def test_grub_s_own_parser_takes_the_entries(title: str, tmp_path: Path) -> None:
    # grub-script-check(1)
    script = tmp_path / "25_kept_systems"
    script.write_text(entries(hostile(title)), encoding="utf-8")
    out = subprocess.run(["sh", str(script)], capture_output=True, check=True, cwd=tmp_path).stdout
    subprocess.run(["grub-script-check"], input=out, check=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["25_kept_systems"]
    broken = out.replace(b"--id kept-factory", b"--id 'kept-factory")
    assert subprocess.run(["grub-script-check"], input=broken, capture_output=True, check=False).returncode != 0


@pytest.mark.proves(loader="grub", by="tool")
def test_grub_s_own_parser_takes_the_stub() -> None:
    text = stub(plan(Bootloader(name="fedora"), FakeContext(family="dnf")))
    subprocess.run(["grub-script-check"], input=text.encode(), check=True)


@pytest.mark.parametrize("title", HOSTILE)
@pytest.mark.parametrize("shell", SHELLS)
def test_settings_source_to_exactly_what_was_meant(title: str, shell: str, tmp_path: Path) -> None:
    # grub-mkconfig sources the file with sh (GRUB manual, "Simple configuration")
    section = Bootloader(name=title, default=title, kernel_parameters=(title,), terminal="serial")
    path = tmp_path / "grub"
    path.write_text(settings(evolve(plan(section), words=(title, "console=ttyS0,115200"))), encoding="utf-8")
    script = '. "$1"; printf "%s\\n" "$GRUB_DISTRIBUTOR" "$GRUB_DEFAULT" "$GRUB_CMDLINE_LINUX" "$GRUB_TERMINAL"'
    out = subprocess.run([*SHELLS[shell], "-c", script, "x", str(path)], capture_output=True, check=True, cwd=tmp_path)
    lines = out.stdout.decode().split("\n")
    assert lines == [title, f"kept-{title}", f"{title} console=ttyS0,115200", "serial", ""]
    assert sorted(item.name for item in tmp_path.iterdir()) == ["grub"]


@pytest.mark.proves(loader="grub", by="tool")
def test_debian_s_grub_mkconfig_reads_our_settings_last() -> None:
    text = Path("/usr/sbin/grub-mkconfig").read_text(encoding="utf-8")
    own = text.index(". ${sysconfdir}/default/grub\n")
    assert own < text.index("for x in ${sysconfdir}/default/grub.d/*.cfg ; do")
    for name in settings(plan(Bootloader(name="kelp", terminal="serial", default="last"))).split("\n"):
        key = name.split("=")[0]
        scripts = text + "".join(path.read_text() for path in sorted(Path("/etc/grub.d").glob("[0-9]*")))
        assert key in scripts, key


def test_a_real_loader_is_told_from_another_file(tmp_path: Path) -> None:
    # An image that grub-mkimage makes; machine values: UEFI 2.10, table 2.1
    image = tmp_path / "grubx64.efi"
    subprocess.run(["grub-mkimage", "-O", "x86_64-efi", "-o", str(image), "-p", "/x", "part_gpt"], check=True)
    script = tmp_path / "s.sh"
    script.write_text(LIBRARY.text(["bootloader/loader-is"]) + 'verb_loader_is "$@"\n')
    short = tmp_path / "short"
    short.write_bytes(b"MZ")
    for shell in SHELLS.values():

        def run(path: Path, machine: str, shell: list[str] = shell) -> int:
            return subprocess.run(
                [*shell, str(script), str(path), machine], capture_output=True, check=False
            ).returncode

        assert run(image, IMAGE_TYPES["amd64"][1]) == 0
        assert run(image, IMAGE_TYPES["arm64"][1]) == 1
        assert run(short, IMAGE_TYPES["amd64"][1]) == 1
        assert run(Path("/bin/sh"), IMAGE_TYPES["amd64"][1]) == 1
        assert run(tmp_path / "none", IMAGE_TYPES["amd64"][1]) == 1


# --- efibootmgr itself, on a folder of variables -------------------------------------------------------------------


class Machine:
    """Loop devices with a real partition table, and a folder that libefivar takes for the firmware's variables."""

    def __init__(self, folder: Path, variables: Path) -> None:
        self.folder = folder
        self.variables = variables
        self.target = folder / "target"
        (self.target / "var/lib/bedplate/boot").mkdir(parents=True)
        (folder / "work").mkdir()
        (folder / "by-partuuid").mkdir()
        image = folder / "disk.img"
        image.touch()
        os.truncate(image, 64 << 20)
        table = f"label: gpt\nstart=2048,size=40960,type=U\nsize=2048\nstart=45056,size=67584,type=U,uuid={GUID}\n"
        subprocess.run(["sfdisk", "-q", str(image)], input=table, text=True, check=True)
        self.disk = subprocess.run(
            ["losetup", "-f", "--show", str(image)], capture_output=True, text=True, check=True
        ).stdout.strip()
        subprocess.run(["partx", "-a", self.disk], check=True)
        self.node = f"{self.disk}p3"
        (folder / f"by-partuuid/{GUID}").symlink_to(self.node)
        self.env = {"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "EFIVARFS_PATH": f"{variables}/"}

    def close(self) -> None:
        subprocess.run(["partx", "-d", self.disk], check=False)
        subprocess.run(["losetup", "-d", self.disk], check=False)

    def efibootmgr(self, *words: str) -> str:
        return subprocess.run(["efibootmgr", *words], capture_output=True, text=True, check=True, env=self.env).stdout

    def verb(self, name: str, *words: str, shell: str = "dash") -> subprocess.CompletedProcess[str]:
        text = LIBRARY.text([name]).replace("/sys/firmware/efi/efivars", str(self.variables))
        text = text.replace("/dev/disk/by-partuuid", str(self.folder / "by-partuuid"))
        head = f"set -u\nTARGET='{self.target}' WORK='{self.folder}/work' DISK='{self.disk}'\n"
        head += f"COPIES='{self.folder}/copies'\n"
        script = self.folder / "script.sh"
        script.write_text(f'{head}{text}\n{LIBRARY.call(name)} "$@"\n', encoding="utf-8")
        return subprocess.run(
            [*SHELLS[shell], str(script), *words], capture_output=True, text=True, check=False, env=self.env
        )

    def saved(self) -> dict[str, bytes]:
        return {path.name: path.read_bytes() for path in sorted(self.variables.iterdir())}


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    # On tmpfs: libefivar sets the immutable flag where a file system has one.
    variables = Path("/dev/shm") / f"bedplate-boot-{os.getpid()}-{uuid.uuid4()}"
    variables.mkdir()
    made = Machine(tmp_path, variables)
    try:
        made.efibootmgr("-q", "-c", "-d", made.disk, "-p", "3", "-L", "Factory Boot Manager", "-l", MANAGER)
        made.efibootmgr("-q", "-c", "-d", made.disk, "-p", "1", "-L", "kelp elsewhere", "-l", OURS)
        yield made
    finally:
        made.close()
        for path in variables.iterdir():
            path.unlink()
        variables.rmdir()


@pytest.mark.skipif(os.geteuid() != 0, reason="loop devices need root")
@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize("place, order", [("first", "0002,0001,0000"), ("last", "0001,0000,0002")])
def test_one_entry_is_made_and_every_other_stays(machine: Machine, shell: str, place: str, order: str) -> None:
    before = machine.saved()
    words = (GUID, "kelp", OURS, place, "short")
    for _ in range(2):  # a second run changes nothing
        done = machine.verb("bootloader/make-boot-entry", *words, shell=shell)
        assert (done.returncode, done.stderr) == (0, "")
    listing = machine.efibootmgr("-v")
    assert f"BootOrder: {order}\n" in listing
    assert f"Boot0002* kelp\tHD(3,GPT,{GUID},0xb000,0x10800)/File({OURS})\n" in listing
    assert listing.count(OURS) == 2
    for verb in (("bootloader/boot-entry-is", "one"), ("bootloader/boot-entry-stands", place)):
        assert machine.verb(verb[0], verb[1], GUID, OURS, shell=shell).returncode == 0
    assert {name: value for name, value in machine.saved().items() if name in before and "Order" not in name} == {
        name: value for name, value in before.items() if "Order" not in name
    }


@pytest.mark.skipif(os.geteuid() != 0, reason="loop devices need root")
@pytest.mark.parametrize("shell", SHELLS)
def test_duplicates_are_reduced_and_the_way_back_restores_all(machine: Machine, shell: str) -> None:
    esp = machine.folder / "esp"
    esp.mkdir()
    before = machine.saved()
    shutil.copytree(machine.variables, machine.folder / "copies")
    assert machine.verb("bootloader/save-boot-state", str(esp), "-", "all", shell=shell).returncode == 0
    for _ in range(3):
        machine.efibootmgr("-q", "-c", "-d", machine.disk, "-p", "3", "-L", "kelp", "-l", OURS)
    assert machine.verb("bootloader/make-boot-entry", GUID, "kelp", OURS, "first", "short", shell=shell).returncode == 0
    assert machine.verb("bootloader/boot-entry-is", "one", GUID, OURS, shell=shell).returncode == 0
    assert machine.verb("bootloader/drop-boot-entry", GUID, "kelp", OURS, shell=shell).returncode == 0
    after = machine.saved()
    # A write to a real variable replaces it; in a plain file the tail of a longer value stays.
    order = f"BootOrder-{GLOBAL}"
    assert after.pop(order)[: len(before[order])] == before.pop(order)
    assert after == before


@pytest.mark.skipif(os.geteuid() != 0, reason="loop devices need root")
@pytest.mark.parametrize("shell", SHELLS)
def test_a_system_that_came_later_keeps_its_entry_and_its_place(machine: Machine, shell: str) -> None:
    """Installed after ours, and first: its number, its entry and the order are those of now, less ours."""
    esp = machine.folder / "esp"
    esp.mkdir()
    shutil.copytree(machine.variables, machine.folder / "copies")
    assert machine.verb("bootloader/save-boot-state", str(esp), "-", "all", shell=shell).returncode == 0
    assert machine.verb("bootloader/make-boot-entry", GUID, "kelp", OURS, "first", "short", shell=shell).returncode == 0
    machine.efibootmgr("-q", "-c", "-d", machine.disk, "-p", "3", "-L", "heron", "-l", r"\EFI\heron\grubx64.efi")
    machine.efibootmgr("-q", "-o", "0003,0000,0002,0001")
    assert machine.verb("bootloader/drop-boot-entry", GUID, "kelp", OURS, shell=shell).returncode == 0
    listing = machine.efibootmgr()
    assert "BootOrder: 0003,0000,0001" in listing and "heron" in listing and "Boot0002" not in listing
    assert not (machine.folder / "work/left").exists()


@pytest.mark.skipif(os.geteuid() != 0, reason="loop devices need root")
def test_a_missing_partition_is_said(machine: Machine) -> None:
    done = machine.verb("bootloader/make-boot-entry", GUID.replace("6d", "7d"), "kelp", OURS, "first", "short")
    assert done.returncode == 1 and "no partition with the UUID" in done.stderr


@pytest.mark.skipif(os.geteuid() != 0, reason="loop devices need root")
@pytest.mark.parametrize("shell", SHELLS)
def test_room_and_files_of_a_real_fat_volume(machine: Machine, shell: str, tmp_path: Path) -> None:
    # mkfs.fat(8), mtools(1); where the kernel has no vfat the volume stands mounted by name only
    mounted = tmp_path / "mounted"
    (mounted / "EFI/BOOT").mkdir(parents=True)
    (mounted / "EFI/BOOT/BOOTX64.EFI").touch()
    fakes = tmp_path / "fakes"
    fakes.mkdir()
    (fakes / "findmnt").write_text(f"#!/bin/sh\necho '{mounted}'\n")
    (fakes / "findmnt").chmod(0o755)
    machine.env["PATH"] = f"{fakes}:{machine.env['PATH']}"
    assert machine.verb("bootloader/esp-has-room", machine.node, "1", shell=shell).returncode == 0
    full = machine.verb("bootloader/esp-has-room", machine.node, "99999999999", shell=shell)
    assert full.returncode == 1 and "are needed" in full.stderr
    assert machine.verb("bootloader/esp-lacks", machine.node, "EFI/BOOT/BOOTAA64.EFI", shell=shell).returncode == 0
    assert machine.verb("bootloader/esp-lacks", machine.node, "EFI/BOOT/BOOTX64.EFI", shell=shell).returncode == 1
    assert machine.verb("bootloader/esp-has-room", str(tmp_path / "none"), "1", shell=shell).returncode == 1


def test_the_file_system_id_is_the_one_mkfs_fat_writes(tmp_path: Path) -> None:
    # blkid(8) and GRUB's own driver show the same id, so the menu's search finds what the survey saw
    image = tmp_path / "esp.img"
    image.touch()
    os.truncate(image, 34 << 20)
    subprocess.run(
        ["mkfs.fat", "-F", "32", "-i", ESP.fs_uuid.replace("-", ""), str(image)], check=True, stdout=subprocess.DEVNULL
    )
    listed = subprocess.run(
        ["blkid", "-p", "-o", "value", "-s", "UUID", str(image)], capture_output=True, text=True, check=True
    ).stdout
    assert listed.strip() == ESP.fs_uuid
    found = subprocess.run(["grub-fstest", str(image), "ls", "(loop0)"], capture_output=True, text=True, check=True)
    assert f"UUID {ESP.fs_uuid}" in found.stdout


# --- real firmware -------------------------------------------------------------------------------------------------

MARKER = "THE-OTHER-SYSTEM-STARTS"
SERIAL = "serial --unit=0 --speed=115200\nterminal_output serial\n"


def standalone(folder: Path, name: str, text: str) -> Path:
    """An EFI program that carries `text` as its menu (grub-mkstandalone(1))."""
    (folder / f"{name}.cfg").write_text(SERIAL + text, encoding="utf-8")
    image = folder / f"{name}.efi"
    command = ["grub-mkstandalone", "-O", "x86_64-efi", "-o", str(image), f"boot/grub/grub.cfg={name}.cfg"]
    subprocess.run(command, check=True, cwd=folder)
    return image


@pytest.mark.proves(loader="grub", by="tool")
def test_the_entry_starts_the_other_system_under_real_firmware(tmp_path: Path) -> None:
    # OVMF; the default is chosen by the entry's id
    entry = Entry(name="factory", title=HOSTILE[0], loader=MANAGER, partition="esp")
    menu = entries(plan(Bootloader(name="kelp", entries=(entry,)))).split("\n", 2)[2]
    ours = standalone(tmp_path, "ours", f"set default=kept-factory\nset timeout=0\n{menu}")
    other = standalone(tmp_path, "other", f"echo {MARKER}\nsleep 1\nhalt\n")
    volume, disk = tmp_path / "esp.img", tmp_path / "disk.img"
    for path, size in ((volume, 88 << 20), (disk, 92 << 20)):
        path.touch()
        os.truncate(path, size)
    subprocess.run(["mkfs.fat", "-F", "32", "-i", ESP.fs_uuid.replace("-", ""), str(volume)], check=True)
    folders = ["::EFI", "::EFI/BOOT", "::EFI/Microsoft", "::EFI/Microsoft/Boot"]
    subprocess.run(["mmd", "-i", str(volume), *folders], check=True)
    for source, path in ((ours, "BOOT/BOOTX64.EFI"), (other, "Microsoft/Boot/bootmgfw.efi")):
        subprocess.run(["mcopy", "-i", str(volume), str(source), f"::EFI/{path}"], check=True)
    subprocess.run(
        ["sfdisk", "-q", str(disk)], input="label: gpt\nstart=2048,size=180224,type=U\n", text=True, check=True
    )
    with disk.open("r+b") as file:
        file.seek(1 << 20)
        file.write(volume.read_bytes())
    seen = subprocess.run(
        [
            "qemu-system-x86_64",
            "-accel",
            "tcg",
            "-m",
            "512",
            "-display",
            "none",
            "-serial",
            "stdio",
            "-net",
            "none",
            "-drive",
            "if=pflash,format=raw,readonly=on,file=/usr/share/OVMF/OVMF_CODE_4M.fd",
            "-drive",
            f"file={disk},format=raw,if=virtio",
        ],
        capture_output=True,
        timeout=300,
        check=True,
        stdin=subprocess.DEVNULL,
    ).stdout.decode(errors="replace")
    assert MARKER in seen
