"""The `[users]` section as a typed value. Enters: checked TOML. Leaves: a frozen `Users`."""

from __future__ import annotations

from attrs import frozen


@frozen(kw_only=True)
class Root:
    """The root account."""

    password: str = "locked"
    """`locked`, `ask`, a crypt(5) hash, or `file:/PATH` on the live medium."""
    rescue: str = ""
    """With a locked root, what a failed start offers at the console: `open-shell` or `live-medium`."""


@frozen(kw_only=True)
class OwnGroup:
    """A group the spec makes, or takes over from a package."""

    name: str
    gid: int | None = None
    """None: a free number of the system range."""


@frozen(kw_only=True)
class PersonEntry:
    """One person's account."""

    name: str
    full_name: str = ""
    password: str = "ask"
    """`ask`, `none` (keys only), a crypt(5) hash, or `file:/PATH` on the live medium."""
    uid: int | None = None
    """None: the first free number from 1000, in the order of the spec. The person's own group has the same number."""
    groups: tuple[str, ...] = ()
    shell: str = "/bin/bash"
    home: str = ""
    """Empty: `/home/NAME`."""
    administrator: bool = False
    authorized_keys: tuple[str, ...] = ()

    @property
    def home_folder(self) -> str:
        """The home folder, always filled in."""
        return self.home or f"/home/{self.name}"


@frozen(kw_only=True)
class FormerPerson:
    """A person who no longer has an account. Only read when a machine is changed."""

    name: str
    home: str = "keep"
    """What becomes of the home folder: `keep` or `delete`."""


@frozen(kw_only=True)
class Users:
    """Who can log in, and who may do what."""

    root: Root = Root()
    ssh_server: bool = False
    groups: tuple[OwnGroup, ...] = ()
    people: tuple[PersonEntry, ...] = ()
    former: tuple[FormerPerson, ...] = ()

    @property
    def administrators(self) -> tuple[PersonEntry, ...]:
        """People with administrator rights."""
        return tuple(person for person in self.people if person.administrator)

    def numbers(self) -> dict[str, int]:
        """The user number of each person, by name: the asked one, else the lowest free one from 1000."""
        taken = {person.uid for person in self.people} | {group.gid for group in self.groups}
        free = (number for number in range(FIRST_ID, LAST_ID + 1) if number not in taken)
        return {person.name: person.uid if person.uid is not None else next(free) for person in self.people}


FIRST_ID, LAST_ID = 1000, 60000
"""Numbers of regular users and groups: UID_MIN and UID_MAX of login.defs(5); systemd, "Users, Groups, UIDs and GIDs"
keeps 60001 and above for other uses."""
