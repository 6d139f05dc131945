"""The meaning of a machine spec: a frame and one typed section per step, frozen.

Made only by `bedplate.reading.validation`.
"""

from __future__ import annotations

from collections.abc import Mapping

from attrs import field, frozen

FORMAT = 1
"""Version of the frame."""


@frozen(kw_only=True)
class Machine:
    """The `[machine]` table: what the spec is for."""

    name: str
    """RFC 1123 label; also what a person types to confirm."""
    architecture: str = "amd64"
    firmware: str = "uefi"
    survey: str | None = None
    """Path of the survey file, relative to the spec."""
    generation: int = 1
    """Takes part in every derived UUID: raise it to install anew on purpose."""
    notes: str = ""


@frozen(kw_only=True)
class Spec:
    """A checked spec. `sections` maps a section's name to its step's model, in the order of the spec."""

    machine: Machine
    sections: Mapping[str, object] = field(hash=False)
