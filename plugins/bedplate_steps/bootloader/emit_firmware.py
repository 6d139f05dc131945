"""Actions on the firmware's boot entries and on what is foreign on the EFI system partition, for any loader.

Enters: a plan. Leaves: actions. UEFI 2.10, 3.1 (Boot####, BootOrder), 3.3 (SecureBoot); efibootmgr(8).
"""

from __future__ import annotations

from collections.abc import Iterator

from bedplate import build, conditions
from bedplate.actions import Action, Argv, Call, Check, Does, Milestone, Stage, Touch, WayBack
from bedplate.facts import copies_folder
from bedplate_steps.bootloader.esp_manifest import STATE
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.other_systems import encrypted
from bedplate_steps.bootloader.plan import Loader, Plan

LOADER_ROOM_KIB = 16 * 1024
"""KiB a loader may take on a kept EFI system partition (common practice, no source)."""
KERNEL_ROOM_KIB = 400 * 1024
"""KiB for kernels on it: two with their initramfs, and room to replace one (common practice, no source)."""
STORE_ROOM_KIB = 8
"""KiB the firmware's variable store must have left (common practice, no source)."""


MOVED = (
    "Put it back with efibootmgr -o, or in the firmware's setup, and start the machine cold. If the firmware puts "
    "another entry first at every start, set the order in its setup, or choose the entry in its boot menu. Never "
    "rename or replace the other system's loader."
)
"""What to do where the firmware has its own mind about the boot order."""


def loader_path(plan: Plan, image: str) -> str:
    r"""`\EFI\FOLDER\IMAGE`, as it stands in the boot entry."""
    return f"\\EFI\\{plan.folder}\\{image}"


def look(plan: Plan, machine: str) -> Action:
    """Refuses legacy mode, 32-bit firmware, with an unsigned loader Secure Boot, and a folder that somebody else has
    made since the survey, before anything is written."""
    free = () if plan.esp.new else (_folder_free(plan, "early", machine),)
    return Action(
        id="bootloader.check-firmware",
        title="Check how the firmware started this machine",
        reason="A loader for UEFI can only be entered from a machine that was started by UEFI.",
        stage=Stage.LIVE,
        operations=(),
        needs=("tool:efibootmgr", *((Milestone.COPIES_SAVED,) if free else ())),
        guards=(_uefi(), *(() if plan.signed else (_secure_boot_off(),)), *free),
        changes=False,
        transient=True,
    )


def _folder_free(plan: Plan, how: str, machine: str) -> Check:
    listed = f"{copies_folder(machine)}/esp.sha256"
    return conditions.holds(
        f"\\EFI\\{plan.folder} of the EFI system partition is free",
        "bootloader/loader-folder-is-free",
        plan.esp.uuid,
        plan.folder,
        how,
        early=how == "early",
        by_hand=(f"none '/EFI/{plan.folder}/' cat {listed}",),
        otherwise="It came after the survey and may belong to another system: choose another name for the loader. If "
        "an earlier installation of this machine made it, take that back first (`--undo` of its script).",
    )


def save(plan: Plan, loader: Loader, machine: str) -> Action:
    """The copies of boot entries and foreign files into the target, before the first of them could change."""
    folder = copies_folder(machine)
    files = f" {folder}/esp.sha256 {folder}/esp.tar" if not plan.esp.new else ""
    empty = (f": > /mnt/target{STATE}/esp.sha256",) if plan.esp.new else ()
    own = tuple(_free(plan, path) for path in loader.own(plan))
    how = "ready" if loader.ready(plan) else "new"
    free = () if f"EFI/{plan.folder}" in loader.own(plan) else (_folder_free(plan, how, machine),)
    return Action(
        id="bootloader.save-boot-state",
        title="Keep the copies of boot entries and of the EFI system partition in the new system",
        reason="They prove afterwards that nothing of another system was touched, and lead back.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="bootloader/save-boot-state",
                args=(plan.esp_root, "-" if plan.esp.new else plan.esp.uuid, _saved_part(plan)),
                by_hand=(
                    f"mkdir -p -m 700 /mnt/target{STATE}",
                    f"cp {folder}/Boot*{files} /mnt/target{STATE}/",
                    *empty,
                    f"touch /mnt/target{STATE}/complete",
                ),
            ),
        ),
        needs=("base", Milestone.COPIES_SAVED, f"mount:{plan.esp.mount}", "tool:tar"),
        gives=("loader:saved",),
        guards=() if plan.esp.new else (*free, *own),
        proofs=(
            conditions.holds(
                "Boot entries and file list are saved in the new system",
                "bootloader/boot-state-is-saved",
                early=False,
                by_hand=(f"ls -l /mnt/target{STATE} | grep complete",),
            ),
        ),
        leaves=(
            "The firmware's boot entries and their order of before, and the EFI system partition as it was "
            f"(esp.tar, with SHA-256 of every file in esp.sha256): {STATE} in the new system.",
        ),
        way_back=build.goes_with_root(
            f"The copies in {STATE} of the new system disturb nobody; they go with its root."
        ),
    )


def untouched(plan: Plan, loader: Loader) -> Iterator[Action]:
    """Whether the packages left everything foreign alone; what they did not is put back, and the work stops."""
    if plan.esp.new:
        return
    there, listed = f"/mnt/target{plan.esp.mount}", f"/mnt/target{STATE}/esp.sha256"
    look_again = f"( cd {there} && every ': OK$' sha256sum -c {listed} )"
    asked = any(f"package:{name}" in loader.install(plan).needs for name in plan.family.writes_esp)
    words: Argv = (plan.esp_root, _saved_part(plan), *_ours(plan, loader))
    yield Action(
        id="bootloader.check-packages",
        title="See that the packages changed nothing foreign on the EFI system partition",
        reason="Some packages write their loader into the fallback folder or a folder of their own, asked or not.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="bootloader/put-back-foreign",
                args=("asked" if asked else "strange", plan.esp.uuid, *words),
                by_hand=(
                    look_again,
                    "# Only for a file that this names, and that a package has written, not the other system since: "
                    "fetch it from the archive, with its name in place of `FILE`, look once more, and find out which:",
                    f"tar -xf /mnt/target{STATE}/esp.tar -C {there} ./FILE",
                ),
            ),
        ),
        needs=("loader:saved",),
        gives=("loader:foreign",),
        proofs=(
            conditions.holds(
                "Every foreign file on the EFI system partition is as it was, and none has come",
                "bootloader/esp-is-unchanged",
                *words,
                early=False,
                by_hand=(look_again,),
            ),
        ),
        way_back=WayBack(note="Nothing to undo: only what was there before is put back."),
        trouble="Take the package that wrote the file out of the spec: its updates would write it again. A file that "
        "no package has was changed by the other system, or by somebody: it stays, and nothing older goes over it. "
        "Then take the installation back, and begin again, which makes new copies.",
        touches=(
            Touch(
                does=Does.WRITES,
                what=f"others' files that a package replaced on the kept EFI system "
                f"partition {plan.esp.name}, back as they were",
            ),
        ),
        transient=True,
    )


def _saved_part(plan: Plan) -> str:
    """What of the EFI system partition is saved and compared: where it is /boot as well, only what lies below \\EFI."""
    return "loaders" if plan.esp.mount == "/boot" else "all"


def lacks(plan: Plan, path: str) -> str:
    """What a person types to see that the EFI system partition is there, and that file not (in any case: FAT)."""
    return f"none '/{path.replace('.', '[.]')}$' find /mnt/target{plan.esp.mount}"


def _free(plan: Plan, path: str) -> Check:
    shown = "\\" + path.replace("/", "\\")
    return conditions.holds(
        f"{shown} of the EFI system partition is free",
        "bootloader/esp-lacks",
        plan.esp.uuid,
        path,
        by_hand=(lacks(plan, path),),
        otherwise="It belongs to another system. Choose another loader, or plan an EFI system partition of its own; "
        "delete nothing there by hand that you did not put there.",
    )


def boot_entry(plan: Plan, loader: Loader) -> Action:
    """Exactly one entry of ours, at the place asked for, the others left as they are."""
    image = loader.image(plan)
    section, path = plan.section, loader_path(plan, image)
    guid = plan.esp.uuid.lower()
    kept = tuple(
        conditions.holds(
            f"The firmware has an entry for {item.title}",
            "bootloader/boot-entry-is",
            "some",
            item.partition.uuid.lower(),
            item.loader,
            early=False,
        )
        for item in plan.handovers
        if item.with_entry
    )
    store = conditions.holds(
        f"The firmware has {STORE_ROOM_KIB} KiB left for boot entries",
        "bootloader/boot-store-has-room",
        str(STORE_ROOM_KIB),
        by_hand=(
            "df -k --output=size,avail /sys/firmware/efi/efivars | "
            f"awk 'NR > 1 && ($1 == 0 || $2 >= {STORE_ROOM_KIB})'",
        ),
        otherwise="Usually crash dumps of a kernel fill it (`dump-type0-*` in `/sys/firmware/efi/efivars`). Save and "
        "remove those by hand; delete no other variable: that has broken machines for good.",
    )
    return Action(
        id="bootloader.boot-entry",
        title="Add the firmware's boot entry",
        reason="The firmware starts what its entries name; ours names partition and file, and no other entry changes.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="bootloader/make-boot-entry",
                args=(guid, section.name, path, section.boot_entry_position, section.entry_path),
                by_hand=(recreate(plan, image), *_placed(section.boot_entry_position)),
            ),
        ),
        needs=(
            "tool:efibootmgr",
            Milestone.LOADER_INSTALLED,
            Milestone.MENU_WRITTEN,
            "loader:saved",
            *plan.family.tokens("boot-entries"),
        ),
        gives=(Milestone.BOOT_ENTRY,),
        guards=(store,),
        proofs=(
            conditions.holds(
                f"The firmware has exactly one entry for {path}",
                "bootloader/boot-entry-is",
                "one",
                guid,
                path,
                early=False,
            ),
            conditions.holds(
                f"The entry stands {section.boot_entry_position} in the boot order",
                "bootloader/boot-entry-stands",
                section.boot_entry_position,
                guid,
                path,
                early=False,
                otherwise=MOVED,
            ),
            *kept,
        ),
        way_back=WayBack(
            note=f"Removes the boot entry {section.name}; the others keep the order that they have now.",
            operations=(
                Call(verb="bootloader/drop-boot-entry", args=(guid, section.name, path), by_hand=_dropped(plan, path)),
            ),
        ),
        upkeep=tuple(_upkeep(plan, loader)),
        touches=(
            Touch(
                does=Does.WRITES,
                what=f"the boot entry {section.name} into the firmware, "
                f"{section.boot_entry_position} in its boot order",
            ),
        ),
        expected=f"`efibootmgr -v` lists {section.name} once.",
        trouble='Some firmware drops entries it does not like: set `entry_path = "full"`, or ask for the fallback '
        "path on a disk of its own.",
    )


def _dropped(plan: Plan, path: str) -> tuple[str, ...]:
    """The entry's end by hand: it must show itself as ours."""
    title = plan.section.name
    named = f"grep -E '^Boot[0-9A-F]{{4}}\\*? {title}[[:blank:]]'"
    ours = f"efibootmgr -v | grep -F -i -e '{plan.esp.uuid}' | grep -F -i -e '{path}' | {named}"
    return (
        f"{ours} || echo 'NO ENTRY OF OURS'",
        "# Only if that is one line: put the four digits behind its `Boot` in place of `NUMBER`. It goes from the boot "
        "order too, and the others stay in theirs:",
        "efibootmgr -b NUMBER -B",
    )


def back_in_order(section: Bootloader) -> str:
    """How a pushed entry comes to its place again without a loss: firmware may delete what BootOrder leaves out."""
    name, first = section.name, section.boot_entry_position == "first"
    where = (
        "that number first and every other number of the line behind it"
        if first
        else ("every other number of the line as it stands, and that number last")
    )
    numbers = "NUMBER,ALL,THE,OTHERS" if first else "ALL,THE,OTHERS,NUMBER"
    return (
        f"look with `efibootmgr` at the line BootOrder and at the four digits of {name}, and write the WHOLE order "
        f"again, {where}: `efibootmgr -o {numbers}`. Leave none out: the firmware may delete the entry of a number "
        "that is missing there"
    )


def _placed(position: str) -> tuple[str, ...]:
    """efibootmgr(8) puts a new entry first; its place by hand."""
    look = "efibootmgr | head -n 4"
    if position == "first":
        return (look,)
    move = 'efibootmgr -o "${order#*,},${order%%,*}"'
    return ("order=$(efibootmgr | sed -n 's/^BootOrder: //p')", move, look)


def _upkeep(plan: Plan, loader: Loader) -> Iterator[str]:
    yield (
        f"After an update of the firmware: look with `efibootmgr -v` whether the entry {plan.section.name} is there "
        f"and stands {plan.section.boot_entry_position}; if not, make it again."
    )
    if plan.layout.other_systems:
        yield (
            "After a big update of the other system, which may take the first place in the boot order: start "
            f"{plan.section.name} from the firmware's menu, then {back_in_order(plan.section)}. Switch fast "
            "start off there once more."
        )
    if encrypted(plan.layout):
        yield "Before an update of the firmware or a change of Secure Boot: suspend the other system's encryption."
    yield from loader.upkeep(plan)


def _ours(plan: Plan, loader: Loader) -> tuple[str, ...]:
    """Paths on the EFI system partition below which files may come."""
    fallback = ("EFI/BOOT",) if plan.section.fallback or _brings_fallback(plan, loader) else ()
    return tuple(dict.fromkeys((f"EFI/{plan.folder}", *loader.own(plan), *fallback)))


def _brings_fallback(plan: Plan, loader: Loader) -> bool:
    """Whether the loader's own signed packages write the fallback folder; a foreign file there is a fault by then."""
    return plan.signed and loader.ready(plan)


def kept(plan: Plan, loader: Loader) -> Action:
    """Looks once more at everything foreign. The audit leaves it out: another system changes its own files later."""
    proofs: list[Check] = []
    if not plan.esp.new:
        proofs.append(
            conditions.holds(
                "Every foreign file on the EFI system partition is as it was, and none has come",
                "bootloader/esp-is-unchanged",
                plan.esp_root,
                _saved_part(plan),
                *_ours(plan, loader),
                early=False,
                by_hand=(
                    f"( cd /mnt/target{plan.esp.mount} && every ': OK$' sha256sum -c /mnt/target{STATE}/esp.sha256 )",
                ),
            )
        )
    proofs.append(
        conditions.holds(
            "Every boot entry that was there is as it was, and in the same order",
            "bootloader/boot-entries-are-kept",
            plan.esp.uuid.lower(),
            loader_path(plan, loader.image(plan)),
            early=False,
            by_hand=(
                f"( cd /mnt/target{STATE} && sha256sum Boot[0-9A-F]* ) | "
                "( cd /sys/firmware/efi/efivars && every ': OK$' sha256sum -c )",
                "# The order of before, with ours put in, and nothing else changed:",
                f"od -An -v -tx2 -w2 -j 4 /mnt/target{STATE}/BootOrder-*",
                "efibootmgr | grep BootOrder",
            ),
        )
    )
    return Action(
        id="bootloader.check-kept",
        title="Check that nothing foreign has changed",
        reason="Kept means kept: compared with the copies that were made before anything else.",
        stage=Stage.TARGET,
        operations=(),
        needs=("loader:saved", Milestone.BOOT_ENTRY, *(("loader:fallback",) if plan.section.fallback else ())),
        gives=("loader:kept",),
        proofs=tuple(proofs),
        changes=False,
        transient=True,
        trouble=f"Do not restart yet. Compare with `{STATE}` in the new system and put back what differs.",
    )


def recreate(plan: Plan, image: str) -> str:
    """The command that makes the entry again, for the hand-over sheet."""
    path = loader_path(plan, image)
    way = " -e 3" if plan.section.entry_path == "full" else ""
    return f"efibootmgr{way} -c -d \"$DISK\" -p {plan.esp.number} -L {plan.section.name} -l '{path}'"


def _uefi() -> Check:
    return conditions.holds(
        "The machine was started by 64-bit UEFI firmware and its variables can be changed",
        "bootloader/firmware-is-uefi",
        by_hand=("grep -x 64 /sys/firmware/efi/fw_platform_size", "grep 'efivarfs.*rw' /proc/mounts"),
        otherwise="Start the medium from the boot menu's UEFI entry. If only the variables are missing: "
        "`mount -t efivarfs efivarfs /sys/firmware/efi/efivars`",
    )


def _secure_boot_off() -> Check:
    return conditions.holds(
        "Secure Boot is off",
        "bootloader/secure-boot-is-off",
        by_hand=(
            "od -An -tx1 -j 4 -N 1 /sys/firmware/efi/efivars/SecureBoot-8be4df61-* | grep 00 || "
            "none '^SecureBoot-8be' ls /sys/firmware/efi/efivars",
        ),
        otherwise='Switch it off in the firmware\'s setup, recovery keys at hand, or set `secure_boot = "signed"`.',
    )
