"""The `[network]` section as a typed value. Enters: checked TOML. Leaves: a frozen `Network`."""

from __future__ import annotations

from attrs import frozen

LOOPBACK_NAME = "localhost"


@frozen(kw_only=True)
class HostsEntry:
    """One line of the hosts file: an address and the names it stands for."""

    address: str
    names: tuple[str, ...]


@frozen(kw_only=True)
class Wifi:
    """The wireless network a link joins."""

    ssid: str
    """1 to 32 octets in UTF-8."""
    security: str = "wpa-psk"
    """`wpa-psk`, `sae` or `open`."""
    passphrase: str = "ask"
    """`ask`, or `file:/PATH` on the live medium. Never the passphrase itself."""
    hidden: bool = False
    """True if the access point does not announce its name."""


@frozen(kw_only=True)
class Vlan:
    """A virtual LAN: frames with a number of their own on another link's cable (IEEE 802.1Q)."""

    id: int
    """1 to 4094; 0 and 4095 are reserved."""
    on: str
    """Name of the link whose cable carries it."""


@frozen(kw_only=True)
class NetworkLink:
    """One network card, or a VLAN on one, and how it gets its addresses."""

    name: str
    """Name in the spec; also of its files in the target, and of a VLAN's interface."""
    mac: str = ""
    """The card's permanent address."""
    interface: str = ""
    """The kernel's name for the card; only where the MAC address cannot be used."""
    dhcp: str = "both"
    """Which addresses the network hands out: `both`, `ipv4`, `ipv6` or `no`."""
    ipv6: str = "announced"
    """How IPv6 addresses come from the network: `announced` (as its routers say), `slaac`, `dhcpv6`; or `off`: no
    IPv6 at all on this link."""
    ipv6_privacy: str = "temporary"
    """Temporary addresses beside the self-made one (RFC 8981): `temporary` (for connections this machine opens),
    `public` (made, but used only by programs that ask), or `off`. The first is what RFC 8981 turned its forerunner's
    "off unless asked for" into (from memory); whoever looks for the machine still finds it at the lasting address."""
    addresses: tuple[str, ...] = ()
    """Fixed addresses with their prefix length: `192.0.2.5/24`."""
    gateways: tuple[str, ...] = ()
    dns: tuple[str, ...] = ()
    """Name servers, besides those the network hands out."""
    search: tuple[str, ...] = ()
    """Search domains."""
    optional: bool = False
    """True: starting does not wait for this link, nor for a VLAN on it."""
    wifi: Wifi | None = None
    vlan: Vlan | None = None

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


@frozen(kw_only=True)
class Network:
    """Who the machine is on the network, and how it gets there."""

    host_name: str = ""
    """Empty: the machine's name."""
    domain: str = ""
    hosts: tuple[HostsEntry, ...] = ()
    manager: str = "networkd"
    """`networkd`, `networkmanager` or `none`."""
    no_network_after_reboot: bool = False
    """Must be true with manager `none`, and only then."""
    wifi_daemon: str = ""
    """`iwd` or `wpa_supplicant`; empty: the manager's usual one."""
    wifi_country: str = ""
    """Two-letter country code (ISO 3166-1) whose radio rules hold; empty: what the kernel finds."""
    links: tuple[NetworkLink, ...] = ()

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
