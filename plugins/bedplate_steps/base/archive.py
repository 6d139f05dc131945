"""A base from a local archive: a whole system packed with tar, that lies on the live medium.

Enters: the section. Leaves: operation, guards and tools. The machine's own identity (machine-id, host keys, random
seed) is taken out again, so that two machines from one archive stay two machines.
"""

from __future__ import annotations

import shlex

from bedplate import conditions
from bedplate.actions import TARGET, Call, Check
from bedplate_steps.base.model import Base

_PACKERS = {".gz": "gzip", ".tgz": "gzip", ".xz": "xz", ".zst": "zstd", ".bz2": "bzip2"}

_OWN = (
    "/etc/machine-id",
    "/var/lib/dbus/machine-id",
    "/etc/ssh/ssh_host_*",
    "/var/lib/systemd/random-seed",
    "/var/lib/systemd/credential.secret",
)
"""Files that two machines must not share: machine-id(5), sshd(8), systemd-random-seed.service(8), systemd-creds(1)."""


def unpack(base: Base) -> Call:
    """Unpack with numeric owners and extended attributes, and take out what must be a machine's own."""
    by_hand = (
        f"tar -C {TARGET} --numeric-owner --xattrs --xattrs-include='*' -xpf {shlex.quote(base.archive)}",
        f"rm -f {' '.join(TARGET + place for place in _OWN)}",
    )
    return Call(verb="base/archive-unpack", args=(base.archive,), by_hand=by_hand)


def guards(base: Base) -> tuple[Check, ...]:
    """The archive is there and whole, and the medium's tar keeps extended attributes."""
    whole = conditions.holds(
        f"The base archive {base.archive} is whole",
        "base/archive-whole",
        base.archive,
        base.archive_sha256,
        by_hand=(f"sha256sum {shlex.quote(base.archive)} | grep -i -e {shlex.quote(base.archive_sha256)}",),
        otherwise="Copy it to the medium again, and compare its checksum with the one in the spec.",
    )
    tar = conditions.succeeds(
        "The medium's tar keeps extended attributes",
        "tar",
        "--xattrs",
        "--version",
        otherwise="Use a medium with GNU tar.",
    )
    return (whole, tar)


def tools(base: Base) -> tuple[str, ...]:
    """tar, and the packer that the archive's suffix names."""
    return ("tar", *(tool for suffix, tool in sorted(_PACKERS.items()) if base.archive.endswith(suffix)))
