"""Faults of the `[base]` section that no schema can say. Enters: section and context. Leaves: faults."""

from __future__ import annotations

import re
from collections.abc import Iterable

from bedplate.facts import Layout
from bedplate.faults import Fault, shown
from bedplate.hookspecs import Context
from bedplate.units import MIB, in_gib
from bedplate_steps.base.facts import microcode_vendor
from bedplate_steps.base.family import chosen
from bedplate_steps.base.model import Base

TRIM = "fstrim.timer"
"""Once a week, and passes over what cannot do it: fstrim(8), of util-linux in every family."""


def validate(base: Base, context: Context) -> Iterable[Fault]:
    """All faults and warnings of the section."""
    yield from chosen(base, context).check(base)
    if base.firmware_packages and not base.firmware:
        yield Fault(
            code="firmware-contradiction",
            message="firmware packages are named, but firmware is switched off",
            path=("firmware_packages",),
            allowed="firmware = true, or no firmware packages",
        )
    if base.archive_sha256 and not base.archive:
        yield Fault(
            code="archive-missing",
            message="a checksum is given, but no archive",
            path=("archive_sha256",),
            allowed="archive: the path of the base archive on the live medium",
        )
    if base.more_sources and not base.source:
        yield Fault(
            code="source-missing",
            message="further sources need a main one",
            path=("more_sources",),
            allowed="source: the address of the main package source",
        )
    yield from _names(base, context)
    yield from _microcode(base, context)
    yield from _room(base, context)
    yield from _loaders(base, context)
    yield from _trim(base, context)


def _names(base: Base, context: Context) -> Iterable[Fault]:
    family = chosen(base, context)
    named: list[tuple[tuple[str | int, ...], str]] = [(("kernel",), base.kernel)] if base.kernel else []
    named += [(("packages", index), name) for index, name in enumerate(base.packages)]
    named += [(("firmware_packages", index), name) for index, name in enumerate(base.firmware_packages)]
    for path, name in named:
        if not re.fullmatch(family.package_name, name):
            yield Fault(
                code="bad-package-name",
                message="this is not the name of a package",
                path=path,
                found=shown(name),
                allowed=family.package_name_words,
            )


def _loaders(base: Base, context: Context) -> Iterable[Fault]:
    """A loader that comes as a package of its own, where the EFI system partition is another system's, too."""
    esp = context.fact(Layout).esp if context.has(Layout) else None
    writes = chosen(base, context).writes_esp if esp and not esp.new else {}
    for index, name in enumerate(base.packages):
        if name in writes:
            yield Fault(
                code="package-writes-esp",
                message=f"{name} writes into {writes[name]} of the EFI system partition when it is installed",
                path=("packages", index),
                found=shown(name),
                allowed="packages that do not",
                notes=("The bootloader section asks for what its loader needs, and looks after the files of others.",),
            )


def _microcode(base: Base, context: Context) -> Iterable[Fault]:
    known = microcode_vendor(base, context) or context.machine.architecture != "amd64"
    if base.microcode == "auto" and not known:
        yield Fault(
            code="microcode-unknown",
            message="the processor's maker is not known, so no microcode is installed",
            path=("microcode",),
            found=shown(base.microcode),
            allowed="intel, amd or none, or a survey that tells",
            warning=True,
        )


def _room(base: Base, context: Context) -> Iterable[Fault]:
    if not context.has(Layout):
        return
    layout = context.fact(Layout)
    root, needed = layout.covering("/"), chosen(base, context).room_mib * MIB
    have = root.size * layout.sector_size if root else 0
    if root and have < needed:
        yield Fault(
            code="root-too-small",
            message="the root partition has no room for a usual base of this family",
            path=("family",),
            found=f"{in_gib(have)} on {root.name}",
            allowed=f"at least {in_gib(needed)}",
        )


def _trim(base: Base, context: Context) -> Iterable[Fault]:
    if context.survey is None or not context.has(Layout) or chosen(base, context).trims or TRIM in base.services:
        return
    layout = context.fact(Layout)
    # What is opened without `discard` (crypttab(5)) hands nothing on to the disk, whoever asks.
    open_ones = (part for part in layout.partitions if part.new and not part.mapper)
    if not any(part.filesystem in ("ext4", "xfs", "btrfs") for part in open_ones):
        return
    serial = layout.serial
    if any(disk.serial == serial and not disk.rotational for disk in context.survey.disks):
        yield Fault(
            code="no-trim",
            message="the disk is solid-state, and nothing will tell it which blocks are free",
            path=("services",),
            allowed=f'services = ["{TRIM}"]',
            warning=True,
        )
