"""The `[base]` section: whose packages, from where, and which."""

from typing import Literal

from bedplate.schema import CONTROL, Keywords, key, table

ADDRESS = Keywords(pattern=r"^(https?|file)://[A-Za-z0-9._~:/@%+=,$\[\]-]+$", maxLength=1024)
PATH = Keywords(pattern=f"^/[^{CONTROL}]*$", maxLength=1024)
PACKAGE = Keywords(
    title="Package", description="Name of a package.", pattern="^[A-Za-z0-9][A-Za-z0-9+._-]*$", maxLength=128
)
WORD = Keywords(
    title="Word", description="One name without blanks.", pattern="^[A-Za-z0-9][A-Za-z0-9_./-]*$", maxLength=64
)


@table
class Source:
    """One further package source."""

    name: str = key(
        "Names the source; for pacman and dnf the repository.", pattern="^[A-Za-z0-9][A-Za-z0-9_-]*$", maxLength=64
    )
    url: str = key("Address of the source.", ADDRESS, title="Address")
    release: str = key(
        "For apt: the suite there, if it is not the base's own release.",
        title="Suite",
        pattern="^[A-Za-z0-9][A-Za-z0-9._/-]*$",
        maxLength=64,
        default="",
    )
    components: tuple[str, ...] = key(
        "For apt: the components there.", minItems=1, uniqueItems=True, items=WORD, default=()
    )


@table(title="Base system")
class Base:
    """Whose packages, from where, and which."""

    family: str = key("The package manager of the system to install.", title="Package family")
    release: str = key(
        "The release to install as the package source spells it: a suite for apt, a version for dnf. pacman has none.",
        pattern="^[A-Za-z0-9][A-Za-z0-9._-]*$",
        maxLength=64,
        default="",
    )
    source: str = key(
        "Address of the package source. Left out: what the live medium itself is configured to use. For pacman, "
        "$repo and $arch stand for repository and architecture.",
        ADDRESS,
        title="Package source",
        default="",
    )
    more_sources: tuple[Source, ...] = key(
        "Package sources beside the main one, such as the one for security updates.",
        title="Further sources",
        default=(),
    )
    components: tuple[str, ...] = key(
        "For apt the components, for pacman the repositories to use. Left out: the family's usual ones.",
        minItems=1,
        uniqueItems=True,
        items=WORD,
        default=(),
    )
    keyring: str = key(
        "Path on the live medium of the keys the source is signed with. Left out: the medium's own keys.",
        PATH,
        default="",
    )
    archive: str = key(
        "Path on the live medium of a whole base system packed with tar. Nothing is fetched then.",
        PATH,
        title="Base archive",
        default="",
    )
    archive_sha256: str = key(
        "SHA-256 of the base archive, hexadecimal.",
        title="Checksum of the archive",
        pattern="^[0-9a-f]{64}$",
        default="",
    )
    kernel: str = key(
        "Package name of the kernel. Left out: the family's usual one.", PACKAGE, title="Kernel package", default=""
    )
    firmware: bool = key("Whether firmware for adapters is installed.", default=True)
    firmware_packages: tuple[str, ...] = key(
        "Firmware packages to install instead of the family's general set.", uniqueItems=True, items=PACKAGE, default=()
    )
    microcode: Literal["auto", "intel", "amd", "none"] = key(
        "Processor microcode to install: auto takes it from the survey.", default="auto"
    )
    packages: tuple[str, ...] = key(
        "Packages to install beside what the steps need.",
        title="Further packages",
        uniqueItems=True,
        items=PACKAGE,
        default=(),
    )
    recommended: bool = key(
        "Whether packages bring along what they recommend (apt) or weakly depend on (dnf).",
        title="Recommended packages",
        default=True,
    )
    services: tuple[str, ...] = key(
        "Units to enable in the target, with their suffix.",
        uniqueItems=True,
        items=Keywords(
            title="Unit",
            description="Name of a unit.",
            pattern=r"^[A-Za-z0-9:_.@][A-Za-z0-9:_.@\\-]*\.(service|socket|timer|path|target|mount|automount|swap)$",
            maxLength=255,
        ),
        default=(),
    )
