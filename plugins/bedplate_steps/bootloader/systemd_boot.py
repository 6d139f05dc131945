r"""systemd-boot on UEFI: a copy of the package's image, its menu settings, boot loader specification entries.

Enters: a plan. Leaves: actions. Sources: bootctl(1), loader.conf(5), kernel-install(8) of systemd 252; the Boot Loader
Specification (UAPI.1). `bootctl install` itself is not used: it always writes \EFI\BOOT as well (bootctl(1); tried with
252), and that is another system's way back. `bootctl update`, which packages run later, spares what is not its own.
How kernels come to $BOOT, the package family tells.
"""

from __future__ import annotations

from attrs import evolve

from bedplate import build, conditions
from bedplate.actions import Action, Call, InTarget, Milestone, Operation, Run, Stage, WayBack, WriteFile
from bedplate_steps.bootloader.esp_manifest import Noted, on_esp
from bedplate_steps.bootloader.family import KernelEntries
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.other_systems import Handover
from bedplate_steps.bootloader.plan import Loader, Plan
from bedplate_steps.bootloader.validate_systemd_boot import FOLDER, boot_partition, faults

NEED = "loader-systemd-boot"
"""The family's packages."""
IMAGES = "/usr/lib/systemd/boot/efi"
"""Where they bring the image to."""
UPDATER = "systemd-boot-update.service"
"""Copies a newer image at the next start (systemd-boot-update.service(8))."""
FAT_MODE = 0o700
"""What FAT shows under the umask 0077 of its mount; another mode could not be set there."""


def _way(plan: Plan) -> KernelEntries:
    return plan.context.of_family(KernelEntries)


def _kept(plan: Plan) -> bool:
    """Whether kernels keep their names and places."""
    return not _way(plan).image


def dollar_boot(plan: Plan) -> str:
    """Where $BOOT is mounted."""
    part = boot_partition(plan.layout)
    return part.mount if part is not None else plan.esp.mount


def image(plan: Plan) -> str:
    """`systemd-bootx64.efi`, by architecture."""
    return f"systemd-boot{plan.suffix}.efi"


def settings(plan: Plan) -> str:
    """loader.conf(5). No entries of its own finding: those of the spec stand in for them, under the spec's titles."""
    chosen = {"new": f"{plan.section.name}-*", "last": "@saved"}.get(plan.section.default)
    kept = next((item for item in plan.handovers if item.name == plan.section.default), None)
    lines = {
        "default": chosen or (entry_file(plan, kept) if kept else f"{plan.section.name}-*"),
        "timeout": str(plan.section.menu_time),
        "console-mode": "keep",
        "editor": "yes",
        "auto-entries": "no",
    }
    return "".join(f"{key} {value}\n" for key, value in lines.items())


def entry_file(plan: Plan, item: Handover) -> str:
    """File name of a kept system's entry; the dot keeps it apart from those of our own kernels."""
    return f"{plan.section.name}.{item.identifier}.conf"


def entry(item: Handover, place: int) -> str:
    """A Type #1 entry that starts another system's own loader, behind our own kernels in the menu."""
    path = item.loader.replace("\\", "/")
    return f"title    {item.title}\nsort-key zz-kept-{place:02}\nefi      {path}\n"


def kernel_entry(plan: Plan, kernel: str) -> str:
    """A Type #1 entry for a kernel whose files keep their names."""
    return (
        f"title    {plan.section.name} ({kernel})\nsort-key new\nlinux    /vmlinuz-{kernel}\n"
        f"initrd   /initramfs-{kernel}.img\noptions  {plan.command_line}\n"
    )


def written(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Path and text of every file of the menu."""
    esp, boot = plan.esp.mount, dollar_boot(plan)
    kept = [
        (f"{esp}/loader/entries/{entry_file(plan, item)}", entry(item, place))
        for place, item in enumerate(plan.handovers, 1)
    ]
    own = [
        (f"{boot}/loader/entries/{plan.section.name}-{kernel}.conf", kernel_entry(plan, kernel))
        for kernel in (plan.family.packages["kernel"] if _kept(plan) else ())
    ]
    # The mark of a folder that follows the specification; bootctl(1) writes the same, wherever it takes $BOOT to be.
    marks = [(f"{place}/loader/entries.srel", "type1\n") for place in dict.fromkeys((esp, boot))]
    return (*marks, *own, *kept, (f"{esp}/loader/loader.conf", settings(plan)))


def configure(plan: Plan) -> Action:
    """What kernel-install goes by at every update of a kernel; or what keeps the image current."""
    if _kept(plan):
        return _updater(plan)
    service = () if _way(plan).renews_loader else (UPDATER,)
    files = {
        "/etc/kernel/cmdline": f"{plan.command_line}\n",
        "/etc/kernel/entry-token": f"{plan.section.name}\n",
        "/etc/kernel/install.conf": f"layout=bls\nBOOT_ROOT={dollar_boot(plan)}\n",
    }
    return Action(
        id="bootloader.settings",
        title="Write what new kernels get their menu entries by",
        reason="The family's own scripts copy each kernel beside the loader; they take parameters, names and place "
        "from here, and would otherwise guess them.",
        stage=Stage.TARGET,
        operations=(
            *(WriteFile(path=InTarget(path), content=(text,)) for path, text in files.items()),
            *(_switch("enable", unit) for unit in service),
        ),
        needs=("base", *plan.family.tokens(NEED)),
        gives=(*(f"file:{path}" for path in files), *(f"service:{unit}" for unit in service)),
        proofs=(
            *(conditions.file_is(path, (text,)) for path, text in files.items()),
            *(conditions.service_enabled(unit) for unit in service),
        ),
        way_back=build.goes_with_root(
            "Removes the settings files.",
            *(_switch("disable", unit) for unit in service),
            *(Run(argv=("rm", "-f", "--", InTarget(path))) for path in files),
        ),
    )


def _switch(how: str, unit: str) -> Operation:
    return Run(argv=("systemctl", "--root", InTarget("/"), how, "--", unit))


def _updater(plan: Plan) -> Action:
    return Action(
        id="bootloader.settings",
        title="Keep the boot loader current",
        reason="A new image comes with the package and is copied to the EFI system partition at the next start.",
        stage=Stage.TARGET,
        operations=(_switch("enable", UPDATER),),
        needs=("base", *plan.family.tokens(NEED)),
        gives=(f"service:{UPDATER}",),
        proofs=(conditions.service_enabled(UPDATER),),
        way_back=build.goes_with_root("Leaves the image as it is at later updates.", _switch("disable", UPDATER)),
    )


def install(plan: Plan) -> Action:
    """The package's image into bootctl's folder, nothing else touched, no firmware variable either."""
    esp, source = plan.esp.mount, f"{IMAGES}/{image(plan)}"
    place = plan.on_esp(f"EFI/{FOLDER}/{image(plan)}")
    noted = on_esp(plan, "loader", (f"EFI/{FOLDER}",), (f"EFI/{FOLDER}/*",))
    # The folder is made empty; an update may put the same image there later (bootctl(1), update).
    later = evolve(on_esp(plan, "later", ("EFI/BOOT",), (f"EFI/BOOT/BOOT{plan.suffix.upper()}.EFI",)), comes_later=True)
    return Action(
        id="bootloader.install",
        title="Install the boot loader on the EFI system partition",
        reason="By copying: the loader's own installer would overwrite \\EFI\\BOOT, which may be another system's "
        "way back.",
        stage=Stage.TARGET,
        operations=(
            *later.around(),
            *noted.around(
                Call(
                    verb="bootloader/put-systemd-boot",
                    args=(plan.esp_root, InTarget(source), image(plan)),
                    by_hand=(
                        f"mkdir -p /mnt/target{esp}/EFI/{FOLDER} /mnt/target{esp}/EFI/BOOT",
                        f"cp /mnt/target{source} /mnt/target{esp}/EFI/{FOLDER}/",
                    ),
                )
            ),
        ),
        needs=("loader:saved", *plan.foreign_first, f"mount:{esp}", *plan.family.tokens(NEED)),
        gives=(Milestone.LOADER_INSTALLED,),
        proofs=(
            conditions.holds(
                f"\\EFI\\{FOLDER} holds a loader for this machine",
                "bootloader/loader-is",
                place,
                plan.machine,
                early=False,
            ),
            conditions.holds(
                "It is the one of the package", "bootloader/same-file", InTarget(source), place, early=False
            ),
        ),
        way_back=WayBack(
            note=f"Removes from \\EFI\\{FOLDER} what this put there and is still as it was; anything else stays.",
            operations=(noted.back(), later.back()),
        ),
        # Noted is what was put there once all of it is there, which nobody can see by looking.
        stamped=True,
        expected="The folder holds the loader.",
    )


def menu(plan: Plan) -> Action:
    """Menu settings, kernels with their entries, entries of kept systems."""
    esp, boot, name = plan.esp.mount, dollar_boot(plan), plan.section.name
    files = written(plan)
    noted = _noted(plan)
    by_package = _kept(plan)
    settled = (
        (f"service:{UPDATER}",)
        if by_package
        else tuple(f"file:/etc/kernel/{one}" for one in ("cmdline", "entry-token", "install.conf"))
    )
    mounts = tuple(f"mount:{place}" for place in dict.fromkeys((esp, boot)))
    return Action(
        id="bootloader.menu",
        title="Write the boot menu",
        reason="One small file for each entry. Kernels go where the loader can read them: it knows FAT only.",
        stage=Stage.TARGET,
        operations=_around(
            noted, (*(() if by_package else (_kernels(plan),)), *(_write(path, text) for path, text in files))
        ),
        needs=(Milestone.API_MOUNTED, Milestone.LOADER_INSTALLED, Milestone.INITRAMFS_BUILT, *mounts, *settled),
        gives=(Milestone.MENU_WRITTEN,),
        proofs=(
            conditions.holds(
                "Every kernel has an entry that starts it, with its own initramfs and parameters",
                "bootloader/entries-start",
                InTarget(boot),
                name,
                plan.command_line,
                "beside" if _way(plan).images_by_entry else "copied",
                early=False,
            ),
            *(
                conditions.holds(
                    f"{path} is as planned", "bootloader/text-is", InTarget(path), stdin=(text,), early=False
                )
                for path, text in files
            ),
        ),
        way_back=WayBack(
            note="Removes the loader's settings and our entries, with the copies of our kernels, where they are still "
            "as they were; anything else stays.",
            operations=tuple(one.back() for one in noted),
        ),
        stamped=True,
        leaves=(
            "The loader's settings and entries, and from the first start on its random seed: \\loader on the EFI "
            "system partition. Nobody else's: it was not there before.",
        ),
        expected="No error; one file for each kernel and each kept system in `loader/entries`.",
    )


def _noted(plan: Plan) -> tuple[Noted, ...]:
    """The menu's files, by place."""
    name, boot = plan.section.name, dollar_boot(plan)
    entries = (f"loader/entries/{name}-*", f"loader/entries/{name}.*")
    folders, own = ("loader", "loader/entries"), ("loader/loader.conf", "loader/entries.srel", "loader/random-seed")
    by_package = _kept(plan)
    made = () if by_package else (name,)
    called: tuple[str, ...] = () if by_package else (f"{name}/*",)
    if boot == plan.esp.mount:
        return (on_esp(plan, "menu", (*folders, *made), (*own, *entries, *called)),)
    if by_package:
        called = ("vmlinuz-*", "initramfs-*")
    return (
        on_esp(plan, "menu", folders, (*own, *entries)),
        Noted(key="menu-boot", base=boot, ours=True, folders=(*folders, *made), patterns=(*own, *entries, *called)),
    )


def _around(noted: tuple[Noted, ...], work: tuple[Operation, ...]) -> tuple[Operation, ...]:
    for one in noted:
        work = one.around(*work)
    return work


def _kernels(plan: Plan) -> Operation:
    return Call(
        verb="bootloader/write-kernel-entries",
        by_hand=(
            "for one in $(ls /mnt/target/lib/modules); do "
            f'chroot /mnt/target kernel-install add "$one" "{_way(plan).image}"; done',
        ),
    )


def _write(path: str, text: str) -> Operation:
    return WriteFile(path=InTarget(path), content=(text,), mode=FAT_MODE)


def _kernels_on_esp(plan: Plan) -> bool:
    return boot_partition(plan.layout) == plan.esp


def _own(plan: Plan) -> tuple[str, ...]:
    copies = (plan.section.name,) if _kernels_on_esp(plan) and not _kept(plan) else ()
    return (f"EFI/{FOLDER}", "loader", *copies)


def _images(plan: Plan) -> str:
    return f"{dollar_boot(plan)}/{plan.section.name}" if _way(plan).images_by_entry else "/boot"


def _folder(section: Bootloader) -> str:
    return FOLDER


def _no_files(plan: Plan) -> tuple[str, ...]:
    return ()


SYSTEMD_BOOT = Loader(
    concerns=(KernelEntries,),
    folder=_folder,
    image=image,
    files=_no_files,
    own=_own,
    reaches_everything=False,
    kernels_on_esp=_kernels_on_esp,
    images_by_menu=lambda plan: _way(plan).images_by_entry,
    images=_images,
    check=faults,
    configure=configure,
    install=install,
    menu=menu,
    upkeep=lambda plan: (_way(plan).upkeep,),
    no_menu="A menu without an entry for this system: its kernel was not copied.",
)
"""The loader, as the point `bootloader.loader` wants it."""
