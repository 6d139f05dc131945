"""The actions of the step, in the order a person would do them. Enters: section and context. Leaves: actions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from attrs import evolve

from bedplate import build, conditions
from bedplate.actions import (
    Action,
    Call,
    Check,
    Does,
    InTarget,
    Milestone,
    Run,
    Stage,
    Touch,
    WayBack,
    Where,
    WriteFile,
)
from bedplate.hookspecs import Context
from bedplate_steps.bootloader import emit_firmware, emit_manual
from bedplate_steps.bootloader.esp_manifest import on_esp
from bedplate_steps.bootloader.model import Bootloader
from bedplate_steps.bootloader.plan import Loader, Plan, settle

MISSING_DRIVERS = (
    "If drivers are missing, name them for the tool that builds the image (initramfs.conf(5), mkinitcpio.conf(5) or "
    "dracut.conf(5) in the target), and run again."
)


def emit(section: Bootloader, context: Context) -> Iterable[Action]:
    """All actions; none if the layout has no EFI system partition to put a loader on."""
    plan = settle(section, context)
    if plan is None:
        return
    loader = context.extensions(Loader)[section.loader]
    yield from emit_manual.before(plan, context)
    yield emit_firmware.look(plan, context.machine.name)
    yield emit_firmware.save(plan, loader, context.machine.name)
    yield from emit_firmware.untouched(plan, loader)
    yield from _initramfs(plan, loader)
    yield loader.configure(plan)
    yield _guarded(loader.install(plan), plan, loader)
    if section.fallback:
        yield _fallback(loader, plan)
    yield _with_images(loader.menu(plan), plan, loader)
    yield emit_firmware.boot_entry(plan, loader)
    yield emit_firmware.kept(plan, loader)
    yield from emit_manual.after(plan, loader, context.machine.name)


def _initramfs(plan: Plan, loader: Loader) -> Iterator[Action]:
    path, text = plan.initramfs.settings, plan.initramfs.content(bool(plan.root.mapper))
    if path:
        yield Action(
            id="bootloader.initramfs-settings",
            title="Ask for a complete initramfs",
            reason="An image fitted to the system it is built from misses drivers when it is built from a live medium.",
            stage=Stage.TARGET,
            operations=(WriteFile(path=InTarget(path), content=(text,)),),
            needs=("base",),
            gives=(f"file:{path}",),
            proofs=(conditions.file_is(path, (text,)),),
            way_back=build.goes_with_root("Removes the settings file.", Run(argv=("rm", "-f", "--", InTarget(path)))),
        )
    if loader.images_by_menu(plan):
        return
    built = conditions.holds(
        "Every kernel has its initramfs, and it is not an empty one",
        "bootloader/initramfs-is-built",
        InTarget("/boot"),
        early=False,
    )
    yield Action(
        id="bootloader.initramfs",
        title="Build the initramfs of every kernel",
        reason="The one that came with the kernel knows neither the table of file systems nor encryption nor keymap.",
        stage=Stage.TARGET,
        operations=(Run(argv=plan.family.rebuild_initramfs, where=Where.TARGET),),
        needs=_before_images(plan),
        gives=(Milestone.INITRAMFS_BUILT,),
        proofs=(built, _drivers(plan, loader)),
        stamped=True,
        way_back=build.goes_with_root(
            "Nothing to undo: the images are built anew whenever a kernel or a setting changes."
        ),
        trouble=MISSING_DRIVERS,
        expected="One image for each kernel; warnings about firmware of devices the machine has not are harmless.",
    )


def _with_images(menu: Action, plan: Plan, loader: Loader) -> Action:
    """The menu, where images are built with it."""
    if not loader.images_by_menu(plan):
        return menu
    needs = tuple(token for token in menu.needs if token != Milestone.INITRAMFS_BUILT)
    return evolve(
        menu,
        needs=(*needs, *_before_images(plan)),
        gives=(*menu.gives, Milestone.INITRAMFS_BUILT),
        proofs=(*menu.proofs, _drivers(plan, loader)),
        trouble=menu.trouble or MISSING_DRIVERS,
    )


def _before_images(plan: Plan) -> tuple[str, ...]:
    """What must be there before an image is built."""
    containers = any(part.mapper and part.new for part in plan.layout.partitions)
    settings = (f"file:{plan.initramfs.settings}",) if plan.initramfs.settings else ()
    crypttab = ("file:/etc/crypttab",) if containers else ()
    return (Milestone.API_MOUNTED, "kernel:installed", "keymap:target", "file:/etc/fstab", *crypttab, *settings)


def _drivers(plan: Plan, loader: Loader) -> Check:
    asks = bool(plan.root.mapper)
    return conditions.holds(
        "The initramfs has the drivers of the disk and of the root file system" + ", and of the keyboard" * asks,
        "bootloader/initramfs-carries",
        InTarget(loader.images(plan)),
        "keyboard" if asks else "disk",
        *_modules(plan),
        early=False,
    )


def _modules(plan: Plan) -> tuple[str, ...]:
    """Modules without which the root cannot be mounted."""
    return (plan.root.filesystem, *(("dm_crypt",) if plan.root.mapper else ()))


def _guarded(action: Action, plan: Plan, loader: Loader) -> Action:
    """The action with the guards that hold for every loader; a signed one must be new enough for the firmware."""
    mounted = conditions.holds(
        f"{plan.esp.mount} of the target is the planned EFI system partition, and no other",
        "is-mounted",
        plan.esp.uuid,
        plan.esp_root,
        early=False,
        by_hand=(f"on /mnt/target{plan.esp.mount} {plan.esp.node}",),
        otherwise="Stop: the loader would go to another disk or into the live medium. Mount it as planned: run the "
        "script again, or by hand as above.",
    )
    images = [file for file in (loader.image(plan), *loader.files(plan)) if file.endswith(".efi")]
    current = conditions.holds(
        "The firmware's list of revoked loaders does not name this one",
        "bootloader/loader-is-current",
        *(plan.on_esp(f"EFI/{plan.folder}/{file}") for file in images),
        early=False,
        otherwise="The firmware would refuse it: take it from a newer release or from the updates of this one.",
    )
    proofs = (*action.proofs, *((current,) if plan.signed else ()))
    guards = (*action.guards, mounted, *_room(plan, loader))
    kernels = ("kernels with their initramfs, and menu entries,",) if loader.kernels_on_esp(plan) else ()
    touches = _on_kept(plan, f"EFI/{plan.folder}", *loader.own(plan), *kernels)
    return evolve(action, guards=guards, proofs=proofs, touches=touches)


def _on_kept(plan: Plan, *paths: str) -> tuple[Touch, ...]:
    """What is written to an EFI system partition that others use as well."""
    if plan.esp.new:
        return ()
    where = f"on the kept EFI system partition {plan.esp.name}"
    return tuple(Touch(does=Does.WRITES, what=f"{path} {where}") for path in dict.fromkeys(paths))


def _room(plan: Plan, loader: Loader) -> tuple[Check, ...]:
    if plan.esp.new:
        return ()
    kib = emit_firmware.KERNEL_ROOM_KIB if loader.kernels_on_esp(plan) else emit_firmware.LOADER_ROOM_KIB
    return (
        conditions.holds(
            f"The EFI system partition has {kib // 1024} MiB left",
            "bootloader/esp-has-room",
            plan.esp.uuid,
            str(kib),
            by_hand=(f"df -BM --output=avail /mnt/target{plan.esp.mount} | awk '$1 + 0 >= {kib // 1024}'",),
            otherwise="Make room from the other system with its own tools, or plan an EFI system partition of its own. "
            "Delete nothing there by hand that you did not put there.",
        ),
    )


def _fallback(loader: Loader, plan: Plan) -> Action:
    name, image = plan.folder, loader.image(plan)
    own = f"BOOT{plan.suffix.upper()}.EFI"
    guards = (
        conditions.holds(
            f"\\EFI\\BOOT\\{own} is free",
            "bootloader/esp-lacks",
            plan.esp.uuid,
            f"EFI/BOOT/{own}",
            by_hand=(emit_firmware.lacks(plan, f"EFI/BOOT/{own}"),),
            otherwise="It belongs to another system: set `fallback = false`.",
        ),
    )
    files = loader.files(plan)
    noted = on_esp(plan, "fallback", ("EFI/BOOT",), tuple(f"EFI/BOOT/{file}" for file in (own, f"{own}.new", *files)))
    return Action(
        id="bootloader.fallback",
        title="Put the loader on the fallback path as well",
        reason="Firmware that lost its boot entries starts \\EFI\\BOOT; the spec asks for it.",
        stage=Stage.TARGET,
        operations=noted.around(
            Call(
                verb="bootloader/make-fallback",
                args=(plan.esp_root, name, own, image, *files),
                by_hand=(f"cp /mnt/target{plan.esp.mount}/EFI/{name}/* /mnt/target{plan.esp.mount}/EFI/BOOT/",),
            )
        ),
        needs=(Milestone.LOADER_INSTALLED, "loader:saved"),
        gives=("loader:fallback",),
        guards=() if plan.esp.new else guards,
        touches=_on_kept(plan, "EFI/BOOT"),
        proofs=(
            conditions.holds(
                f"\\EFI\\BOOT\\{own} is our loader",
                "bootloader/same-file",
                plan.on_esp(f"EFI/{name}/{image}"),
                plan.on_esp(f"EFI/BOOT/{own}"),
                early=False,
            ),
        ),
        way_back=WayBack(
            note="Removes from \\EFI\\BOOT what this put there and is still as it was; anything else stays.",
            operations=(noted.back(),),
        ),
        stamped=True,
    )
