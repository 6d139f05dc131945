"""What the users step tells other steps: who has an account. Enters: section and context. Leaves: `People`."""

from __future__ import annotations

from bedplate.facts import People, Person
from bedplate.hookspecs import Context
from bedplate_steps.users.model import PersonEntry, Users
from bedplate_steps.users.passwords import is_hash


def people(section: Users, context: Context) -> People:
    """The fact."""
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
