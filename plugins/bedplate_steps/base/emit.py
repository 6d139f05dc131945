"""The actions of the base: an empty, mounted root becomes a system that others can build on.

Enters: section and context. Leaves: actions in the order a person would do them.
"""

from __future__ import annotations

from collections.abc import Iterable

from bedplate import build, conditions
from bedplate.actions import TARGET, Action, Argv, Call, Check, InTarget, Milestone, Operation, Run, Stage
from bedplate.facts import Layout
from bedplate.hookspecs import Context
from bedplate_steps.base import archive
from bedplate_steps.base.api_filesystems import bind, unbind
from bedplate_steps.base.facts import family_of
from bedplate_steps.base.family import PackageFamily, chosen
from bedplate_steps.base.model import Base

_KERNEL = (
    f"find {TARGET}/usr/lib/modules -maxdepth 2 -name modules.dep -size +0",
    f"find {TARGET}/usr/lib/modules {TARGET}/boot -maxdepth 2 -name 'vmlinuz*' -size +0",
)
_MODES = (
    "every '^[0-7]*[0145][0145]:0$' "
    f"stat -c %a:%u {' '.join(TARGET + one for one in ('', '/etc', '/usr', '/var', '/root'))}",
    f"stat -c %a:%u {TARGET}/tmp | grep -x 1777:0",
)

GOES_WITH_ROOT = build.goes_with_root(
    "It lies in the new root file system only and goes with it when that partition is removed again."
)

RESUME = (
    "Run the script again: it goes on, or empties what cannot be mended, on the new file system alone, and begins "
    "anew. "
    "By hand: mend the cause and repeat the commands; where the base itself is half made, unmount the target, make its "
    "root file system again as before, mount it, and begin this again."
)


def emit(base: Base, context: Context) -> Iterable[Action]:
    """All actions of the section."""
    family = chosen(base, context)
    layout = context.fact(Layout)
    yield _look(base, family, context.machine.architecture)
    yield _prepare(base, family, layout)
    yield _machine_id()
    yield bind()
    sources = tuple(_sources(base, family))
    if family.sources_first:
        yield from sources
    yield _packages(base, family, context, tuple(token for action in sources for token in action.gives))
    if base.archive:
        yield _host_keys()
    if not family.sources_first:
        yield from sources
    if base.services:
        yield _services(base)
    yield unbind()


def mounts(layout: Layout) -> tuple[tuple[str, str], ...]:
    """Every planned mount as (mount point, device), parents before children."""
    found = {part.mount: part.content_node for part in layout.partitions if part.mount}
    for part in layout.partitions:
        found.update({volume.mount: part.content_node for volume in part.subvolumes if volume.mount})
    return tuple(sorted(found.items()))


def _mount_points(layout: Layout) -> Argv:
    return tuple(InTarget(point) for point, _ in mounts(layout) if point != "/")


def _mounted(layout: Layout) -> Iterable[Check]:
    for point, node in mounts(layout):
        yield conditions.holds(
            f"{point} of the target is {node}",
            "base/mounted-from",
            InTarget(point),
            _where(layout, node),
            early=False,
            by_hand=(f"on {TARGET}{point.rstrip('/')} {node}",),
            otherwise="Mount it as planned first: without it the files would land in the medium's memory.",
        )


def _where(layout: Layout, node: str) -> str:
    """The GUID of the partition of our disk that `node` is; an opened container is its own name."""
    return next((part.uuid for part in layout.partitions if part.node == node), node)


def _look(base: Base, family: PackageFamily, architecture: str) -> Action:
    guards = (_userland(architecture), *_source_guards(base, family))
    online = () if base.archive else (Milestone.NETWORK_UP, "clock:live")
    return Action(
        id="base.look",
        title="Check that the base archive is whole" if base.archive else "Check that the base can be made from here",
        reason="What is missing for the new system shall show before the disk is touched.",
        stage=Stage.LIVE,
        operations=(),
        needs=(*online, *(f"tool:{tool}" for tool in _tools(base, family))),
        gives=("base:possible",),
        guards=guards,
        changes=False,
    )


def _userland(architecture: str) -> Check:
    kernel = "x86_64" if architecture == "amd64" else "aarch64"
    return conditions.holds(
        f"The live medium is one for {architecture}, its programs too",
        "base/userland-is",
        architecture,
        by_hand=(f'[ "$(uname -m)" = {kernel} ] && [ "$(getconf LONG_BIT)" = 64 ] && echo yes',),
        otherwise=f"Start a live medium for {architecture}: what it installs has to run on it.",
    )


def _source_guards(base: Base, family: PackageFamily) -> tuple[Check, ...]:
    return archive.guards(base) if base.archive else (*_keyring(base), *family.guards(base))


def _tools(base: Base, family: PackageFamily) -> tuple[str, ...]:
    return archive.tools(base) if base.archive else family.tools


def _prepare(base: Base, family: PackageFamily, layout: Layout) -> Action:
    points = _mount_points(layout)
    fill = archive.unpack(base) if base.archive else family.prepare(base)
    empty = conditions.holds(
        "The target is empty, or holds a base that was interrupted",
        "base/target-empty",
        *points,
        early=False,
        by_hand=(f"every '^d' find {TARGET} -xdev -printf '%y\\n'",),
        otherwise="Another system or data is there: look at it before you format it.",
    )
    room = conditions.holds(
        "The target has room for the base",
        "base/room-in",
        InTarget("/"),
        str(family.room_mib),
        early=False,
        by_hand=(f"df -BM --output=avail {TARGET} | awk '$1 + 0 >= {family.room_mib}'",),
        otherwise="Ask for a larger root partition in the spec.",
    )
    begun = conditions.holds("The target is not half made", "base/base-whole", early=False)
    return Action(
        id="base.unpack",
        title="Unpack the base archive" if base.archive else "Make the target ready for packages",
        reason="Packages need a minimal root to be installed into; a half-made one must not be built on.",
        stage=Stage.LIVE,
        operations=(
            Call(verb="base/base-begin", args=points, by_hand=(f"ls -A {TARGET}",)),
            fill,
            Call(verb="base/base-done", by_hand=("sync",)),
        ),
        needs=(
            "base:possible",
            "target:mounted",
            "clock:live",
            *(() if base.archive else (Milestone.NETWORK_UP,)),
            *(f"tool:{tool}" for tool in _tools(base, family)),
        ),
        gives=("base:unpacked",),
        guards=(*_source_guards(base, family), *_mounted(layout), empty, room),
        proofs=(begun,),
        way_back=GOES_WITH_ROOT,
        stamped=True,
        expected=f"{TARGET} holds etc, usr, var and the planned mount points.",
        trouble=f"The tool's own message says what it could not fetch or verify. {RESUME}",
    )


def _keyring(base: Base) -> Iterable[Check]:
    if base.keyring:
        yield conditions.succeeds(
            f"The keyring {base.keyring} is on the medium",
            "test",
            "-s",
            base.keyring,
            otherwise="Copy it to the medium; it must have come by another way than the packages themselves.",
        )


def _machine_id() -> Action:
    return Action(
        id="base.machine-id",
        title="Give the machine an id of its own",
        reason="Two machines with one machine-id get the same address from DHCP and fight over it.",
        stage=Stage.LIVE,
        operations=(Call(verb="base/machine-id", by_hand=(f"systemd-machine-id-setup --root={TARGET}",)),),
        needs=("base:unpacked",),
        gives=("file:/etc/machine-id",),
        proofs=(conditions.holds("/etc/machine-id is the machine's own", "base/machine-id-own", early=False),),
        way_back=GOES_WITH_ROOT,
    )


def _packages(base: Base, family: PackageFamily, context: Context, sources: tuple[str, ...]) -> Action:
    known = family_of(base, context)
    wanted = known.tokens("base", "kernel", "initramfs", "firmware", "microcode")
    operations: tuple[Operation, ...] = () if base.archive else (family.install(base),)
    return Action(
        id="base.packages",
        title="Check the packages of the base archive" if base.archive else "Install the packages",
        reason="Everything the other steps need comes in one transaction, so that it fits together.",
        stage=Stage.LIVE,
        operations=operations,
        needs=(
            "base:unpacked",
            Milestone.API_MOUNTED,
            "file:/etc/machine-id",
            *sources,
            *wanted,
            *(f"package:{name}" for name in base.packages),
        ),
        gives=("base", "kernel:installed"),
        guards=() if base.archive else (*family.offers(base), *family.guards(base)[-1:]),
        proofs=(
            family.installed,
            conditions.holds(
                "The kernel and its modules are there", "base/kernel-present", early=False, by_hand=_KERNEL
            ),
            conditions.holds("The root folders have sane modes", "base/tree-modes", early=False, by_hand=_MODES),
        ),
        way_back=GOES_WITH_ROOT,
        changes=not base.archive,
        gathers="package",
        expected="The package tool ends without an error.",
        trouble=_trouble(base),
    )


def _trouble(base: Base) -> str:
    if base.archive:
        return "The archive lacks the packages named: pack it anew with them, or take them from a package source."
    return "A name that is not known or a file that cannot be fetched is named in the tool's last lines. " + RESUME


def _host_keys() -> Action:
    return Action(
        id="base.host-keys",
        title="Make the machine's own SSH host keys",
        reason="The archive's keys were taken out: machines with one key cannot be told apart.",
        stage=Stage.TARGET,
        operations=(
            Call(
                verb="base/host-keys",
                by_hand=(f"[ ! -x {TARGET}/usr/bin/ssh-keygen ] || chroot {TARGET} ssh-keygen -A",),
            ),
        ),
        needs=("base", Milestone.API_MOUNTED),
        proofs=(
            conditions.holds("The SSH server, if there is one, has host keys", "base/host-keys-there", early=False),
        ),
        stamped=True,
        way_back=GOES_WITH_ROOT,
    )


def _sources(base: Base, family: PackageFamily) -> Iterable[Action]:
    operations, proofs = family.sources(base)
    if operations and (base.source or not base.archive):
        yield Action(
            id="base.sources",
            title="Set the target's package sources",
            reason="The machine gets its updates from here.",
            stage=Stage.LIVE if family.sources_first else Stage.TARGET,
            operations=operations,
            needs=("base:unpacked" if family.sources_first else "base", "tool:install"),
            gives=("base:sources",) if family.sources_first else (),
            proofs=proofs,
            way_back=GOES_WITH_ROOT,
        )


def _services(base: Base) -> Action:
    return Action(
        id="base.services",
        title="Enable the services the spec names",
        reason="They start by themselves from the first boot on.",
        stage=Stage.TARGET,
        operations=tuple(Run(argv=("systemctl", "--root", InTarget("/"), "enable", unit)) for unit in base.services),
        needs=("base", "tool:systemctl"),
        gives=tuple(f"service:{unit}" for unit in base.services),
        proofs=tuple(conditions.service_enabled(unit) for unit in base.services),
        way_back=build.goes_with_root(
            "The services are disabled again.",
            *tuple(Run(argv=("systemctl", "--root", InTarget("/"), "disable", unit)) for unit in base.services),
        ),
    )
