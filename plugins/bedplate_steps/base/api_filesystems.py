"""The API file systems of the target: mounted before package scripts run, unmounted when all work there is done.

Enters: nothing. Leaves: two actions. The mounts are single ones (no recursive bind), so that taking them down again
cannot fail half way or reach into the medium's own mounts.
"""

from __future__ import annotations

from bedplate import conditions
from bedplate.actions import TARGET, Action, Call, Milestone, Stage, WayBack

_MOUNT = (
    f"mount -t proc proc {TARGET}/proc",
    f"mount -t sysfs -o ro sys {TARGET}/sys",
    f"mount -t efivarfs efivarfs {TARGET}/sys/firmware/efi/efivars",
    f"mount --bind /dev {TARGET}/dev && mount --make-private {TARGET}/dev",
    f"mount -t devpts devpts {TARGET}/dev/pts",
    f"mount -t tmpfs -o mode=0755 run {TARGET}/run",
)
_UNMOUNT = (
    f"umount {TARGET}/run {TARGET}/dev/pts {TARGET}/dev {TARGET}/sys/firmware/efi/efivars {TARGET}/sys {TARGET}/proc",
)


def bind() -> Action:
    """Mount proc, sys, dev, run and the EFI variables in the target."""
    return Action(
        id="base.api",
        title="Mount proc, sys, dev and run in the target",
        reason="Package scripts, the initramfs and the boot loader look at the machine through them.",
        stage=Stage.LIVE,
        operations=(Call(verb="base/api-mount", by_hand=_MOUNT),),
        needs=("base:unpacked", "file:/etc/machine-id", "tool:mount", "tool:umount"),
        gives=(Milestone.API_MOUNTED,),
        proofs=(conditions.holds("proc, sys, dev and run are mounted in the target", "base/api-mounted", early=False),),
        way_back=WayBack(
            note="They are unmounted again.", operations=(Call(verb="base/api-unmount", by_hand=_UNMOUNT),)
        ),
        transient=True,
    )


def unbind() -> Action:
    """Unmount them again when everything in the target is done."""
    return Action(
        id="base.api-off",
        title="Unmount proc, sys, dev and run from the target",
        reason="The target can only be unmounted cleanly when nothing is mounted below it.",
        stage=Stage.TARGET,
        operations=(Call(verb="base/api-unmount", by_hand=_UNMOUNT),),
        needs=(Milestone.API_MOUNTED, "stage:target"),
        gives=(Milestone.API_UNMOUNTED,),
        proofs=(conditions.holds("Nothing of it is mounted any more", "base/api-unmounted", early=False),),
        transient=True,
        trouble=f"Something still runs in the target: `fuser -vm {TARGET}` names it. End it, then unmount again.",
    )
