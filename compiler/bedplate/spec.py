"""The meaning of a machine spec: a frame and one typed section per step, frozen.

Made only by `bedplate.reading.validation`.
"""

from collections.abc import Mapping
from typing import Literal

from attrs import field, frozen

from bedplate.schema import Keywords, key, table

FORMAT = 1
"""Version of the frame."""


@table
class Machine:
    """The machine this spec is for."""

    name: str = key(
        "A host name label (RFC 1123) in lower case: 1 to 63 letters, digits and hyphens, a letter first, no "
        "hyphen last. A person types it to confirm the installation.",
        pattern="^[a-z]([a-z0-9-]{0,61}[a-z0-9])?$",
    )
    architecture: Literal["amd64", "arm64"] = key(
        "Architecture of the processor, as the packages name it.", default="amd64"
    )
    firmware: Literal["uefi"] = key("Kind of firmware the machine starts with.", default="uefi")
    survey: str | None = key(
        "File name of the machine's survey, relative to the file that names it: one line, no control characters.",
        minLength=1,
        default=None,
    )
    generation: int = key(
        "Takes part in every derived UUID. Raise it to install this machine anew on purpose.",
        minimum=1,
        maximum=999999,
        default=1,
    )
    notes: str = key(
        "Anything the person at the bench should know: one line, no control characters.",
        pattern=r"^[^\u0000-\u001f\u007f-\u009f\u2028\u2029]*$",
        maxLength=1000,
        default="",
    )


@table(title="Machine spec")
class Frame:
    """What one machine shall be: this frame and one table for each step."""

    format: int = key("Version of the spec's shape: 1.", const=FORMAT)
    extends: str | tuple[str, ...] = key(
        "A file, or several, that this spec is laid over. Tables merge deep, arrays of tables by their name, other "
        "values replace; of several files, a later one is laid over the earlier ones. Names are relative to this file.",
        pattern=None,
        minLength=1,
        minItems=1,
        items=Keywords(title="File", description="A file name, relative to this file.", pattern=None, minLength=1),
        default=(),
    )
    machine: Machine


@frozen(kw_only=True)
class Spec:
    """A checked spec. `sections` maps a section's name to its step's model, in the order of the spec."""

    machine: Machine
    sections: Mapping[str, object] = field(hash=False)
