"""The `[base]` section as a typed value. Enters: checked TOML. Leaves: a frozen `Base`."""

from __future__ import annotations

from attrs import frozen


@frozen(kw_only=True)
class Source:
    """A further package source beside the main one."""

    name: str
    """Names the source's own file or repository in the target."""
    url: str
    release: str = ""
    """For apt: the suite there, if it is not the base's own release."""
    components: tuple[str, ...] = ()


@frozen(kw_only=True)
class Base:
    """The base system: whose packages, from where, and which."""

    family: str
    """`apt`, `pacman` or `dnf`."""
    release: str = ""
    """The release to install: a suite for apt, a version for dnf; pacman has none."""
    source: str = ""
    """Address of the package source; empty: what the live medium itself is configured to use."""
    more_sources: tuple[Source, ...] = ()
    components: tuple[str, ...] = ()
    """For apt: components; for pacman: repositories; empty: the family's usual ones."""
    keyring: str = ""
    """File on the live medium with the keys the source is signed with; empty: the medium's own."""
    archive: str = ""
    """Path on the live medium of a base system packed with tar; nothing is fetched then."""
    archive_sha256: str = ""
    kernel: str = ""
    """Package name of the kernel; empty: the family's usual one."""
    firmware: bool = True
    firmware_packages: tuple[str, ...] = ()
    """Firmware packages instead of the family's general set."""
    microcode: str = "auto"
    """`auto` (by the survey's CPU), `intel`, `amd` or `none`."""
    packages: tuple[str, ...] = ()
    recommended: bool = True
    """Whether packages bring along what they recommend (apt) or weakly depend on (dnf)."""
    services: tuple[str, ...] = ()
    """Units to enable, with their suffix."""
