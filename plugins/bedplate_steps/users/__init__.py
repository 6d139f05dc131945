"""The users step. Enters: the `[users]` section. Leaves: actions that make groups and accounts, and close root's door.

```toml
[users]
ssh_server = true

[users.root]
password = "locked"                # locked, ask, a crypt(5) hash or file:/PATH
rescue = "live-medium"             # with a locked root: open-shell or live-medium

[[users.groups]]
name = "tides"
gid = 2000

[[users.people]]
name = "ana"
full_name = "Ana of the night watch"
password = "ask"                   # ask, none, a crypt(5) hash or file:/PATH
groups = ["tides", "video"]
administrator = true
authorized_keys = ["ssh-ed25519 AAAA... ana"]
```
"""

from __future__ import annotations

from bedplate.facts import People
from bedplate.functions import Folder
from bedplate.hookspecs import Step, hookimpl, later
from bedplate_steps.users.emit import emit
from bedplate_steps.users.facts import people
from bedplate_steps.users.family import BaseGroups
from bedplate_steps.users.model import Users
from bedplate_steps.users.validate import validate

__all__ = ["bedplate_contract", "bedplate_steps"]


bedplate_contract = 1


@hookimpl
def bedplate_steps() -> list[Step]:
    """The step this module brings."""
    return [
        Step(
            section="users",
            title="Root, people, groups, administrator rights, ssh keys",
            model=Users,
            emit=emit,
            functions=Folder(__name__),
            changes=later("bedplate_steps.users.changes:changes"),
            validate=validate,
            facts={People: people},
            concerns=(BaseGroups,),
            draft=later("bedplate_steps.users.draft:draft"),
            draft_rank=60,
            required=True,
        )
    ]
