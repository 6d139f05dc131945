"""What the base tells other steps: the package family with its names settled. Enters: section. Leaves: `Family`."""

from __future__ import annotations

from bedplate.facts import Family
from bedplate.hookspecs import Context
from bedplate_steps.base.family import PackageFamily, chosen
from bedplate_steps.base.model import Base


def family_of(base: Base, context: Context) -> Family:
    """The family as other steps see it: kernel, firmware and microcode as the section and the survey settle them."""
    family = chosen(base, context)
    table = family.table(context.machine.architecture)
    if base.kernel:
        table["kernel"] = (base.kernel,)
    table["firmware"] = _firmware(base, family, context) if base.firmware else ()
    table["microcode"] = family.microcode.get(microcode_vendor(base, context), ())
    return Family(
        name=base.family,
        architecture=context.machine.architecture,
        packages=table,
        rebuild_initramfs=family.rebuild_initramfs,
        writes_esp=family.writes_esp,
        from_archive=bool(base.archive),
        source=base.source,
    )


def _firmware(base: Base, family: PackageFamily, context: Context) -> tuple[str, ...]:
    """What the section names; else the general set, and what the survey's network cards need beside it."""
    if base.firmware_packages:
        return base.firmware_packages
    general = family.table(context.machine.architecture)["firmware"]
    drivers = [link.driver for link in context.survey.links] if context.survey else []
    return tuple(dict.fromkeys((*general, *(name for driver in drivers for name in family.firmware_for(driver)))))


def microcode_vendor(base: Base, context: Context) -> str:
    """`intel`, `amd`, or empty: none wanted, none known, or a processor that takes none this way."""
    if context.machine.architecture != "amd64" or base.microcode == "none":
        return ""
    if base.microcode != "auto":
        return base.microcode
    return context.survey.machine.cpu_vendor if context.survey else ""
