"""The network managers that come with Bedplate, behind one small interface; others come through the point
`network.manager`.

Each manager says which packages it needs, which units are enabled, which rivals are masked (two managers at once take
leases twice and fight), and which files bring a link up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from attrs import evolve, frozen

from bedplate.actions import Call, WriteFile
from bedplate.hookspecs import Context
from bedplate_steps.network import networkd, networkmanager
from bedplate_steps.network.model import Network, NetworkLink

WIFI_NEEDS = {"iwd": "wifi-iwd", "wpa_supplicant": "wifi-wpa"}
"""Generic package need of each Wi-Fi program."""

_OTHERS = ("networking.service", "dhcpcd.service")
"""Units of the older ways to bring up a network, wherever a base has them."""


def bus_units(section: Network) -> tuple[str, ...]:
    """Units of Wi-Fi programs that a manager talks to over the bus, which starts wpa_supplicant by itself."""
    return ("iwd.service",) if section.daemon == "iwd" else ()


def _kept_name(link: NetworkLink, section: Network) -> str:
    return link.name if link.vlan else ""


@frozen(kw_only=True)
class Manager:
    """One way to run the network."""

    title: str
    needs: tuple[str, ...]
    """Generic package needs, see `Family.packages`."""
    wifi_needs: tuple[str, ...]
    """Further needs where a link is wireless."""
    unit: str
    """The unit that runs the network."""
    wait_unit: str
    """The unit that makes starting wait for the network."""
    rivals: tuple[str, ...]
    """Units that must not run beside it."""
    link_files: Callable[[NetworkLink, Network, Context], tuple[WriteFile | Call, ...]]
    """The files of one link of a checked, settled section. A call writes the file that its first word names, mode 0600,
    out of the passphrase; it is one of `wpa.network_file`."""
    settings: Callable[[Network], tuple[WriteFile, ...]]
    """Files that concern every link of a settled section."""
    wifi_daemons: tuple[str, ...]
    """Wi-Fi programs it can work with (`iwd`, `wpa_supplicant`), the usual one first."""
    wifi_units: Callable[[Network], tuple[str, ...]] = bus_units
    """Units of the Wi-Fi program that are enabled, of a settled section."""
    interface_name: Callable[[NetworkLink, Network], str] = _kept_name
    """The name its files give to a link's interface; empty if the link keeps the kernel's."""
    ipv6_ways: tuple[str, ...] = ("announced", "off")
    """Values of a link's `ipv6` it can do."""
    status: str
    """The command that shows a person the state of every link."""


MANAGERS: Mapping[str, Manager] = {
    "networkd": Manager(
        title="systemd-networkd",
        needs=("network-networkd", "network-resolved"),
        wifi_needs=(),
        unit="systemd-networkd.service",
        wait_unit="systemd-networkd-wait-online.service",
        rivals=("NetworkManager.service", "NetworkManager-wait-online.service", *_OTHERS),
        link_files=networkd.link_files,
        settings=networkd.settings,
        wifi_daemons=("iwd", "wpa_supplicant"),
        wifi_units=networkd.wifi_units,
        interface_name=networkd.interface_name,
        ipv6_ways=networkd.WAYS,
        status="networkctl status",
    ),
    "networkmanager": Manager(
        title="NetworkManager",
        needs=("network-networkmanager", "network-resolved"),
        wifi_needs=("wifi-networkmanager",),
        unit="NetworkManager.service",
        wait_unit="NetworkManager-wait-online.service",
        rivals=(
            "systemd-networkd.service",
            "systemd-networkd.socket",
            "systemd-networkd-wait-online.service",
            *_OTHERS,
        ),
        link_files=networkmanager.link_files,
        settings=networkmanager.settings,
        wifi_daemons=("wpa_supplicant", "iwd"),
        ipv6_ways=networkmanager.WAYS,
        status="nmcli device status",
    ),
}
"""By the word a spec uses."""

_WIFI_UNITS = {"iwd": "iwd.service", "wpa_supplicant": "wpa_supplicant.service"}


def chosen(section: Network, context: Context) -> Manager | None:
    """The manager the section names; None if there shall be none."""
    return context.extensions(Manager).get(section.manager)


def settled(section: Network, manager: Manager) -> Network:
    """The section with the manager's usual Wi-Fi program where it names none."""
    return evolve(section, wifi_daemon=section.wifi_daemon or manager.wifi_daemons[0])  # type: ignore[misc]


def needs_of(section: Network, manager: Manager) -> tuple[str, ...]:
    """Generic package needs of a whole settled section."""
    wireless = (*manager.wifi_needs, WIFI_NEEDS[section.daemon]) if section.wireless else ()
    return (*manager.needs, *wireless)


def masked_units(section: Network, manager: Manager) -> tuple[str, ...]:
    """Units that are masked: rival managers, the rival Wi-Fi program, and a wait for links nobody waits for."""
    others = [name for name in _WIFI_UNITS if section.wireless and name != section.daemon]
    rivals = [_WIFI_UNITS[name] for name in others]
    waits = [] if any(section.waited_for(link) for link in section.links) else [manager.wait_unit]
    return (*manager.rivals, *rivals, *waits)


def enabled_units(section: Network, manager: Manager) -> tuple[str, ...]:
    """Units that are enabled, the manager first."""
    return (manager.unit, "systemd-resolved.service", *manager.wifi_units(section))
