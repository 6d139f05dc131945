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

from bedplate.facts import People, Person
from bedplate.hookspecs import Context, Step, hookimpl
from bedplate_steps.users.changes import changes
from bedplate_steps.users.draft import draft
from bedplate_steps.users.emit import emit
from bedplate_steps.users.family import BaseGroups
from bedplate_steps.users.model import PersonEntry, Users
from bedplate_steps.users.passwords import is_hash
from bedplate_steps.users.validate import validate

__all__ = ["bedplate_contract", "bedplate_steps"]


def _people(section: Users, context: Context) -> People:
    password = section.root.password
    root = "locked" if password == "locked" else "hashed" if is_hash(password) else "asked"
    return People(root=root, persons=tuple(_person(person) for person in section.people))


def _person(person: PersonEntry) -> Person:
    return Person(
        name=person.name,
        groups=person.groups,
        administrator=person.administrator,
        home=person.home_folder,
        shell=person.shell,
    )


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
            changes=changes,
            validate=validate,
            facts={People: _people},
            concerns=(BaseGroups,),
            draft=draft,
            draft_rank=60,
            required=True,
        )
    ]
