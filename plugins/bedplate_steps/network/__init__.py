"""The network step. Enters: the `[network]` section. Leaves: actions that name the machine and bring its links up.

```toml
[network]
host_name = "kelp-02"                 # the machine's name if left out
domain = "saltmarsh.example"
manager = "networkd"                  # networkd, networkmanager or none
hosts = [{ address = "192.0.2.10", names = ["tide-store"] }]

[[network.links]]
name = "cable"
mac = "00:16:3e:5a:17:01"
dhcp = "both"                         # both, ipv4, ipv6 or no
ipv6_privacy = "temporary"            # temporary, public or off

[[network.links]]
name = "pumps"
vlan = { id = 42, on = "cable" }      # instead of mac
dhcp = "no"
addresses = ["192.0.2.66/28"]

[[network.links]]
name = "air"
mac = "00:16:3e:5a:17:02"
optional = true
wifi = { ssid = "saltmarsh", security = "wpa-psk", passphrase = "ask" }
```
"""

from __future__ import annotations

from bedplate.facts import HostName
from bedplate.functions import Folder
from bedplate.hookspecs import Extension, Step, hookimpl, later
from bedplate_steps.network.emit import emit
from bedplate_steps.network.facts import names
from bedplate_steps.network.family import OwnName
from bedplate_steps.network.managers import MANAGERS, Manager
from bedplate_steps.network.model import Network
from bedplate_steps.network.validate import validate

__all__ = ["bedplate_contract", "bedplate_extensions", "bedplate_steps"]


bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The step this module brings."""
    return [
        Step(
            section="network",
            title="Host name, hosts file, links, name resolution, Wi-Fi",
            model=Network,
            emit=emit,
            functions=Folder(__name__),
            changes=later("bedplate_steps.network.changes:changes"),
            validate=validate,
            facts={HostName: names},
            concerns=(OwnName,),
            draft=later("bedplate_steps.network.draft:draft"),
            draft_rank=50,
            required=True,
            points={"manager": Manager},
        )
    ]


@hookimpl
def bedplate_extensions() -> list[Extension]:
    """The network managers that come with Bedplate."""
    return [Extension(point="network.manager", name=name, value=manager) for name, manager in MANAGERS.items()]
