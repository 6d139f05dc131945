"""The base step: whose packages, from where, and which.

Enters: `[base]`. Leaves: actions that turn the empty, mounted root into a system with all packages any step needs, and
the `Family` fact.

    [base]
    family = "apt"
    release = "bookworm"
    source = "https://mirror.example/debian"    # left out: what the live medium is configured to use
    components = ["main", "non-free-firmware"]
    firmware = true
    microcode = "auto"
    packages = ["vim", "less"]
    services = ["fstrim.timer"]
"""

from __future__ import annotations

from bedplate.facts import Family
from bedplate.functions import Folder
from bedplate.hookspecs import Step, hookimpl, later
from bedplate_steps.base.emit import emit
from bedplate_steps.base.facts import family_of
from bedplate_steps.base.family import PackageFamily
from bedplate_steps.base.model import Base
from bedplate_steps.base.validate import validate

__all__ = ["bedplate_contract", "bedplate_steps"]


bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The base step."""
    return [
        Step(
            section="base",
            title="Base system: package family, source, kernel, firmware, packages, services",
            model=Base,
            emit=emit,
            functions=Folder(__name__),
            changes=later("bedplate_steps.base.changes:changes"),
            validate=validate,
            facts={Family: family_of},
            draft=later("bedplate_steps.base.draft:draft"),
            draft_rank=10,
            required=True,
            points={"family": PackageFamily},
        )
    ]
