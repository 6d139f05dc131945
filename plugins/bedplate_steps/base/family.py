"""What this step asks of a package family. Enters: the section. Leaves: package names, operations and checks.

The value of `PackageFamily` makes the word for the point `base.family`; what further steps ask of a family, it brings
as further extensions of that word, one frozen type for each concern. Where a package name comes from stands beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from attrs import field, frozen

from bedplate.actions import Argv, Call, Check, Operation
from bedplate.faults import Fault
from bedplate.hookspecs import Context
from bedplate_steps.base.model import Base

Names = tuple[str, ...]


@frozen(kw_only=True)
class PackageFamily:
    """What sets one package family apart. All callables are pure."""

    tools: Names
    """Commands the live medium must have for the package transaction."""
    package_name: str
    """A regular expression that the name of a package fits whole: anything else the tool might read as an order."""
    package_name_words: str
    """The same in words."""
    packages: Mapping[str, Names] = field(hash=False)
    """From a generic need to package names, the same on every architecture."""
    by_architecture: Mapping[str, Mapping[str, Names]] = field(hash=False)
    """The same for `amd64` and `arm64`, where the names differ."""
    microcode: Mapping[str, Names] = field(hash=False)
    """Package names by CPU vendor, `intel` and `amd`."""
    firmware_by_driver: Mapping[str, Names] = field(factory=dict, hash=False)
    """Firmware packages beside the general set, by how the name of a network card's driver begins."""
    writes_esp: Mapping[str, str] = field(factory=dict, hash=False)
    """Packages whose installation writes on the EFI system partition by itself, and where: from name to folder."""
    trims: bool = False
    """Whether its packages themselves enable the timer that tells a solid-state disk which blocks are free."""
    rebuild_initramfs: Argv
    """Command in the target that builds the initramfs of every installed kernel."""
    room_mib: int
    """MiB the base takes, firmware included (common practice, no source; rounded up)."""
    prepare: Callable[[Base], Operation]
    """Makes the empty target ready: a minimal system, or the folders a transaction from outside wants."""
    install: Callable[[Base], Operation]
    """The one transaction for the gathered packages: `Gathered("package")` stands for their names."""
    installed: Check
    """Proof: every gathered package is installed, as the family's own data base says."""
    sources: Callable[[Base], tuple[tuple[Operation, ...], tuple[Check, ...]]]
    """The target's own list of package sources, and the proof of it."""
    sources_first: bool = False
    """Whether that list must stand before the transaction, since the transaction runs inside the target."""
    guards: Callable[[Base], tuple[Check, ...]]
    """What must hold before the first write: source reachable, keys there, tool there."""
    offers: Callable[[Base], tuple[Check, ...]] = lambda base: ()
    """What can be said of index, keys and names before the first write; `Gathered("package")` stands for the names."""
    check: Callable[[Base], Iterable[Fault]]
    """Faults of the section that only this family knows; paths relative to the section."""

    def table(self, architecture: str) -> dict[str, Names]:
        """Need to package names for `amd64` or `arm64`."""
        return {**self.packages, **self.by_architecture[architecture]}

    def firmware_for(self, driver: str) -> Names:
        """Packages a network card with that driver needs beside the general set; the longest name that fits counts."""
        fits = sorted((name for name in self.firmware_by_driver if driver.startswith(name)), key=len)
        return self.firmware_by_driver[fits[-1]] if fits else ()


@frozen(kw_only=True)
class PackageChanges:
    """Packages that come and go on an installed machine, by the family's own tool: verbs of the runtime, each followed
    by names of packages, and the same for a person."""

    add: str
    """Installs them, after `yes` or `no` for what they recommend; notes those that were not there before."""
    take_back: str
    """Removes those that `add` has noted."""
    drop: str
    """Removes them, with what only they had brought along."""
    known: str
    """The machine's lists know them all."""
    there: str
    """All are installed, and whole."""
    gone: str
    """None is installed."""
    can_go: str = ""
    """After their number: they can go, and nothing of what follows them would go too. Empty: the tool itself refuses to
    break what was asked for by name."""
    add_by_hand: str
    drop_by_hand: str
    list_by_hand: str
    """Shows their versions."""
    installed_by_hand: str = "an installed version"
    """What that shows of a package that is there."""


def chosen(base: Base, context: Context) -> PackageFamily:
    """The family the section names."""
    return context.extensions(PackageFamily)[base.family]


def reachable(verb: str, source: str, *words: str, by_hand: tuple[str, ...] = ()) -> tuple[Check, ...]:
    """The package source answers: tried early without looking at certificates, since the live clock may still be
    wrong then, and right before the transaction with them. `source` goes to the verb's standard input; `by_hand`
    tries it with certificates."""
    otherwise = "Connect the machine, or name another source in the spec; a proxy is set with http_proxy."
    return tuple(
        Check(
            says=says,
            test=Call(verb=verb, args=(trust, *words), stdin=(source,), by_hand=by_hand),
            otherwise=otherwise,
            early=early,
        )
        for says, trust, early in (
            ("The package source answers", "any", True),
            ("The package source answers and its certificate is good", "trusted", False),
        )
    )
