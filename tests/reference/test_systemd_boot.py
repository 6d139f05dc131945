"""systemd-boot against the real tools: bootctl(1), kernel-install(8) and the loader's image, of Debian's packages.

bootctl wants the EFI system partition to be a mount of its own, so a small file system in memory stands in for it, in
a name space that ends with the command. Its environment: systemd, ENVIRONMENT.md.
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.systemd_boot import IMAGES, written
from library import LIBRARY
from test_bootloader import plan
from test_systemd_boot import ALONE, BESIDE, KELP, context

IMAGE = f"{IMAGES}/systemd-bootx64.efi"
BEGIN = """\
set -eu
export SYSTEMD_RELAX_ESP_CHECKS=1 SYSTEMD_RELAX_XBOOTLDR_CHECKS=1
mkdir -p "$PLACE/efi" "$PLACE/xbootldr" "$PLACE/work"
mount -t tmpfs esp "$PLACE/efi"
mount -t tmpfs boot "$PLACE/xbootldr"
TARGET=$PLACE/target WORK=$PLACE/work
update() { bootctl --esp-path="$PLACE/efi" --boot-path="$PLACE/xbootldr" --no-variables --graceful update; }
"""


def inside(place: Path, script: str, *verbs: str) -> str:
    """Output of a script in a mount name space of its own, with those verbs at hand."""
    path = place / "script.sh"
    path.write_text(f"PLACE='{place}'\n{BEGIN}{LIBRARY.text(verbs)}\n{script}", encoding="utf-8")
    words = ["unshare", "--user", "--map-root-user", "--mount", "dash", str(path)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


FOREIGN = 'mkdir -p "$PLACE/efi/EFI/BOOT"; echo theirs >"$PLACE/efi/EFI/BOOT/BOOTX64.EFI"\n'
PUT = (
    f'verb_put_systemd_boot "$PLACE/efi" {IMAGE} systemd-bootx64.efi\n'
    'mkdir -p "$PLACE/efi/loader" "$PLACE/xbootldr/loader"\n'
)
OLDER = (  # a loader says what it is in a section of its image: bootctl(1), status
    f"sed 's/#### LoaderInfo: systemd-boot 2../#### LoaderInfo: systemd-boot 100/' {IMAGE} "
    '>"$PLACE/efi/EFI/systemd/systemd-bootx64.efi"\n'
)


def test_the_loader_s_own_installer_overwrites_a_foreign_fallback(tmp_path: Path) -> None:
    # the reason why the image is copied instead
    install = 'bootctl --esp-path="$PLACE/efi" --no-variables install >&2\n'
    compare = f'cmp {IMAGE} "$PLACE/efi/EFI/BOOT/BOOTX64.EFI" && echo overwritten'
    assert inside(tmp_path, FOREIGN + install + compare) == "overwritten\n"


@pytest.mark.proves(loader="systemd-boot", by="tool")
def test_its_update_spares_a_foreign_fallback_and_replaces_our_old_image(tmp_path: Path) -> None:
    look = f'cat "$PLACE/efi/EFI/BOOT/BOOTX64.EFI"; cmp {IMAGE} "$PLACE/efi/EFI/systemd/systemd-bootx64.efi"'
    script = f"{FOREIGN}{PUT}{OLDER}update >&2\n{look}"
    assert inside(tmp_path, script, "bootloader/put-systemd-boot") == "theirs\n"


def test_its_update_works_where_no_other_system_was(tmp_path: Path) -> None:
    assert "BOOTX64.EFI" in inside(
        tmp_path, f'{PUT}update >&2; ls "$PLACE/efi/EFI/BOOT"', "bootloader/put-systemd-boot"
    )


def test_without_the_fallback_folder_it_would_fail(tmp_path: Path) -> None:
    # the reason why it is made; packages' scripts end with the error of `update`
    script = f'{PUT}{OLDER}rmdir "$PLACE/efi/EFI/BOOT"; if update; then echo well; else echo failed; fi'
    assert inside(tmp_path, script, "bootloader/put-systemd-boot").endswith("failed\n")


@pytest.mark.proves(loader="systemd-boot", by="tool")
def test_the_kernel_scripts_see_that_it_is_installed(tmp_path: Path) -> None:
    # /etc/kernel/postinst.d/zz-systemd-boot of Debian's systemd-boot: `bootctl is-installed --quiet || exit 0`
    there = f'{PUT}bootctl --esp-path="$PLACE/efi" is-installed'
    assert inside(tmp_path, there, "bootloader/put-systemd-boot").strip() == "yes"


def test_packages_scripts_find_no_partition_to_install_to(tmp_path: Path) -> None:
    # postinst of Debian's systemd-boot 252: `bootctl --print-esp-path && bootctl install`
    script = 'SYSTEMD_ESP_PATH={}; export SYSTEMD_ESP_PATH; bootctl --print-esp-path || echo "exit status $?"'
    assert inside(tmp_path, script.format("$PLACE/efi")).strip() == str(tmp_path / "efi")
    assert inside(tmp_path, script.format("/nonexistent")).strip() == "exit status 1"


def _files(section: Bootloader, place: Path, alone: bool) -> str:
    lines = []
    for path, text in written(plan(section, context(ALONE if alone else BESIDE))):
        (place / "menu").mkdir(exist_ok=True)
        source = place / "menu" / path.replace("/", "_")
        source.write_text(text, encoding="utf-8")
        lines.append(f'mkdir -p "$PLACE{Path(path).parent}"; cp "{source}" "$PLACE{path}"\n')
    return "".join(lines)


@pytest.mark.proves(loader="systemd-boot", by="tool")
@pytest.mark.parametrize("alone", [False, True])
def test_kernel_install_and_bootctl_read_what_we_write(tmp_path: Path, alone: bool) -> None:
    """One kernel added by the real kernel-install, with our settings; the whole menu as bootctl reads it; our proof."""
    section = Bootloader(name="kelp", loader="systemd-boot", kernel_parameters=("quiet",))
    settled = plan(section, context(ALONE if alone else BESIDE))
    boot = tmp_path / ("efi" if alone else "xbootldr")
    conf = tmp_path / "conf"
    (tmp_path / "target/boot").mkdir(parents=True)
    conf.mkdir()
    (conf / "cmdline").write_text(f"{settled.command_line}\n")
    (conf / "entry-token").write_text("kelp\n")
    (conf / "install.conf").write_text(f"layout=bls\nBOOT_ROOT={boot}\n")
    for name in ("vmlinuz-6.1.0-9", "initrd.img-6.1.0-9"):
        (tmp_path / "target/boot" / name).write_text(name)
    add = (
        f'export KERNEL_INSTALL_CONF_ROOT="{conf}" '
        "KERNEL_INSTALL_PLUGINS=/usr/lib/kernel/install.d/90-loaderentry.install\n"
        'kernel-install add 6.1.0-9 "$TARGET/boot/vmlinuz-6.1.0-9" "$TARGET/boot/initrd.img-6.1.0-9" >&2\n'
    )
    proof = f"verb_entries_start '{boot}' kelp '{settled.command_line}' copied\n"
    more = "" if alone else ' --boot-path="$PLACE/xbootldr"'
    look = f'bootctl --esp-path="$PLACE/efi"{more} --json=short list'
    script = PUT + add + _files(section, tmp_path, alone) + proof + look
    lines = inside(tmp_path, script, "bootloader/put-systemd-boot", "bootloader/entries-start").splitlines()
    found = [json.loads(line) for line in lines]
    entries = {item["id"]: item for item in found}
    ours = entries["kelp-6.1.0-9.conf"]
    assert ours["linux"] == "/kelp/6.1.0-9/linux" and ours["initrd"] == ["/kelp/6.1.0-9/initrd.img-6.1.0-9"]
    assert ours["options"] == settled.command_line and "quiet" in ours["options"]
    if not alone:
        kept = entries["kelp.kept-factory.conf"]
        assert kept["title"] == "Factory Boot Manager" and kept["efi"] == "/EFI/Microsoft/Boot/bootmgfw.efi"
        assert next(item["id"] for item in found if not item["id"].startswith("auto-")) == ours["id"]


def test_the_image_is_for_this_machine() -> None:
    # PE machine value: UEFI 2.10, 2.1.1
    settled = plan(KELP, context())
    script = f"WORK=/tmp\n{LIBRARY.text(['bootloader/loader-is'])}\nverb_loader_is {IMAGE} {settled.machine}\n"
    subprocess.run(["dash", "-c", script], check=True)
    wrong = subprocess.run(["dash", "-c", script.replace(settled.machine, "64aa")], capture_output=True, check=False)
    assert wrong.returncode == 1
