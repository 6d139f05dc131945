"""The `[network]` section: who the machine is on the network, and how it gets there."""

from typing import Literal

from bedplate.schema import Keywords, key, table

LOOPBACK_NAME = "localhost"

LINK_NAME = "^[a-z][a-z0-9-]{0,14}$"


@table
class HostsEntry:
    """One line of the hosts file."""

    address: str = key("Address the names stand for.", minLength=1)
    names: tuple[str, ...] = key(
        "Names of another machine, the full one first.",
        minItems=1,
        items=Keywords(title="Name", description="One host name.", minLength=1),
    )


@table(title="Wi-Fi")
class Wifi:
    """The wireless network this link joins."""

    ssid: str = key(
        "Name of the wireless network (SSID), 1 to 32 octets in UTF-8.", title="Network name", minLength=1, maxLength=32
    )
    security: Literal["wpa-psk", "sae", "open"] = key(
        "How the network is secured: wpa-psk (WPA2 and WPA3 personal), sae (WPA3 personal only) or open.",
        default="wpa-psk",
    )
    passphrase: str = key(
        "Where the passphrase comes from: ask (during the installation) or file:/PATH on the live medium. Never "
        "the passphrase itself.",
        minLength=1,
        default="ask",
    )
    hidden: bool = key("True if the access point does not announce the network's name.", default=False)


@table(title="VLAN")
class Vlan:
    """Makes this link a virtual LAN on another link's cable (IEEE 802.1Q), instead of mac or interface."""

    id: int = key(
        "Number of the VLAN, 1 to 4094, as the switch's port knows it.", title="VLAN number", minimum=1, maximum=4094
    )
    on: str = key("Name of the link whose cable carries it.", pattern=LINK_NAME)


@table(title="Link")
class NetworkLink:
    """One network card, matched by its MAC address (better) or interface name, or a VLAN on one, and how it gets its
    addresses."""

    name: str = key(
        "Name of the link in this spec, of its files, and of a VLAN's interface: a lower-case letter, then "
        "letters, digits and hyphens, at most 15 characters (the kernel's limit).",
        pattern=LINK_NAME,
    )
    mac: str = key(
        "Permanent address of the card, six pairs of hexadecimal digits with colons.",
        title="MAC address",
        pattern="^[0-9A-Fa-f]{2}(:[0-9A-Fa-f]{2}){5}$",
        default="",
    )
    interface: str = key(
        "The kernel's name for the card, without wildcards; only where the MAC address cannot be used.",
        pattern="^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,14}$",
        default="",
    )
    vlan: Vlan | None = None
    dhcp: Literal["both", "ipv4", "ipv6", "no"] = key(
        "Which addresses are taken from the network (DHCP and router announcements). IPv6 by fixed addresses "
        "only: ipv4 or no.",
        title="Addresses from the network",
        default="both",
    )
    ipv6: Literal["announced", "slaac", "dhcpv6", "off"] = key(
        "How IPv6 addresses are taken from the network: announced (as its routers say: self-made, DHCPv6 or "
        "both), slaac (self-made only), dhcpv6 (asked for whatever routers say, none self-made); off is no IPv6 "
        "on this link at all. networkmanager knows announced and off.",
        title="IPv6 from the network",
        default="announced",
    )
    ipv6_privacy: Literal["temporary", "public", "off"] = key(
        "Temporary IPv6 addresses beside the lasting self-made one (RFC 8981): temporary (connections of this "
        "machine go out with one that changes daily; others still reach it at the lasting one), public (they go "
        "out with the lasting one), off (none are made).",
        title="IPv6 privacy",
        default="temporary",
    )
    addresses: tuple[str, ...] = key(
        "Addresses with prefix length, such as 192.0.2.5/24.",
        title="Fixed addresses",
        maxItems=256,
        items=Keywords(title="Fixed address", description="One address with its prefix length.", minLength=1),
        default=(),
    )
    gateways: tuple[str, ...] = key(
        "Default gateways, one of each kind at most, inside a subnet of the fixed addresses.",
        maxItems=16,
        items=Keywords(title="Gateway", description="One address.", minLength=1),
        default=(),
    )
    dns: tuple[str, ...] = key(
        "Name servers, besides those the network hands out.",
        title="Name servers",
        items=Keywords(title="Name server", description="One address.", minLength=1),
        default=(),
    )
    search: tuple[str, ...] = key(
        "Domains in which short names are looked up.",
        title="Search domains",
        items=Keywords(title="Search domain", description="One domain.", minLength=1),
        default=(),
    )
    optional: bool = key(
        "True: starting does not wait for this link, nor for VLANs on it. For ports that are often unplugged.",
        default=False,
    )
    wifi: Wifi | None = None

    @property
    def takes_ipv4(self) -> bool:
        """Whether IPv4 addresses come from the network."""
        return self.dhcp in ("both", "ipv4")

    @property
    def takes_ipv6(self) -> bool:
        """Whether IPv6 addresses come from the network."""
        return self.dhcp in ("both", "ipv6") and self.ipv6 != "off"

    @property
    def makes_own(self) -> bool:
        """Whether it makes addresses of its own from what routers announce (SLAAC, RFC 4862)."""
        return self.takes_ipv6 and self.ipv6 != "dhcpv6"


@table
class Network:
    """Host name, hosts file, links, name resolution, Wi-Fi."""

    host_name: str = key(
        "First label of the machine's name on the network; the machine's name if left out. 1 to 63 lower-case "
        "letters, digits and hyphens (RFC 1123).",
        minLength=1,
        default="",
    )
    domain: str = key("Domain of the machine, such as saltmarsh.example.", minLength=1, default="")
    hosts: tuple[HostsEntry, ...] = key(
        "Further lines of the hosts file. The machine's own names are written without them.",
        title="Hosts entries",
        default=(),
    )
    manager: str = key(
        "What brings the network up in the installed system. none needs no_network_after_reboot = true.",
        enum=("none",),
        default="networkd",
    )
    no_network_after_reboot: bool = key(
        "True says on purpose that the machine has no network after its first start; goes with manager none only.",
        default=False,
    )
    wifi_daemon: Literal["iwd", "wpa_supplicant", ""] = key(
        "Program that joins wireless networks. networkd works with iwd (also if left out) or wpa_supplicant, "
        "networkmanager with wpa_supplicant (also if left out) or iwd.",
        title="Wi-Fi program",
        default="",
    )
    wifi_country: str = key(
        "Two capital letters (ISO 3166-1) of the country whose radio rules hold.",
        title="Wi-Fi country",
        pattern="^[A-Z]{2}$",
        default="",
    )
    links: tuple[NetworkLink, ...] = key("Network cards and VLANs, and how each gets its addresses.", default=())

    def vlans_on(self, link: NetworkLink) -> tuple[NetworkLink, ...]:
        """The VLANs that the link's cable carries, in the order of the spec."""
        return tuple(each for each in self.links if each.vlan is not None and each.vlan.on == link.name)

    def carrier_of(self, link: NetworkLink) -> NetworkLink:
        """The link whose cable carries a VLAN; any other link itself. Of a checked section only."""
        return next(each for each in self.links if each.name == link.vlan.on) if link.vlan else link

    def waited_for(self, link: NetworkLink) -> bool:
        """Whether starting waits for the link: neither it nor what carries it is optional."""
        return not (link.optional or self.carrier_of(link).optional)

    @property
    def wireless(self) -> bool:
        """Whether any link is wireless."""
        return any(link.wifi is not None for link in self.links)

    @property
    def daemon(self) -> str:
        """The program that joins wireless networks; empty if no link is wireless. Of a settled section only."""
        return self.wifi_daemon if self.wireless else ""
