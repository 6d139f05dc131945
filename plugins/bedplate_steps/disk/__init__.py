"""The disk step: which disk, what is kept on it, what is made, and where it is mounted.

Enters: the `[disk]` section and the survey. Leaves: the `Layout` other steps ask for, and the actions from the backup
in the other system to the closing of the target.

    [disk]
    serial = "SM-NVME-0217"            # or by_id, or model and size; never a name such as sda
    table = "keep"                     # "new": everything on the disk is lost

    [[disk.keep]]                      # every partition the survey found
    name = "factory-esp"
    partition = "86CC7105-853D-4D39-AA11-593635FA098E"
    role = "esp"
    mount = "/boot/efi"                # reused, never formatted

    [[disk.keep]]
    name = "factory-system"
    partition = "0379071F-4CA3-4CC9-895E-395DE7D95941"
    role = "system"
    shrink_to = "240GiB"               # by hand, in the other system

    [[disk.new]]
    name = "root"
    size = "rest"
    filesystem = "ext4"
    label = "kelp-root"
    mount = "/"

    [disk.other_system]
    encryption = "suspended"
    recovery_key_place = "safe in the station office"
"""

from __future__ import annotations

from bedplate.facts import Layout
from bedplate.functions import Folder
from bedplate.hookspecs import Step, hookimpl, later
from bedplate_steps.disk.emit import emit
from bedplate_steps.disk.facts import plan
from bedplate_steps.disk.model import DiskSection
from bedplate_steps.disk.validate import validate

bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The step of the `[disk]` section."""
    return [
        Step(
            section="disk",
            title="Partitions, file systems, mounts and swap of one disk",
            model=DiskSection,
            emit=emit,
            functions=Folder(__name__),
            changes=later("bedplate_steps.disk.changes:changes"),
            validate=validate,
            facts={Layout: plan},
            draft=later("bedplate_steps.disk.draft:draft"),
            draft_rank=20,
            required=True,
        )
    ]
