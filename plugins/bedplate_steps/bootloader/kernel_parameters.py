"""The kernel's command line. Enters: the section, layout and family. Leaves: words in order, without root=."""

from __future__ import annotations

from bedplate.facts import LaidPartition, Layout
from bedplate_steps.bootloader.initramfs import Initramfs
from bedplate_steps.bootloader.model import Bootloader

SWAP_TYPE = "0657FD6D-A4AB-43C4-84E5-0933C84B4F4F"
"""GPT type of a Linux swap partition (Discoverable Partitions Specification)."""

COMPUTED = ("root", "resume", "resume_offset", "rootflags", "rootfstype", "ro", "rw", "cryptdevice", "systemd.gpt_auto")
"""Parameters that follow from the rest of the spec and may not be given by hand; those of `rd.luks.` neither."""

FOR_EYES = ("quiet", "splash", "loglevel")
"""Parameters that a rescue entry of the menu must not have: they hide what a person looks for then."""


def parameters(section: Bootloader, layout: Layout, initramfs: Initramfs) -> tuple[str, ...]:
    """Unlocking, resuming, foreign swap, console, then the section's own words; each once."""
    computed = (*_unlock(layout, initramfs), *layout.resume, *_no_foreign_swap(layout), *_console(section))
    return tuple(dict.fromkeys((*computed, *section.kernel_parameters)))


def holder(layout: Layout, path: str) -> LaidPartition | None:
    """The partition that holds `path` of the target, by its own mount point or those of its subvolumes."""
    best: tuple[int, LaidPartition | None] = (-1, None)
    for part in layout.partitions:
        for mount in (part.mount, *(volume.mount for volume in part.subvolumes)):
            inside = mount == "/" or path == mount or path.startswith(mount + "/")
            if mount and inside and len(mount) > best[0]:
                best = (len(mount), part)
    return best[1]


def _unlock(layout: Layout, initramfs: Initramfs) -> tuple[str, ...]:
    # systemd-cryptsetup-generator(8): rd.luks.name=UUID=NAME.
    if initramfs.reads_crypttab:
        return ()
    root = holder(layout, "/")
    early = [part for part in layout.partitions if part.mapper and (part is root or _resumes(part, layout))]
    return tuple(f"rd.luks.name={part.luks_uuid}={part.mapper}" for part in early)


def _resumes(part: LaidPartition, layout: Layout) -> bool:
    return layout.hibernate and part.role == "swap" and part.new


def _no_foreign_swap(layout: Layout) -> tuple[str, ...]:
    # systemd-gpt-auto-generator(8) would use another system's swap on this disk and destroy its hibernated session.
    foreign = any(part.type == SWAP_TYPE and not part.new and not part.mount for part in layout.partitions)
    return ("systemd.gpt_auto=0",) if foreign else ()


def _console(section: Bootloader) -> tuple[str, ...]:
    serial = f"console={section.serial_port},{section.serial_speed}"
    return {"screen": (), "serial": (serial,), "both": ("console=tty0", serial)}[section.terminal]
