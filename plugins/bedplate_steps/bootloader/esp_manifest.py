r"""What a loader's actions put on the EFI system partition or on $BOOT, noted by name and SHA-256, so that the way back
takes that and nothing else. Enters: names. Leaves: operations.

A plan that is cut short is taken back as well: before the first file comes, a mark says that they come now.
"""

from __future__ import annotations

import shlex

from attrs import frozen

from bedplate.actions import Call, InTarget, Operation
from bedplate_steps.bootloader.plan import Plan

STATE = "/var/lib/bedplate/boot"
"""Folder of the target with the saved boot entries, the list of foreign files, and what was noted."""


@frozen(kw_only=True)
class Noted:
    """The files of one action in one place."""

    key: str
    """One for each action and place."""
    base: str
    """Where the partition is mounted in the target."""
    ours: bool
    """Whether the partition is a new one of this plan; on a kept one, what was listed before is somebody else's."""
    folders: tuple[str, ...]
    """Folders that the action makes, relative to the base."""
    patterns: tuple[str, ...]
    """What the action's files are called, relative to the base; `*` fits `/` as well."""
    comes_later: bool = False
    """Nothing but the folders is made now: what may come there by an update is looked at only when it is taken back."""

    @property
    def _words(self) -> tuple[str | InTarget, ...]:
        return self.key, InTarget(self.base), "new" if self.ours else "kept", *self.patterns

    def around(self, *work: Operation) -> tuple[Operation, ...]:
        """The work, with what has to be noted before and after it."""
        found = " -o ".join(f"-ipath {shlex.quote('./' + pattern)}" for pattern in self.patterns)
        typed = f"( cd /mnt/target{self.base} && find . -type f \\( {found} \\) -exec sha256sum {{}} + ) > {self.list}"
        return (
            Call(verb="bootloader/boot-files-begin", args=(self.key, InTarget(self.base), *self.folders)),
            *work,
            Call(verb="bootloader/boot-files-note", args=self._words, by_hand=() if self.comes_later else (typed,)),
        )

    @property
    def list(self) -> str:
        """The list of names and digests, as a person reaches it."""
        return f"/mnt/target{STATE}/ours-{self.key}.sha256"

    def back(self) -> Call:
        """The way back of it."""
        base = f"/mnt/target{self.base}"
        files = (
            f"( cd {base} && sha256sum --quiet -c {self.list} && sed 's/^[^ ]*  //' {self.list} | tr '\\n' '\\0' | "
            "xargs -0 -r rm -- ) && echo gone",
            "# If it does not say gone, a file is not what was put there: it names it. Remove the others of the list "
            "by hand, one at a time, and leave that one. A folder that is not empty stays:",
        )
        folders = (f"find {base}/{folder} -depth -type d -exec rmdir {{}} \\;" for folder in self.folders)
        return Call(
            verb="bootloader/drop-boot-files",
            args=self._words,
            by_hand=(*(() if self.comes_later else files), *folders),
        )


def on_esp(plan: Plan, key: str, folders: tuple[str, ...], patterns: tuple[str, ...]) -> Noted:
    """Files on the EFI system partition."""
    return Noted(key=key, base=plan.esp.mount, ours=plan.esp.new, folders=folders, patterns=patterns)
