"""The `[users]` section: root, people, groups, keys."""

from typing import Literal

from bedplate.schema import INVISIBLE, Keywords, key, table

FIRST_ID, LAST_ID = 1000, 60000
"""Numbers of regular users and groups: UID_MIN and UID_MAX of login.defs(5); systemd, "Users, Groups, UIDs and GIDs"
keeps 60001 and above for other uses."""


@table
class Root:
    """The root account."""

    password: str = key(
        "locked, ask (during the installation), a crypt(5) hash, or file:/PATH on the live medium. Never the "
        "password itself.",
        minLength=1,
        default="locked",
    )
    rescue: Literal["open-shell", "live-medium", ""] = key(
        "With a locked root, what a failed start offers at the console: open-shell (root without a password) or "
        "live-medium (nothing; mend it from a live medium).",
        default="",
    )


@table(title="Group")
class OwnGroup:
    """A group to make; one that a package has made already is taken over."""

    name: str = key(
        "Name of the group: a lower-case letter, then letters, digits and hyphens, at most 31 characters.", minLength=1
    )
    gid: int | None = key(
        "Number of the group, 1000 to 60000; a free system number if left out.",
        title="Number",
        minimum=FIRST_ID,
        maximum=LAST_ID,
        default=None,
    )


@table(title="Person")
class PersonEntry:
    """One person's account, with a group of the same name and number."""

    name: str = key(
        "Name to log in with: a lower-case letter, then letters, digits and hyphens, at most 31 characters.",
        minLength=1,
    )
    full_name: str = key(
        "The person's name as people write it, without colon, comma, line break, and signs that do not show.",
        pattern=f"^[^{INVISIBLE}:,]*$",
        maxLength=200,
        default="",
    )
    password: str = key(
        "ask (during the installation), none (keys only), a crypt(5) hash, or file:/PATH on the live medium. "
        "Never the password itself.",
        minLength=1,
        default="ask",
    )
    uid: int | None = key(
        "Number of the account, 1000 to 60000; the first free one if left out.",
        title="Number",
        minimum=FIRST_ID,
        maximum=LAST_ID,
        default=None,
    )
    groups: tuple[str, ...] = key(
        "Further groups of the person.",
        items=Keywords(title="Group", description="Name of one group.", minLength=1),
        default=(),
    )
    shell: str = key("Login shell, an absolute path.", minLength=1, default="/bin/bash")
    home: str = key(
        "An absolute path; /home/NAME if left out.", title="Home folder", pattern="^/[A-Za-z0-9._/-]+$", default=""
    )
    administrator: bool = key("True: may do everything through sudo.", default=False)
    authorized_keys: tuple[str, ...] = key(
        "Public ssh keys that may log in as this person.",
        title="Authorised keys",
        items=Keywords(title="Key", description="One line of an authorized_keys file.", minLength=1),
        default=(),
    )

    @property
    def home_folder(self) -> str:
        """The home folder, always filled in."""
        return self.home or f"/home/{self.name}"


@table
class FormerPerson:
    """A person who no longer has an account."""

    name: str = key("Name of the account that is removed.", minLength=1)
    home: Literal["keep", "delete"] = key(
        "What becomes of the home folder when the account is removed: keep (it stays), or delete (everything in "
        "it is lost).",
        title="Home folder",
        default="keep",
    )


@table
class Users:
    """Root, people, groups, administrator rights, ssh keys."""

    root: Root
    ssh_server: bool = key(
        "True: an ssh server is installed and started from the first boot on.", title="ssh server", default=False
    )
    groups: tuple[OwnGroup, ...] = key("Groups to make.", default=())
    people: tuple[PersonEntry, ...] = key("Accounts to make.", default=())
    former: tuple[FormerPerson, ...] = key(
        "People who had an account here once. Only read when a machine is changed, never when one is installed.",
        title="Former people",
        default=(),
    )

    @property
    def administrators(self) -> tuple[PersonEntry, ...]:
        """People with administrator rights."""
        return tuple(person for person in self.people if person.administrator)

    def numbers(self) -> dict[str, int]:
        """The user number of each person, by name: the asked one, else the lowest free one from 1000."""
        taken = {person.uid for person in self.people} | {group.gid for group in self.groups}
        free = (number for number in range(FIRST_ID, LAST_ID + 1) if number not in taken)
        return {person.name: person.uid if person.uid is not None else next(free) for person in self.people}
