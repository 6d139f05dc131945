"""Accidents at the start: containers, loaders, menus, file tables, swap; and those of the weeks after."""

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
    verb,
)
from accidents.test_firmware import ESP, OURS, VARIABLES, _entry
from accidents.test_other_system import SHARED
from accidents.test_target import ENCRYPTED
from bedplate.actions import Call, WriteFile
from bedplate.facts import Layout
from bedplate_steps.bootloader.family import Current, GrubFiles
from library import LIBRARY


def _written(name: str, action: str, machine: str = "kelp-02", spec: Edits = ()) -> str:
    """The content of the file that ends in `name`, as the action writes it."""
    files = [item for item in actions(planned(machine, spec=spec))[action].operations if isinstance(item, WriteFile)]
    [operation] = [item for item in files if str(getattr(item.path, "path", item.path)).endswith(name)]
    return "".join(map(str, operation.content))


@caught_by(
    function("disk.emit_mounts:crypttab", lambda layout: "root UUID=inner none luks\n"), unseen("verb:filesystem-is")
)
def test_f03_the_wrong_one_of_three_uuids() -> None:
    graph = planned(spec=ENCRYPTED)
    layout = graph.fact(Layout)
    assert layout is not None
    [root] = [part for part in layout.partitions if part.mount == "/"]
    assert len({root.uuid.lower(), root.luks_uuid, root.fs_uuid}) == 3
    table = _written("crypttab", "disk.crypttab", spec=ENCRYPTED)
    assert f"{root.mapper} UUID={root.luks_uuid} none luks\n" in table
    [proof] = checks(actions(graph)["disk.encrypt-root"], "disk/filesystem-is")
    assert isinstance(proof.test, Call) and proof.test.args[:3] == (root.uuid, "crypto_LUKS", root.luks_uuid)
    [menu] = checks(actions(graph)["bootloader.menu"], "bootloader/menu-starts")
    assert isinstance(menu.test, Call)
    assert menu.test.args[2] == f"/dev/mapper/{root.mapper} UUID={root.fs_uuid}"
    assert "package:cryptsetup-initramfs" in actions(graph)["base.packages"].gives


@caught_by(function("disk.validate_combinations:_encryption_faults"))
def test_f05_a_container_the_loader_cannot_open() -> None:
    no_boot = tuple(
        ('name = "root"\n', 'name = "root"\nencrypt = true\n') if "/boot" in new else (old, new)
        for old, new in ENCRYPTED
    )
    said = faults(spec=no_boot)["encrypted-root-no-boot"]
    assert "the boot loader opens no Argon2 key slot" in said and 'with mount = "/boot"' in said


@caught_by(unseen("verb:is-mounted"), verb("bootloader/boot-entry-is"), unseen("action:bootloader.leave-medium"))
def test_f06_the_loader_on_the_sticks_esp() -> None:
    found = actions(planned())
    [guard] = checks(found["bootloader.install"], "is-mounted")
    assert isinstance(guard.test, Call) and guard.test.args[0] == ESP.upper() and not guard.early
    assert "--efi-directory=/boot/efi" in str(found["bootloader.install"].operations)
    place = Place()
    folder = place.put("vars/keep").parent
    _entry(folder, "0004", "5e0c3a3e-77f0-4ac7-8d1f-53414c544d01", OURS)  # the same file on the stick
    assert "0 active entries" in place.says(
        "bootloader/boot-entry-is", "one", ESP, OURS, moved={VARIABLES: str(folder)}
    )
    order = list(found)
    assert order.index("bootloader.leave-medium") < order.index("bootloader.first-boot")


OTHER_DISK = """
[[disks]]
path = "/dev/sda"
serial = "SM-SATA-0900"
model = "Saltmarsh SATA 256G"
size_bytes = 256060514304

[[disks.partitions]]
number = 1
start = 2048
size = 204800
type = "C12A7328-F81F-11D2-BA4B-00A0C93EC93B"
uuid = "0D7F1A2B-3C4D-4E5F-8A9B-0C1D2E3F4A5B"
files = ["/EFI/Microsoft/Boot/bootmgfw.efi"]

[[links]]
name = "enp0s31f6\""""


@caught_by(function("bootloader.validate:_elsewhere"))
def test_f08_a_system_on_another_disk() -> None:
    said = faults(survey=(('\n[[links]]\nname = "enp0s31f6"', OTHER_DISK),))["system-on-another-disk"]
    assert "another disk (Saltmarsh SATA 256G) has a loader of its own" in said
    assert "Start that system from the firmware's boot menu. Never copy its loader to this disk." in said
    assert "system-on-another-disk" not in faults()


@caught_by(unseen("verb:has-line"), verb("has-line"))
def test_f09_the_other_system_is_missing_from_the_menu() -> None:
    settings = _written("/etc/default/grub", "bootloader.settings", "barnacle-05")
    assert "GRUB_DISABLE_OS_PROBER=true\n" in settings
    proofs = checks(actions(planned("barnacle-05"))["bootloader.menu"], "has-line")
    assert any("chainloader" in check.says for check in proofs)
    place = Place()
    menu = place.put("grub.cfg", "menuentry 'new' {\n}\n")
    assert place.says("has-line", str(menu), "    chainloader /EFI/Microsoft/Boot/bootmgfw.efi")


@caught_by(
    concern(GrubFiles, current=lambda plan, install: Current()),
    concern(GrubFiles, check=lambda section, context: ()),
    function("bootloader.emit_firmware:_upkeep"),
)
def test_f11_core_and_modules_of_the_loader_differ() -> None:
    hook = _written(".hook", "bootloader.settings", "barnacle-05")  # alpm-hooks(5)
    assert "Target = grub\n" in hook and "Exec = /usr/bin/grub-install" in hook
    elsewhere = (('mount = "/boot/efi"', 'mount = "/efi"'),)
    assert "do not reach a loader on /efi" in faults(spec=elsewhere)["loader-not-updated"]
    sheet = told(planned(spec=elsewhere)).partition("## Hand-over sheet")[2]
    assert "run `grub-install` again, with the options of this installation" in sheet


@caught_by(verb("bootloader/menu-starts"), verb("bootloader/initramfs-is-built"), unseen("verb:menu-starts"))
def test_f12_an_entry_without_its_initramfs() -> None:
    place = Place()
    boot = place.put("boot/vmlinuz-6.1.0", "x").parent
    menu = place.put("grub.cfg", "linux /boot/vmlinuz-6.1.0 root=UUID=1 ro\ninitrd /boot/initrd.img-6.1.0\n")
    said = place.says("bootloader/menu-starts", str(menu), str(boot), "UUID=1", "")
    assert "the menu names /boot/initrd.img-6.1.0" in said and "has no such file" in said
    place.put("boot/initrd.img-6.1.0", "x" * 100)
    assert "the new system is one of: UUID=2" in place.says(
        "bootloader/menu-starts", str(menu), str(boot), "UUID=2", ""
    )
    assert "has only 100 bytes" in place.says("bootloader/initramfs-is-built", str(boot))
    assert checks(actions(planned())["bootloader.menu"], "bootloader/menu-starts")


def _menu(line: str, flags: str = "") -> str:
    place = Place()
    boot = place.put("boot/vmlinuz-6.1.0", "x").parent
    menu = place.put("grub.cfg", f"linux /boot/vmlinuz-6.1.0 {line} ro\n")
    return place.says("bootloader/menu-starts", str(menu), str(boot), "UUID=1", flags)


@caught_by(verb("bootloader/menu-starts"), unseen("verb:menu-starts"))
def test_f01_the_menu_has_the_live_mediums_words() -> None:
    assert "with boot=live, a word for a live medium" in _menu("root=UUID=1 boot=live")
    assert "with toram, a word for a live medium" in _menu("toram root=UUID=1")
    assert "with root=UUID=1 UUID=2" in _menu("root=UUID=1 root=UUID=2")
    assert "with root=, where the new system is one of: UUID=1" in _menu("quiet")
    assert checks(actions(planned())["bootloader.menu"], "bootloader/menu-starts")


@caught_by(verb("bootloader/menu-starts"), unseen("verb:menu-starts"))
def test_f04_the_root_subvolume_is_not_named() -> None:
    """btrfs(5): without subvol= the file system's default subvolume is mounted."""
    [proof] = checks(actions(planned("tern-04"))["bootloader.menu"], "bootloader/menu-starts")
    layout = planned("tern-04").fact(Layout)
    assert layout is not None and isinstance(proof.test, Call)
    [volume] = [one for part in layout.partitions for one in part.subvolumes if one.mount == "/"]
    assert proof.test.args[3] == f"subvol={volume.name}"
    assert "needs rootflags=subvol=@" in _menu("root=UUID=1", "subvol=@")
    assert "with rootflags=subvol=@old" in _menu("root=UUID=1 rootflags=subvol=@old", "subvol=@")


@caught_by(function("disk.validate_combinations:_late_faults"), verb("base/kernel-present"))
def test_f10_kernel_and_modules_of_two_versions() -> None:
    for word in ("noauto", "nofail"):
        said = faults(spec=(('name = "root"', f'name = "root"\noptions = ["{word}"]'),))["mount-late"]
        assert "/ could be missing without a word" in said and word in said
    place = Place()
    for version in ("6.1.0", "6.2.0"):
        place.put(f"target/usr/lib/modules/{version}/modules.dep")
    place.put("target/boot/vmlinuz-6.1.0", "x")
    assert "modules/6.2.0 have no kernel image of the same version" in place.says("base/kernel-present")
    running = {'-z "$TARGET"': '-n "$TARGET"'}  # as in the audit, on the machine itself
    said = Place().says("base/kernel-present", fakes={"uname": "echo 5.4.3-gone"}, moved=running)
    assert "the kernel that runs, 5.4.3-gone, has no modules any more" in said


LIVE_ONLY = re.compile(r"/dev/(sd|nvme|vd|zram|loop)|overlay|PARTUUID|LABEL")


@caught_by(function("disk.emit_mounts:_source", lambda part: f"/dev/sda{part.number}"), unseen("verb:file-is"))
def test_f13_the_file_table_names_what_is_not_there() -> None:
    for name in MACHINES:
        table = _written("fstab", "disk.fstab", name)
        assert not LIVE_ONLY.search(table)
        lines = [line.split() for line in table.splitlines()[1:]]
        assert all(len(line) == 6 and line[0].startswith(("UUID=", "/swapfile")) for line in lines)
        assert checks(actions(planned(name))["disk.fstab"], "file-is")


@caught_by(function("disk.emit_mounts:_options", lambda part: part.options))
def test_f15_an_esp_readable_for_all() -> None:
    assert " /boot/efi vfat umask=0077 " in _written("fstab", "disk.fstab")
    mount = actions(planned())["disk.mount"]
    assert any("umask=0077" in item.args for item in mount.operations if isinstance(item, Call))


HIBERNATING = (("[disk]\n", "[disk]\nhibernate = true\n"), ('size = "8GiB"', 'size = "16GiB"'))


@caught_by(
    function("disk.facts:_resume", lambda parts: ("resume=UUID=old",)),
    function("disk.emit_mounts:_source", lambda part: "UUID=old"),
)
def test_f16_swap_with_another_uuid() -> None:
    graph = planned(spec=HIBERNATING)
    [make] = actions(graph)["disk.format-swap"].operations
    assert isinstance(make, Call)
    uuid = str(make.args[2])
    assert f"UUID={uuid} none swap" in _written("fstab", "disk.fstab", spec=HIBERNATING)
    assert f"resume=UUID={uuid}" in rendered(graph)
    assert 'mkswap -U "$3"' in LIBRARY.text(["disk/make-filesystem"])


SWAP_ROW = ('type = "DE94BBA4-06D1-4D40-A16A-BFD50179D6AC"', 'type = "0657FD6D-A4AB-43C4-84E5-0933C84B4F4F"')
SWAP_KEPT = (
    'name = "factory-recovery"\npartition = "7B978C71-125C-5D15-A24C-3203019C4ED3"\nrole = "recovery"',
    'name = "old-swap"\npartition = "7B978C71-125C-5D15-A24C-3203019C4ED3"\nrole = "other"',
)
PLAIN_ROW = ('attributes = "RequiredPartition GUID:63"\n', "")


@caught_by(
    function("bootloader.kernel_parameters:_no_foreign_swap"), function("disk.validate_combinations:_swap_faults")
)
def test_g01_another_systems_swap_found_by_its_type() -> None:
    # systemd-gpt-auto-generator(8)
    edits: Edits = (SWAP_ROW, PLAIN_ROW)
    said = faults(spec=(SWAP_KEPT,), survey=edits)["foreign-swap"]
    assert "another system's swap" in said and "its session is lost" in said
    assert "systemd.gpt_auto=0" in rendered(planned(spec=(SWAP_KEPT,), survey=edits))


@caught_by(function("bootloader.emit_firmware:_upkeep"), unseen("action:bootloader.hand-over"))
def test_g02_a_big_update_took_the_first_place() -> None:
    # only a caution: it happens months later, in a system that is not ours
    graph = planned()
    sheet = told(graph).partition("## Hand-over sheet")[2].partition("## Rescue sheet")[0]
    assert "After a big update of the other system, which may take the first place in the boot order" in sheet
    assert "Leave none out" in sheet and "/var/lib/bedplate/boot" in sheet
    assert "Key of the boot menu" in sheet
    assert "bootloader.hand-over" in actions(graph)


@caught_by(function("disk.emit_mounts:_pass", lambda mount: 0), spoiled("disk/close-target", "fsck.fat -n", "true"))
def test_g03_the_esp_was_never_checked() -> None:
    [line] = [line for line in _written("fstab", "disk.fstab").splitlines() if " /boot/efi " in line]
    assert line.endswith(" 0 2")
    found = actions(planned())
    assert "package:dosfstools" in found["base.packages"].gives
    assert any(str(word).startswith("esp:") for word in found["disk.close"].operations[0].args)  # type: ignore[union-attr]
    place = Place()
    fakes = {"findmnt": "return 1", "fsck.fat": "return 1", "sync": ":"}
    code, said = place.run("disk/close-target", "esp:/dev/none", fakes={**fakes, "findmnt": '[ "$1" = -rno ]'})
    assert code == 0 and "The file system check of the EFI system partition (/dev/none) found faults." in said


@caught_by(function("disk.validate_combinations:_hibernation_faults"))
def test_g05_one_sleeps_and_the_other_writes() -> None:
    said = faults(spec=(*HIBERNATING, SHARED))
    assert "is damaged when one of them hibernates" in said["hibernate-shared"]
    assert "allowed: no mount, or hibernate = false" in said["hibernate-shared"]
    assert "x-systemd.automount" in faults(spec=HIBERNATING)["hibernate-shared-esp"]
