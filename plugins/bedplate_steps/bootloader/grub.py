"""GRUB on UEFI: settings, fixed menu entries, image, menu.

Enters: a plan, and where the package family keeps its files. Leaves: actions. Settings: GRUB manual 2.06, "Simple
configuration"; options: grub-install(8) of Debian 12. Where a package brings the image ready-made, a stub beside it
leads to the menu (from memory).
"""

from __future__ import annotations

import posixpath
import re

from bedplate import build, conditions
from bedplate.actions import Action, Call, Check, InTarget, Milestone, Operation, Run, Stage, WayBack, Where, WriteFile
from bedplate_steps.bootloader.esp_manifest import on_esp
from bedplate_steps.bootloader.family import GrubFiles
from bedplate_steps.bootloader.kernel_parameters import FOR_EYES
from bedplate_steps.bootloader.other_systems import Handover
from bedplate_steps.bootloader.plan import Loader, Plan
from bedplate_steps.bootloader.validate_grub import faults

ENTRIES_FILE = "/etc/grub.d/25_kept_systems"
STUB_MODE = 0o700
"""What FAT shows under the umask 0077 of its mount; another mode could not be set there."""

_PLAIN = re.compile(r"[A-Za-z0-9_./-]+")
BLS_FOLDER = "/boot/loader/entries"


def quoted(text: str) -> str:
    """`text` as one word of a POSIX shell and of GRUB's own language alike: in single quotes unless it is plain."""
    if _PLAIN.fullmatch(text):
        return text
    return "'" + text.replace("'", "'\\''") + "'"


def settings(plan: Plan) -> str:
    """The file grub-mkconfig sources: assignments of literal text only."""
    section = plan.section
    eyes = [word for word in plan.words if word.split("=", 1)[0] in FOR_EYES]
    values = {
        "GRUB_DEFAULT": _default(section.default),
        "GRUB_TIMEOUT": str(section.menu_time),
        "GRUB_TIMEOUT_STYLE": "menu",
        # Debian installs a newer image into the folder of this name.
        "GRUB_DISTRIBUTOR": section.name,
        "GRUB_CMDLINE_LINUX": " ".join(word for word in plan.words if word not in eyes),
        "GRUB_CMDLINE_LINUX_DEFAULT": " ".join(eyes),
        # Kept systems have fixed entries; probing would mount their partitions.
        "GRUB_DISABLE_OS_PROBER": "true",
        **({"GRUB_SAVEDEFAULT": "true"} if section.default == "last" else {}),
        **_terminal(plan),
        **({"GRUB_ENABLE_BLSCFG": "true"} if _own(plan).kernels_listed else {}),
    }
    return "".join(f"{name}={quoted(value)}\n" for name, value in values.items())


def entries(plan: Plan) -> str:
    """A script for /etc/grub.d that prints itself from its third line on: the fixed entries of kept systems."""
    remember = plan.section.default == "last"
    return '#!/bin/sh\nexec tail -n +3 "$0"\n' + "".join(_entry(item, remember) for item in plan.handovers)


def chain_line(handover: Handover) -> str:
    """The line of the menu that hands over."""
    return f"    chainloader {quoted(handover.loader.replace(chr(92), '/'))}"


def stub(plan: Plan) -> str:
    """The small file beside a ready-made image that leads it to the menu (from memory)."""
    return (
        f"search --no-floppy --fs-uuid --set=dev {plan.boot.fs_uuid}\n"
        f"set prefix=($dev){_path_on_boot(plan)}\n"
        "export prefix\n"
        "configfile $prefix/grub.cfg\n"
    )


def needs(plan: Plan) -> tuple[str, ...]:
    """GRUB, and the signed chain where asked for."""
    return ("loader-grub", "secure-boot") if plan.signed else ("loader-grub",)


def image(plan: Plan) -> str:
    """The shim if signed, else GRUB itself."""
    return f"shim{plan.suffix}.efi" if plan.signed else f"grub{plan.suffix}.efi"


def files(plan: Plan) -> tuple[str, ...]:
    """What lies beside the image."""
    beside = (f"grub{plan.suffix}.efi", f"mm{plan.suffix}.efi") if plan.signed else ()
    return (*beside, "grub.cfg")


def configure(plan: Plan) -> Action:
    """Settings, entries of kept systems, and what keeps both through package updates."""
    own = _own(plan)
    current = own.current(plan, _grub_install(plan))
    written = [(own.settings, settings(plan), 0o644)]
    if plan.handovers:
        written.append((ENTRIES_FILE, entries(plan), 0o755))
    written += [(path, text, 0o644) for path, text in current.files.items()]
    if own.kernels_listed:
        written.append(("/etc/kernel/cmdline", f"{plan.command_line}\n", 0o644))
    return Action(
        id="bootloader.settings",
        title="Write the boot loader's settings",
        reason="Menu time, default, kernel parameters and the entries of kept systems come from the spec, "
        "not from probing.",
        stage=Stage.TARGET,
        operations=(
            *(WriteFile(path=InTarget(path), content=(text,), mode=mode) for path, text, mode in written),
            *current.operations,
        ),
        needs=("base", *plan.family.tokens(*needs(plan)), *((Milestone.API_MOUNTED,) if current.operations else ())),
        gives=tuple(f"file:{path}" for path, _, _ in written),
        proofs=tuple(conditions.file_is(path, (text,), mode) for path, text, mode in written) + current.proofs,
        way_back=build.goes_with_root(
            "Removes the settings files. Where the package brings /etc/default/grub itself, installing the "
            "package anew brings its own back.",
            *tuple(Run(argv=("rm", "-f", "--", InTarget(path))) for path, _, _ in written),
        ),
    )


def install(plan: Plan) -> Action:
    """The image into our own folder, no firmware variable touched."""
    name, esp = plan.folder, plan.esp.mount
    noted = on_esp(plan, "loader", (f"EFI/{name}",), (f"EFI/{name}/*",))
    packaged = bool(_own(plan).ready)
    proof = conditions.holds(
        f"\\EFI\\{name} holds a loader for this machine",
        "bootloader/loader-is",
        plan.on_esp(f"EFI/{name}/{image(plan)}"),
        plan.machine,
        early=False,
    )
    return Action(
        id="bootloader.install",
        title="Install the boot loader on the EFI system partition",
        reason="Into a folder of its own: what other systems keep there is not touched, nor is \\EFI\\BOOT.",
        stage=Stage.TARGET,
        operations=noted.around(_packaged(plan) if packaged else Run(argv=_grub_install(plan), where=Where.TARGET)),
        needs=(
            Milestone.API_MOUNTED,
            "loader:saved",
            *plan.foreign_first,
            f"mount:{esp}",
            *plan.family.tokens(*needs(plan)),
        ),
        gives=(Milestone.LOADER_INSTALLED,),
        proofs=(proof, *(_stub_proofs(plan) if packaged else (_core_proof(plan),))),
        # The head of a loader tells what it is for, not that all of it is there.
        stamped=True,
        way_back=WayBack(
            note=f"Removes from \\EFI\\{name} what this put there and is still as it was; anything else stays.",
            operations=(noted.back(),),
        ),
        expected="The tool ends without an error; the folder holds the loader.",
        trouble="A complaint about the device or its UUID means that /dev of the live medium is not seen in the "
        "target: mount it anew (the script, run again, does so).",
    )


def menu(plan: Plan) -> Action:
    """The menu from settings and kernels."""
    own = _own(plan)
    listed = BLS_FOLDER if own.kernels_listed else own.menu
    command = Run(argv=own.make_menu, where=Where.TARGET)
    kernels = (
        Call(
            verb="bootloader/write-kernel-entries",
            by_hand=(
                "for one in $(ls /mnt/target/lib/modules); do "
                'chroot /mnt/target kernel-install add "$one" "/lib/modules/$one/vmlinuz"; done',
            ),
        ),
    )
    return Action(
        id="bootloader.menu",
        title="Write the boot menu",
        reason="The menu is made after kernel, initramfs and settings are final, so that every entry it has works.",
        stage=Stage.TARGET,
        operations=(*kernels, command) if own.kernels_listed else (command,),
        needs=(
            Milestone.API_MOUNTED,
            Milestone.LOADER_INSTALLED,
            Milestone.INITRAMFS_BUILT,
            f"file:{own.settings}",
            *((f"file:{ENTRIES_FILE}",) if plan.handovers else ()),
        ),
        gives=(Milestone.MENU_WRITTEN,),
        proofs=(
            conditions.holds(
                "Every entry starts a kernel that is there, with its initramfs and parameters",
                "bootloader/menu-starts",
                InTarget(listed),
                InTarget("/boot"),
                " ".join(plan.roots),
                plan.root_flags,
                *_everywhere(plan),
                early=False,
            ),
            *(conditions.file_has_line(own.menu, chain_line(item)) for item in plan.handovers),
            *(conditions.file_has_line(own.menu, _head_line(item)) for item in plan.handovers),
        ),
        stamped=True,
        way_back=build.goes_with_root(
            "Removes the menu; the loader then stops at its own prompt.",
            Run(argv=("rm", "-f", "--", InTarget(own.menu))),
        ),
        expected='"Found linux image" for each kernel.',
    )


def _own(plan: Plan) -> GrubFiles:
    return plan.context.of_family(GrubFiles)


def _folder(plan: Plan) -> str:
    return posixpath.dirname(_own(plan).menu)


def _default(chosen: str) -> str:
    return {"new": "0", "last": "saved"}.get(chosen, f"kept-{chosen}")


def _terminal(plan: Plan) -> dict[str, str]:
    section = plan.section
    if section.terminal == "screen" or section.serial_port == "ttyAMA0":
        return {}  # that port belongs to the firmware, whose console GRUB uses anyway
    unit = section.serial_port.removeprefix("ttyS")
    return {
        "GRUB_TERMINAL": "serial" if section.terminal == "serial" else "console serial",
        "GRUB_SERIAL_COMMAND": f"serial --unit={unit} --speed={section.serial_speed}",
    }


def _head_line(handover: Handover) -> str:
    return f"menuentry {quoted(handover.title)} --id {quoted(handover.identifier)} {{"


def _entry(handover: Handover, remember: bool) -> str:
    lines = [
        _head_line(handover),
        *(["    savedefault"] if remember else []),
        "    insmod part_gpt",
        "    insmod fat",
        "    insmod chain",
        f"    search --no-floppy --fs-uuid --set=root {handover.partition.fs_uuid}",
        chain_line(handover),
        "}",
    ]
    return "\n".join(lines) + "\n"


def _grub_install(plan: Plan) -> tuple[str, ...]:
    target = {"x64": "x86_64-efi", "aa64": "arm64-efi"}[plan.suffix]
    return (
        "grub-install",
        f"--target={target}",
        f"--efi-directory={plan.esp.mount}",
        f"--bootloader-id={plan.section.name}",
        "--no-nvram",
        *_own(plan).install_options(plan.signed),
    )


def _core_proof(plan: Plan) -> Check:
    target = {"x64": "x86_64-efi", "aa64": "arm64-efi"}[plan.suffix]
    path = InTarget(f"{_folder(plan)}/{target}/normal.mod")
    return conditions.succeeds(f"The loader's modules lie in {_folder(plan)}", "test", "-s", path, early=False)


def _path_on_boot(plan: Plan) -> str:
    """The menu's folder as the loader sees it: below the root of the file system that holds it."""
    best = plan.boot.mount
    prefix = ""
    for volume in plan.boot.subvolumes:
        if volume.mount in ("/", "/boot") and len(volume.mount) >= len(best):
            best, prefix = volume.mount, "/" + volume.name.strip("/")
    return prefix + _folder(plan).removeprefix("" if best == "/" else best)


def _packaged(plan: Plan) -> Operation:
    # The image came with its package into the vendor's folder; it looks for its settings beside itself.
    path = plan.on_esp(f"EFI/{plan.folder}/grub.cfg")
    return WriteFile(path=path, content=(stub(plan),), mode=STUB_MODE)


def _stub_proofs(plan: Plan) -> tuple[Check, ...]:
    path = plan.on_esp(f"EFI/{plan.folder}/grub.cfg").path
    return tuple(conditions.file_has_line(path, line) for line in stub(plan).splitlines())


def _everywhere(plan: Plan) -> tuple[str, ...]:
    """Words that every entry has, rescue ones too."""
    return tuple(word for word in plan.words if word.split("=", 1)[0] not in FOR_EYES)


GRUB = Loader(
    concerns=(GrubFiles,),
    ready=lambda plan: bool(_own(plan).ready),
    chain="secure-boot",
    image=image,
    files=files,
    check=faults,
    configure=configure,
    install=install,
    menu=menu,
    upkeep=lambda plan: _own(plan).upkeep(plan),
    no_menu="A prompt that says grub: the menu is missing.",
)
"""The loader, as the point `bootloader.loader` wants it."""
