"""What the machine says of itself. Enters: sections architecture, memory, cpu, vendor, product, pci."""

from __future__ import annotations

import re

from bedplate.survey import SurveyedMachine
from bedplate.surveying.capture.sections import Capture
from bedplate.units import KIB

ARCHITECTURES = {"x86_64": "amd64", "aarch64": "arm64", "i686": "i386", "i586": "i386", "i386": "i386"}
"""From what uname(1) prints to the name a spec uses."""

_VENDORS = {"GenuineIntel": "intel", "AuthenticAMD": "amd"}
_MEMORY = re.compile(r"^MemTotal:\s*(\d+) kB", re.MULTILINE)
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", re.ASCII)
_PCI = re.compile(r"^0x([0-9a-f]{4})[0-9a-f]{2} 0x([0-9a-f]{4}) 0x([0-9a-f]{4})$", re.MULTILINE)


def described(capture: Capture) -> SurveyedMachine:
    """The machine's facts; what the capture does not tell stays at its default."""
    memory = _MEMORY.search(capture.text("memory"))
    return SurveyedMachine(
        architecture=ARCHITECTURES.get(capture.text("architecture").strip(), "other"),
        memory_bytes=int(memory.group(1)) * KIB if memory else 0,
        cpu_vendor=next((name for word, name in _VENDORS.items() if word in capture.text("cpu")), ""),
        vendor=one_line(capture.text("vendor")),
        product=one_line(capture.text("product")),
        pci=_controllers(capture.text("pci")),
    )


def moment(text: str) -> str:
    """`text` if it is a moment as the collector writes it (ISO 8601, UTC), else empty."""
    return text.strip() if _MOMENT.fullmatch(text.strip()) else ""


def one_line(text: str) -> str:
    """`text` with blanks and control characters between words made one blank."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _controllers(text: str) -> tuple[str, ...]:
    """Storage (PCI base class 01) and network (02) controllers, sorted."""
    found = (f"{kind} {vendor}:{device}" for kind, vendor, device in _PCI.findall(text) if kind[:2] in ("01", "02"))
    return tuple(sorted(found))
