"""The work only a person can do: medium, firmware settings, first boots. Enters: a plan. Leaves: actions by hand.

Commands: sha256sum(1), gpgv(1), dd(1). What to do with a key, a picture on a screen or a button is common practice of
the trade, no source.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator

from bedplate import build, conditions
from bedplate.actions import NOTHING_TO_UNDO, Action, ByHand, Milestone, Stage, WayBack
from bedplate.hookspecs import Context
from bedplate_steps.bootloader.emit_firmware import MOVED, back_in_order, loader_path, recreate
from bedplate_steps.bootloader.esp_manifest import STATE
from bedplate_steps.bootloader.other_systems import FACTORY_FILE_SYSTEMS, encrypted, firmware_menu_only
from bedplate_steps.bootloader.plan import Loader, Plan

RAID_CONTROLLER = "0104"
"""PCI class of a RAID controller."""


def before(plan: Plan, context: Context) -> Iterator[Action]:
    """From the image file to the live system that has started."""
    yield _verify(plan)
    yield _write(plan)
    yield _try(plan)
    yield _settings(plan, context)
    yield _start(plan)


def after(plan: Plan, loader: Loader, machine: str) -> Iterator[Action]:
    """From the switched-off machine to the hand-over."""
    image = loader.image(plan)
    yield _leave(plan)
    yield _first_boot(plan, image, loader.no_menu)
    if encrypted(plan.layout) and plan.layout.other_systems:
        yield _protect_again(plan)
    if plan.layout.other_systems:
        yield _first_boot_other(plan)
    yield _hand_over(plan, image, machine)


def _verify(plan: Plan) -> Action:
    medium = plan.section.medium
    sums, signature, keyring = (shlex.quote(name) for name in (medium.checksums, medium.signature, medium.keyring))
    keyring = keyring if "/" in keyring else f"./{keyring}"
    return build.by_hand(
        "bootloader.verify-medium",
        f"On any Linux machine (this one is not needed for it). From the publisher of the live medium "
        f"fetch the image `{medium.image}`, the list of checksums `{medium.checksums}` and its signature "
        f"`{medium.signature}` into one folder. `{medium.keyring}` holds the publisher's public key: take it "
        "from elsewhere, such as a package of a machine you trust. In that folder:",
        f"gpgv --keyring {keyring} {signature} {sums}",
        f"sha256sum --ignore-missing --strict -c {sums}",
        title="At your desk: verify the live medium's image",
        reason="A checksum from the same server proves only the transfer; the signature proves where it comes from, "
        "if the key was obtained another way.",
        stage=Stage.OTHER_SYSTEM,
        gives=("prepared:image",),
        away=True,
        expected=f'gpgv says "Good signature" and ends with status 0; sha256sum says "{medium.image}: OK".',
        trouble="With any other answer fetch the image again from another place, and do not use this one.",
    )


def _write(plan: Plan) -> Action:
    image = shlex.quote(plan.section.medium.image)
    return Action(
        id="bootloader.write-medium",
        title="At your desk: write the image to the stick that becomes the live medium",
        reason="The whole stick becomes the live medium; everything that was on it is lost.",
        stage=Stage.OTHER_SYSTEM,
        operations=(
            ByHand(
                text="On the same Linux machine, as root. Find the stick by size, model and serial number: look before "
                "and after plugging it in. Write its name, size and serial number down, and put its name below "
                "`/dev/disk/by-id/` (the one without `-part`) in place of `LIVE-MEDIUM`.",
                commands=("lsblk -d -o PATH,SIZE,MODEL,SERIAL,TRAN", "ls -l /dev/disk/by-id/ | grep usb"),
            ),
            ByHand(
                text="Write to the whole stick, not to a partition of it, and compare what it holds with the image.",
                commands=(
                    f"dd if={image} of=/dev/disk/by-id/LIVE-MEDIUM bs=4M conv=fsync oflag=direct status=progress",
                    f'cmp -n "$(stat -c %s {image})" {image} /dev/disk/by-id/LIVE-MEDIUM',
                ),
            ),
        ),
        needs=("prepared:image",),
        gives=("prepared:medium",),
        away=True,
        cautions=(
            "dd ERASES THE WHOLE DEVICE that of= names, without a question. Read the line aloud before you press "
            "Enter. Unplug every other external disk first.",
        ),
        way_back=WayBack(note="What was on the stick cannot be brought back.", possible=False),
        expected="cmp is silent.",
    )


def _try(plan: Plan) -> Action:
    return build.by_hand(
        "bootloader.try-medium",
        f"Plug the live medium into the switched-off machine, switch it on {_key(plan)} and choose its "
        "UEFI entry. In the live system look for these, then switch off again:",
        "ls /sys/firmware/efi",
        "lsblk -d -o PATH,SIZE,MODEL,SERIAL",
        "ip -br link",
        title="Start the live medium once and take nothing for granted",
        reason="Better to learn now, before anything is written from it, that a stick does not start or does not see "
        "the disk.",
        stage=Stage.FIRMWARE,
        needs=("prepared:medium",),
        gives=("prepared:medium-tried",),
        expected=f"The folder /sys/firmware/efi exists, and the disk is listed: {plan.layout.disk_words}.",
        trouble="A security-policy message means that the medium is older than the firmware's revocation list: make a "
        "newer one. If the disk is not listed, look in the firmware's setup for a RAID, RST or VMD mode, and change "
        "nothing: read about the storage mode in the next action.",
    )


def _settings(plan: Plan, context: Context) -> Action:
    setup = plan.section.firmware.setup_key
    key = f" (key {setup} while it starts)" if setup else ""
    steps = [
        f"Enter the firmware's setup{key}. Photograph every page that you will change, before you change it.",
        "Boot mode: UEFI only; legacy or CSM start is off. Set it only if it is not so already.",
        _secure_boot_words(plan),
        "Fast boot of the firmware: off, so that keys, sticks and all partitions are seen at each start.",
        _storage_words(context),
        "Leave alone: TPM and its keys, Secure Boot keys, virtual RAID sets, passwords. Do not reset the settings to "
        "their defaults, and do not update the firmware now.",
        "Save and leave the setup.",
    ]
    cautions = ["Mains power, and a charged battery in a laptop, from here to the end."]
    if encrypted(plan.layout):
        cautions.insert(
            0,
            "The other system's volume is, or may be, encrypted: a change here can make it ask for its "
            "recovery key. Have the key on paper, and its protection suspended, before you change "
            "anything.",
        )
    return Action(
        id="bootloader.firmware-settings",
        title="Set up the firmware",
        reason="The live medium and the new system start as UEFI programs; the other system starts as before.",
        stage=Stage.FIRMWARE,
        operations=tuple(ByHand(text=text) for text in steps),
        needs=("prepared:medium-tried",),
        gives=("prepared:firmware",),
        cautions=tuple(cautions),
        way_back=WayBack(note="Set every changed setting back as your photographs show it."),
        expected="If you start the other system to see that it still does, shut it down completely again."
        if plan.layout.other_systems
        else "",
    )


def _secure_boot_words(plan: Plan) -> str:
    if plan.signed:
        return (
            "Secure Boot: leave it as it is; the signed chain is installed. Some machines need the setting that "
            "also allows third-party certificates."
        )
    return "Secure Boot: off (disabled, never by deleting keys). It can be on again only with a signed loader."


def _storage_words(context: Context) -> str:
    survey = context.survey
    if survey is not None and any(item.startswith(RAID_CONTROLLER) for item in survey.machine.pci):
        return (
            "Storage mode: the controller is in RAID mode (RST, VMD). KEEP IT: the other system does not "
            "start after a switch. If the live system does not see the disk, stop here and prepare the other "
            "system for AHCI first, by its vendor's own instructions."
        )
    return "Storage mode (AHCI, NVMe, RAID): look, and leave it as it is."


def _start(plan: Plan) -> Action:
    return build.by_hand(
        "bootloader.start-medium",
        f"Switch the machine off, unplug every external disk but the live medium, switch on {_key(plan)} "
        "and choose its entry that says UEFI. Then look how it started:",
        "cat /sys/firmware/efi/fw_platform_size",
        "ls /sys/firmware/efi/efivars | head -n 3",
        title="Start the live medium from the one-time boot menu",
        reason="The one-time menu leaves the firmware's boot order as it is.",
        stage=Stage.FIRMWARE,
        needs=("prepared:firmware",),
        gives=("prepared:live",),
        expected="The first command says 64, the second names variables.",
        trouble="No such file: it was started in legacy mode; choose the other entry. If another system starts, switch "
        "off and press the key earlier and repeatedly; use a USB 2 port.",
    )


def _key(plan: Plan) -> str:
    key = plan.section.firmware.boot_menu_key
    return f"while pressing {key}" if key else "while pressing the boot menu's key (often F12, F11, F10, F9 or Esc)"


def _leave(plan: Plan) -> Action:
    return Action(
        id="bootloader.leave-medium",
        title="Switch off and take both sticks out",
        reason="With the live medium away it is proved that the machine starts from its own disk.",
        stage=Stage.FIRST_BOOT,
        operations=(
            ByHand(
                text="Switch the live system off, and take both sticks out when the machine is dark.",
                commands=("systemctl poweroff",),
            ),
            ByHand(text="If the firmware's setup opens by itself, change nothing and leave it without saving."),
        ),
        needs=(Milestone.TARGET_CLOSED,),
        gives=("boot:ready",),
        changes=False,
        expected="The machine is dark, and both sticks are out.",
    )


def _first_boot(plan: Plan, image: str, no_menu: str) -> Action:
    section = plan.section
    if section.boot_entry_position == "first":
        how = "Switch on and wait."
    else:
        how = f"Switch on {_key(plan)} and choose {section.name}: it stands last in the boot order."
    containers = sum(bool(part.mapper) for part in plan.layout.partitions)
    again = ", perhaps once for each encrypted partition," if containers > 1 else ","
    unlock = f" it asks for the passphrase of the disk{again}" if plan.root.mapper else ""
    return Action(
        id="bootloader.first-boot",
        title="Start the new system for the first time",
        reason="It must come up through the firmware's own entry.",
        stage=Stage.FIRST_BOOT,
        operations=(
            ByHand(
                text=f"{how} In the menu choose the first entry. Log in, and look for failed units:",
                commands=("systemctl --failed", "findmnt --verify", "efibootmgr -v"),
            ),
        ),
        needs=("boot:ready",),
        gives=(Milestone.FIRST_START,),
        audits=(
            conditions.holds(
                "The firmware has started it by its own entry",
                "bootloader/started-by",
                plan.esp.uuid.lower(),
                loader_path(plan, image),
                early=False,
                otherwise=MOVED,
            ),
            conditions.holds("The start is finished and no unit has failed", "bootloader/units-are-well", early=False),
        ),
        changes=False,
        expected=f"The menu waits {section.menu_time} s;{unlock} then a login prompt. No failed units; one entry "
        f"{section.name}, which BootCurrent names.",
        trouble="No menu, another system starts: choose the entry in the firmware's boot menu; if it is not there, "
        f"start the live medium again and make it: `{recreate(plan, image)}`. "
        f"{no_menu} A wait for a device at start: look at `/etc/fstab` and the "
        "UUIDs.",
    )


def _first_boot_other(plan: Plan) -> Action:
    one_way = firmware_menu_only(plan.layout)
    titles = "" if one_way else ", ".join(item.title for item in plan.handovers)
    steps = [
        ByHand(
            text=f"Restart, and start it from the firmware's boot menu: switch on {_key(plan)}. Log in there, "
            "and shut it down completely (no fast start)."
        )
    ]
    if one_way:
        steps.append(ByHand(text="Do the same once more: it must not ask for its recovery key the second time."))
    if _recovery(plan):
        steps.append(
            ByHand(
                text="While it runs, in a command prompt run as administrator: status and location must be those "
                "noted before the work. If it says Disabled: `reagentc /enable`, and ask again.",
                commands=("reagentc /info",),
            )
        )
    if titles:
        steps.append(
            ByHand(text=f"Restart, and start it from the loader's menu: {titles}. Then shut it down completely.")
        )
    cautions = (
        (
            "If its volume is encrypted, choose one way for daily use: changing between loader menu and firmware "
            "menu can make it ask for its recovery key each time.",
        )
        if encrypted(plan.layout)
        else ()
    )
    return Action(
        id="bootloader.first-boot-other",
        title=f"Start the other system again, {'twice the same way' if one_way else 'both ways'}",
        reason="Only a start proves that it survived.",
        stage=Stage.FIRST_BOOT,
        operations=tuple(steps),
        needs=(Milestone.FIRST_START, *(("boot:other-protected",) if encrypted(plan.layout) else ())),
        gives=("boot:other",),
        changes=False,
        cautions=cautions,
        expected="It starts as before, with its files; the clock shows the right time in both systems.",
        trouble="If it asks for the recovery key, type it in once. If it does not start, compare the EFI "
        f"system partition with `{STATE}/esp.sha256` in the new system before you try its own recovery partition.",
    )


def _recovery(plan: Plan) -> bool:
    """Whether the kept system has a recovery environment that was noted before the work."""
    kept = [part for part in plan.layout.partitions if not part.new]
    systems = [part for part in kept if part.name in plan.layout.other_systems]
    factory = any(part.filesystem.lower() in FACTORY_FILE_SYSTEMS for part in systems)
    return factory and any(part.role == "recovery" for part in kept)


def _protect_again(plan: Plan) -> Action:
    return Action(
        id="bootloader.protect-again",
        title="Resume the other system's volume encryption",
        reason="It was suspended for the work; as long as it is, its key lies open on the disk.",
        stage=Stage.FIRST_BOOT,
        operations=(
            ByHand(
                text=f"Start the other system from the firmware's boot menu: switch on {_key(plan)}. There, in a "
                "command prompt run as administrator:",
                commands=("manage-bde -protectors -enable C:", "manage-bde -status C:"),
            ),
            ByHand(
                text="Then shut it down completely. Whether it starts without asking for the key shows in what follows."
            ),
        ),
        needs=(Milestone.FIRST_START,),
        gives=("boot:other-protected",),
        way_back=WayBack(note="Suspend it again: `manage-bde -protectors -disable C: -RebootCount 0`"),
        expected="Protection Status says Protection On.",
    )


def _hand_over(plan: Plan, image: str, machine: str) -> Action:
    key = plan.section.firmware.boot_menu_key or "to be filled in"
    last = "boot:other" if plan.layout.other_systems else Milestone.FIRST_START
    pushed = (
        "A big update of the other system may take the first place in the boot order: choose the entry in the "
        f"firmware's menu, then {back_in_order(plan.section)}."
    )
    return Action(
        id="bootloader.hand-over",
        title="Run the audit and leave the hand-over sheet",
        reason="Who keeps the machine must be able to start it again without the person who installed it.",
        stage=Stage.FIRST_BOOT,
        operations=(
            ByHand(
                text="Make the audit that belongs to this spec, where Bedplate is installed:",
                commands=(f"bedplate compile {machine}.toml --as audit --out {machine}.audit.sh",),
            ),
            ByHand(
                text="Bring it to the new system and run it there; run it once more after a cold start.",
                commands=(f"sudo sh {machine}.audit.sh",),
            ),
            ByHand(
                text=f"Write on the sheet: the key of the boot menu ({key}), where recovery keys lie, where the "
                f"saved boot entries lie ({STATE}), and the command that makes the entry again:",
                commands=(recreate(plan, image),),
            ),
            *((ByHand(text=pushed),) if plan.layout.other_systems else ()),
        ),
        needs=(last,),
        gives=("boot:handed-over",),
        changes=False,
        expected="The audit says that 0 proofs do not hold, what it leaves to a person is done, and the sheet is with "
        "whoever keeps the machine.",
        way_back=NOTHING_TO_UNDO,
    )
