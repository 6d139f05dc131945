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
class NetworkLink:
    """One network card and how it gets its addresses."""

    name: str
    """Name in the spec; also of its files in the target."""
    mac: str = ""
    """The card's permanent address."""
    interface: str = ""
    """The kernel's name for the card; only where the MAC address cannot be used."""
    dhcp: str = "both"
    """Which addresses the network hands out: `both`, `ipv4`, `ipv6` or `no`."""
    addresses: tuple[str, ...] = ()
    """Fixed addresses with their prefix length: `192.0.2.5/24`."""
    gateways: tuple[str, ...] = ()
    dns: tuple[str, ...] = ()
    """Name servers, besides those the network hands out."""
    search: tuple[str, ...] = ()
    """Search domains."""
    optional: bool = False
    """True: starting does not wait for this link."""
    wifi: Wifi | None = None


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

    @property
    def wireless(self) -> bool:
        """Whether any link is wireless."""
        return any(link.wifi is not None for link in self.links)

    @property
    def daemon(self) -> str:
        """The program that joins wireless networks; empty if no link is wireless. Of a settled section only."""
        return self.wifi_daemon if self.wireless else ""
