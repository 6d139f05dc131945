"""The actions of the `[network]` section. Enters: a checked section. Leaves: actions in the order of the work."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import quote

from bedplate import build
from bedplate.actions import (
    Action,
    Call,
    Check,
    InTarget,
    Link,
    Milestone,
    Operation,
    Run,
    Secret,
    SecretRef,
    Stage,
    WayBack,
    WriteFile,
)
from bedplate.conditions import file_is, file_mode_is, holds, link_is, outputs, service_enabled, succeeds
from bedplate.facts import Family
from bedplate.hookspecs import Context
from bedplate_steps.network import wpa_supplicant
from bedplate_steps.network.addresses import static_addresses
from bedplate_steps.network.facts import full_name, host_name
from bedplate_steps.network.family import OwnName
from bedplate_steps.network.managers import WIFI_NEEDS, Manager, chosen, enabled_units, masked_units, needs_of, settled
from bedplate_steps.network.model import Network, NetworkLink
from bedplate_steps.network.wifi import country_file, secret

STUB = "../run/systemd/resolve/stub-resolv.conf"
"""Where systemd-resolved keeps the file that programs read (systemd-resolved(8)), as seen from /etc."""

_RESOLV = "/etc/resolv.conf"
"""Of the live medium."""

_BY_HAND = (
    "Cable: plug it in, then look at `ip address` for an address. Wi-Fi: join with what the medium has, "
    "`iwctl station WLAN connect NAME` or `nmcli --ask device wifi connect NAME`. Fixed addresses only: "
    "`ip address add ADDRESS/LENGTH dev CARD`, `ip link set CARD up`, `ip route add default via GATEWAY`, and the "
    "line `nameserver ADDRESS` in `/etc/resolv.conf`. Then look again, or run the script again."
)


def emit(section: Network, context: Context) -> Iterable[Action]:
    """Every action of the section."""
    if not context.fact(Family).from_archive:
        yield _live()
    yield _host_name(section, context)
    yield _hosts(section, context)
    manager = chosen(section, context)
    if manager is None:
        yield _no_resolver()
        return
    section = settled(section, manager)
    for link in section.links:
        yield _link(link, section, manager, context)
    settings = (*manager.settings(section), *country_file(section))
    if settings:
        yield _settings(settings)
    yield _manager(section, manager, context)
    cards = tuple(link for link in section.links if link.wifi is not None and link.mac)
    if cards:
        yield _firmware(cards)
    yield _resolver()
    yield _first_boot(section, manager)


# --- the live medium -----------------------------------------------------------------------------------------------


def _live() -> Action:
    works = holds(
        "The live medium has a default route and a name server",
        "network/network-live",
        _RESOLV,
        by_hand=("ip route show default", f"grep '^nameserver' {_RESOLV}"),
        otherwise=_BY_HAND,
    )
    look = Call(verb="network/network-live", args=(_RESOLV,), by_hand=("ip route show default", f"cat {_RESOLV}"))
    return Action(
        id="network.live",
        title="Check the network of the live medium",
        reason="Packages are fetched over it.",
        stage=Stage.LIVE,
        operations=(look,),
        needs=("tool:ip",),
        gives=(Milestone.NETWORK_UP,),
        guards=(works,),
        expected="A line that begins with `default`, and one that begins with `nameserver`.",
        trouble=_BY_HAND,
        changes=False,
    )


# --- names ---------------------------------------------------------------------------------------------------------


def _host_name(section: Network, context: Context) -> Action:
    name = host_name(section, context)
    return _file_action(
        "host-name",
        f"Name the machine {name}",
        "The base carries the live medium's name, or none.",
        (WriteFile(path=InTarget("/etc/hostname"), content=(name + "\n",)),),
        audits=(outputs(f"The running system calls itself {name}", name, "uname", "-n", early=False),),
    )


def _hosts(section: Network, context: Context) -> Action:
    content = hosts_text(section, context)
    names = dict.fromkeys((host_name(section, context), full_name(section, context)))
    return _file_action(
        "hosts",
        "Write the hosts file",
        "The machine must know its own name even when no name server answers.",
        (WriteFile(path=InTarget("/etc/hosts"), content=(content,)),),
        audits=tuple(succeeds(f"The name {name} is found", "getent", "hosts", name, early=False) for name in names),
    )


def hosts_text(section: Network, context: Context) -> str:
    """The hosts file: loopback, own name, other machines. hosts(5), RFC 6761 (localhost), RFC 4291 (::1)."""
    lines = ["127.0.0.1\tlocalhost", "::1\tlocalhost ip6-localhost ip6-loopback"]
    own = _own_address(section, context)
    if own:
        names = dict.fromkeys((full_name(section, context), host_name(section, context)))
        lines.append(f"{own}\t{' '.join(names)}")
    lines += ["ff02::1\tip6-allnodes", "ff02::2\tip6-allrouters"]
    lines += [f"{entry.address}\t{' '.join(entry.names)}" for entry in section.hosts]
    return "\n".join(lines) + "\n"


def _own_address(section: Network, context: Context) -> str:
    """A fixed address where there is one; else the family's, and 127.0.1.1 (Debian Reference 5.1.1) where a domain asks
    for the line. Families that have none resolve the bare name with nss-myhostname."""
    fixed = [each for link in section.links for each in static_addresses(link)]
    first = next((each for each in fixed if each.version == 4), fixed[0] if fixed else None)
    if first is not None:
        return str(first.ip)
    own = context.of_family(OwnName).address
    return own or "127.0.1.1" if section.domain else own


# --- links and their manager ---------------------------------------------------------------------------------------


def _link(link: NetworkLink, section: Network, manager: Manager, context: Context) -> Action:
    secrets = secret(link, link.wifi, section) if link.wifi else ()
    files = manager.link_files(link, section, context)
    called = any(isinstance(file, Call) for file in files)  # by a program of the Wi-Fi package in the target
    tokens = (Milestone.API_MOUNTED, *context.fact(Family).tokens(WIFI_NEEDS[section.daemon])) if called else ()
    return _file_action(
        f"link-{link.name}",
        f"Describe the link {link.name} ({kind_of(link)}) for {manager.title}",
        "Without it the machine has no network after its first start.",
        files,
        secrets=secrets,
        audits=_link_runs(link, section),
        needs=tokens,
    )


def kind_of(link: NetworkLink) -> str:
    """What the link is, in words."""
    if link.vlan is not None:
        return f"VLAN {link.vlan.id} on {link.vlan.on}"
    return f"the wireless network {link.wifi.ssid}" if link.wifi else "the cable"


def _link_runs(link: NetworkLink, section: Network) -> tuple[Check, ...]:
    """That it has an address; a link that is there for its VLANs alone has none and is seen through them."""
    addresses = tuple(str(each) for each in static_addresses(link))
    if not (addresses or link.takes_ipv4 or link.takes_ipv6):
        return ()
    waited = section.waited_for(link)
    card = section.carrier_of(link)
    words = (card.mac.lower() or card.interface, _need(not waited), *addresses)
    has = f"has {'' if waited else 'no cable, or '}{'its' if addresses else 'an'} address"
    if link.vlan is None:
        return (holds(f"The link {link.name} {has}", "network/link-runs", *words, early=False),)
    return (
        holds(
            f"The VLAN {link.vlan.id} runs on {card.name} and {has}",
            "network/vlan-runs",
            link.name,
            str(link.vlan.id),
            *words,
            early=False,
        ),
    )


def _need(optional: bool) -> str:
    return "optional" if optional else "needed"


def _settings(files: tuple[WriteFile, ...]) -> Action:
    return _file_action(
        "settings",
        "Write the settings that hold for every link",
        "The Wi-Fi program, the manager and the radio rules must agree.",
        files,
    )


def _manager(section: Network, manager: Manager, context: Context) -> Action:
    enabled, masked = enabled_units(section, manager), masked_units(section, manager)
    masks = tuple(Link(path=InTarget(_mask(unit)), to="/dev/null") for unit in masked)
    enable = Run(argv=("systemctl", "--root", InTarget("/"), "enable", *enabled))
    undo = (
        Run(argv=("systemctl", "--root", InTarget("/"), "disable", *enabled)),
        Run(argv=("rm", "-f", *(InTarget(_mask(unit)) for unit in masked))),
    )
    return Action(
        id="network.manager",
        title=f"Let {manager.title} run the network, and nothing else",
        reason="Two network managers at once take leases twice and fight over the links.",
        stage=Stage.TARGET,
        operations=(*masks, enable),
        needs=(
            "base",
            Milestone.API_MOUNTED,
            "tool:systemctl",
            *context.fact(Family).tokens(*needs_of(section, manager)),
        ),
        gives=tuple(f"service:{unit}" for unit in enabled),
        proofs=(
            *(link_is(_mask(unit), "/dev/null") for unit in masked),
            *(service_enabled(unit) for unit in enabled),
            *(_complete(unit) for unit in enabled),
        ),
        way_back=build.goes_with_root(
            "Disable these units and unmask the others; what the packages' own scripts had enabled "
            "before is not brought back.",
            *undo,
        ),
    )


def _complete(unit: str) -> Check:
    return holds(
        f"The program that {unit} starts is installed", "network/unit-complete", InTarget("/"), unit, early=False
    )


def _mask(unit: str) -> str:
    return f"/etc/systemd/system/{unit}"


def _firmware(cards: tuple[NetworkLink, ...]) -> Action:
    return Action(
        id="network.firmware",
        title="Check that the firmware of the Wi-Fi card is in the new system",
        reason="A card that works on the live medium stays dark when its firmware file did not come along.",
        stage=Stage.TARGET,
        operations=(),
        needs=("base", Milestone.API_MOUNTED),
        proofs=tuple(
            holds(
                f"The new system has the firmware that the card of {link.name} asks for",
                "network/firmware-of-link",
                link.mac.lower(),
                early=False,
            )
            for link in cards
        ),
        changes=False,
        trouble="Name the package with the missing file in firmware_packages of [base] and run again; or go on with a "
        "cable or a telephone's tether, and install it from the new system.",
    )


# --- name resolution -----------------------------------------------------------------------------------------------


def _resolver() -> Action:
    # DNSSEC strictly checked with a wrong clock makes the time server's own name unresolvable, for ever
    drop_in = WriteFile(path=InTarget("/etc/systemd/resolved.conf.d/dnssec.conf"), content=("[Resolve]\nDNSSEC=no\n",))
    return Action(
        id="network.resolver",
        title="Hand name resolution to the installed system's resolver",
        reason="The link points to a file that exists only when the resolver runs, so it comes after everything that "
        "had to resolve names during the installation.",
        stage=Stage.TARGET,
        operations=(drop_in, Link(path=InTarget("/etc/resolv.conf"), to=STUB)),
        needs=("base", "service:systemd-resolved.service"),
        gives=("file:/etc/resolv.conf",),
        proofs=(
            file_is("/etc/systemd/resolved.conf.d/dnssec.conf", drop_in.content),
            link_is("/etc/resolv.conf", STUB),
        ),
        way_back=_removal("/etc/resolv.conf", "/etc/systemd/resolved.conf.d/dnssec.conf"),
    )


def _no_resolver() -> Action:
    text = "# No network after the start: the spec of this machine says so.\n"
    return _file_action(
        "resolver",
        "Leave no name server behind",
        "The live medium's name servers mean nothing to this machine.",
        (WriteFile(path=InTarget("/etc/resolv.conf"), content=(text,)),),
    )


def _first_boot(section: Network, manager: Manager) -> Action:
    expected = "an address on each link" if len(section.links) > 1 else "an address"
    if not all(section.waited_for(link) for link in section.links):
        expected += " that is plugged in or in reach"
    commands = (manager.status, "ip route show default", "resolvectl query NAME")
    return build.by_hand(
        "network.first-start",
        "Log in and look. Put a name of your own network for NAME.",
        *commands,
        title="Check the network of the new system",
        reason="A missing firmware file or a wrong passphrase shows only now.",
        needs=(Milestone.FIRST_START,),
        expected=f"The manager shows {expected}, there is a default route, and the name is found.",
        trouble="Start the live medium, mount the system again, and correct the files of the link. For a Wi-Fi card "
        "that does not appear at all, `dmesg` names the firmware file it misses; a cable or a telephone's tether "
        "brings the package.",
        audits=(
            holds(
                "Default route, name server and name resolution are there",
                "network/online",
                _need(not any(section.waited_for(link) for link in section.links)),
                early=False,
            ),
        ),
    )


# --- shapes --------------------------------------------------------------------------------------------------------


def _file_action(
    words: str,
    title: str,
    reason: str,
    files: tuple[WriteFile | Call, ...],
    *,
    secrets: tuple[Secret, ...] = (),
    audits: tuple[Check, ...] = (),
    needs: tuple[str, ...] = (),
) -> Action:
    """An action that only writes files into the target."""
    operations: tuple[Operation, ...] = files
    return Action(
        id=f"network.{words}",
        title=title,
        reason=reason,
        stage=Stage.TARGET,
        operations=operations,
        needs=("base", *needs),
        gives=tuple(f"file:{quote(_path(file))}" for file in files),  # a Wi-Fi name can hold blanks, a token none
        proofs=tuple(proof for file in files for proof in _proofs(file)),
        audits=audits,
        way_back=_removal(*(_path(file) for file in files)),
        secrets=secrets,
        stamped=bool(secrets),
    )


def _proofs(file: WriteFile | Call) -> tuple[Check, ...]:
    """The whole content where it is no secret, else mode and owner, and what can be told without showing it."""
    path = _path(file)
    if isinstance(file, Call):
        return (file_mode_is(path, 0o600), wpa_supplicant.proof(file))
    if any(isinstance(part, SecretRef) for part in file.content):
        return (file_mode_is(path, file.mode, file.owner),)
    return (file_is(path, file.content, file.mode),)


def _path(file: WriteFile | Call) -> str:
    path = file.path if isinstance(file, WriteFile) else file.args[0]
    assert isinstance(path, InTarget)
    return path.path


def _removal(*paths: str) -> WayBack:
    return build.goes_with_root(
        "Remove the files from the new system; files of these names that came with a package or an archive are "
        "not brought back.",
        Run(argv=("rm", "-f", *(InTarget(path) for path in paths))),
    )
