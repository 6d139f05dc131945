"""Names of users and groups: their form, and those that are taken. Enters: text. Leaves: a sentence, or nothing.

Form: systemd, "User/Group Name Syntax", the common core that every system takes. Taken: accounts and groups that the
families' base systems bring.
"""

from __future__ import annotations

import re

FORM = "1 to 31 characters: a lower-case letter, then lower-case letters, digits and hyphens"
_FORM = re.compile(r"[a-z][a-z0-9-]{0,30}")

_DEBIAN_GROUPS = """root daemon bin sys adm tty disk lp mail news uucp man proxy kmem dialout fax voice cdrom floppy
tape sudo audio dip www-data backup operator list irc src shadow utmp video sasl plugdev staff games users nogroup"""
"""Debian's base-passwd, /usr/share/base-passwd/group.master."""
_SYSTEMD_GROUPS = "systemd-journal systemd-network systemd-resolve systemd-timesync input kvm render"
"""systemd's sysusers.d files."""

GROUPS: dict[str, frozenset[str]] = {
    "apt": frozenset(f"{_DEBIAN_GROUPS} {_SYSTEMD_GROUPS} sgx messagebus".split()),
    # the two below from memory
    "pacman": frozenset(
        f"""root adm audio bin daemon dbus disk floppy ftp games http kmem log lp mail mem nobody optical proc rfkill
        scanner storage sys tty users utmp uucp video wheel {_SYSTEMD_GROUPS} sgx""".split()
    ),
    "dnf": frozenset(
        f"""root adm audio bin cdrom daemon dbus dialout disk floppy ftp games kmem lock lp mail man mem nobody sys tape
        tty users utmp video wheel {_SYSTEMD_GROUPS} sgx""".split()
    ),
}
"""Groups a base system of each family has."""

_ACCOUNTS = """root daemon bin sys sync games man lp mail news uucp proxy www-data backup list irc gnats nobody
    _apt http ftp operator halt shutdown adm dbus messagebus polkitd sshd uuidd tss avahi
    systemd-network systemd-resolve systemd-timesync systemd-coredump systemd-oom systemd-journal-remote"""
ACCOUNTS = frozenset(_ACCOUNTS.split())
"""Accounts that base systems bring (Debian's base-passwd, passwd.master; the rest from memory)."""


def form_trouble(text: str) -> str:
    """What is wrong with the form of a name; empty if nothing is."""
    if _FORM.fullmatch(text):
        return ""
    if len(text) > 31:
        return f"it has {len(text)} characters, 31 fit everywhere"
    if text[:1].isdigit() and text.isdigit():
        return "a name of digits only is taken for a number"
    if text != text.lower():
        return "capital letters are not taken everywhere"
    if re.fullmatch(r"[a-z0-9-]+", text):
        return "it does not begin with a letter"
    return "it has characters other than lower-case letters, digits and hyphens"


def repaired(text: str) -> str | None:
    """The nearest well-formed name, or None."""
    text = re.sub(r"[^a-z0-9-]+", "-", text.strip().lower()).lstrip("0123456789-").rstrip("-")[:31]
    return text or None


def taken(name: str, family: str) -> str:
    """Why the name of a person is taken by the base system; empty if it is free."""
    if name in ACCOUNTS or name.startswith("systemd-"):
        return "an account of the system"
    return "a group of the base system" if name in GROUPS.get(family, frozenset()) else ""
