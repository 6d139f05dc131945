"""The package source of the machine the bench runs on, read from its own apt configuration.

The bench never names a mirror: the live medium and the base archive use what apt on the host
is configured to use when the bench runs (apt-get(8) ``indextargets``, apt-config(8) ``dump``).
"""

from pathlib import Path

from attrs import frozen

from .tools import call

# Settings that decide whether and how an index is fetched; everything else is the host's own taste.
_CARRIED_SETTINGS = (
    "Acquire::Check-Valid-Until",
    "Acquire::Check-Date",
    "Acquire::Languages",
    "Acquire::http",
    "Acquire::https",
)
HOST_CA_BUNDLE = Path("/etc/ssl/certs/ca-certificates.crt")
"""The CA bundle of the host, where update-ca-certificates(8) keeps it on Debian."""


@frozen(kw_only=True)
class PackageSource:
    """Where packages come from: what a live medium's ``/etc/apt`` has to say."""

    suite: str
    """Code name of the release, for example the argument of mmdebstrap(1)."""
    uri: str
    """Base address of the suite's repository, without a trailing slash."""
    sources_list: str
    """Text of ``sources.list``, one-line style (sources.list(5))."""
    settings: str
    """Text of an apt.conf(5) fragment."""
    needs_ca_bundle: bool
    """True when an address is https, so that the host's CA bundle has to come along."""


def _code_name() -> str:
    lines = Path("/etc/os-release").read_text().splitlines()
    return next(line.partition("=")[2].strip('"') for line in lines if line.startswith("VERSION_CODENAME="))


def _repositories(suite: str) -> dict[tuple[str, str], list[str]]:
    """Components of every configured repository of this release, its updates and its security fixes."""
    wanted = "$(REPO_URI) $(RELEASE) $(COMPONENT)"
    listing = call(["apt-get", "indextargets", "--format", wanted, "Identifier: Packages"])
    found: dict[tuple[str, str], list[str]] = {}
    for line in listing.splitlines():
        uri, release, component = line.split()
        components = found.setdefault((uri.rstrip("/"), release), [])
        if component not in components and release.partition("-")[0] == suite:
            components.append(component)
    return {key: components for key, components in found.items() if components}


def _settings() -> str:
    lines = call(["apt-config", "dump"]).splitlines()
    kept = [line for line in lines if line.startswith(_CARRIED_SETTINGS) and not line.endswith(' "";')]
    return "".join(f"{line}\n" for line in kept)


def host_package_source() -> PackageSource:
    """Read the host's package source; StopIteration or ToolError where it has none."""
    suite = _code_name()
    repositories = _repositories(suite)
    uri = next(uri for uri, release in repositories if release == suite)
    lines = [f"deb {uri} {release} {' '.join(parts)}\n" for (uri, release), parts in repositories.items()]
    return PackageSource(
        suite=suite,
        uri=uri,
        sources_list="".join(lines),
        settings=_settings(),
        needs_ca_bundle=any(address.startswith("https:") for address, _ in repositories),
    )
