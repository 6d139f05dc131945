"""Names of users and groups: their form, and those that are taken. Enters: text. Leaves: a sentence, or nothing.

Form: systemd, "User/Group Name Syntax", the common core that every system takes. Taken: accounts and groups that the
families' base systems bring.
"""

from __future__ import annotations

import re
from collections.abc import Collection

FORM = "1 to 31 characters: a lower-case letter, then lower-case letters, digits and hyphens"
_FORM = re.compile(r"[a-z][a-z0-9-]{0,30}")

_SYSTEMD_GROUPS = "systemd-journal systemd-network systemd-resolve systemd-timesync input kvm render sgx"
SYSTEMD_GROUPS = frozenset(_SYSTEMD_GROUPS.split())
"""Groups that every base has: systemd's sysusers.d files."""

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


def taken(name: str, groups: Collection[str]) -> str:
    """Why the name of a person is taken by the base system, which has these groups; empty if it is free."""
    if name in ACCOUNTS or name.startswith("systemd-"):
        return "an account of the system"
    return "a group of the base system" if name in groups else ""
