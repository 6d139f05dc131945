"""Where a password comes from. Enters: the text of a `password` key. Leaves: its kind, its parts, or what is wrong.

The hash forms are those of crypt(5) (libxcrypt). Forms that can be tried through in hours (DES, MD5) are refused.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from bedplate.faults import Fault, one_of

ASK, FILE = "ask", "file:"

HASH_FORMS: dict[str, re.Pattern[str]] = {
    "yescrypt": re.compile(r"\$y\$[./A-Za-z0-9]+\$[./A-Za-z0-9]{0,86}\$[./A-Za-z0-9]{43}"),
    "gost-yescrypt": re.compile(r"\$gy\$[./A-Za-z0-9]+\$[./A-Za-z0-9]{0,86}\$[./A-Za-z0-9]{43}"),
    "scrypt": re.compile(r"\$7\$[./A-Za-z0-9]{11,97}\$[./A-Za-z0-9]{43}"),
    "bcrypt": re.compile(r"\$2[aby]\$(?:0[4-9]|[12][0-9]|3[01])\$[./A-Za-z0-9]{53}"),
    "sha512crypt": re.compile(r"\$6\$(?:rounds=[1-9][0-9]+\$)?[^$:!*;\\\s]{1,16}\$[./0-9A-Za-z]{86}"),
    "sha256crypt": re.compile(r"\$5\$(?:rounds=[1-9][0-9]+\$)?[^$:!*;\\\s]{1,16}\$[./0-9A-Za-z]{43}"),
}
"""Accepted forms by method, crypt(5)."""

_MARKS = {
    "$y$": "yescrypt",
    "$gy$": "gost-yescrypt",
    "$7$": "scrypt",
    "$2a$": "bcrypt",
    "$2b$": "bcrypt",
    "$2y$": "bcrypt",
    "$6$": "sha512crypt",
    "$5$": "sha256crypt",
}
_WEAK = re.compile(r"\$1\$[^$:]{1,8}\$[./A-Za-z0-9]{22}|\$(?:md5|sha1|3)[$,].*|[./A-Za-z0-9]{13}|_[./A-Za-z0-9]{19}")
_HOW = "mkpasswd or `openssl passwd -6` makes a hash"


def is_hash(text: str) -> bool:
    """Whether `text` is a hash in an accepted form."""
    return any(form.fullmatch(text) for form in HASH_FORMS.values())


def file_of(text: str) -> str:
    """The absolute path of `file:/PATH`; empty if `text` is something else."""
    path = text.removeprefix(FILE)
    return path if text.startswith(FILE + "/") and len(path) > 1 else ""


def password_fault(text: str, words: Sequence[str]) -> Fault | None:
    """What is wrong with a password's text; None if nothing is. The text itself is never shown: it may be a secret.

    `words` are the key words allowed here.
    """
    if text in words or is_hash(text) or file_of(text):
        return None
    quoted = [f'"{word}"' for word in words]
    allowed = one_of([*quoted, 'a crypt(5) hash ("$y$...", "$6$...")', '"file:/PATH"'])
    found = f"a text of {len(text)} characters"
    if text.startswith(FILE):
        return Fault(code="bad-password-file", message="the path of a password file is absolute", allowed=allowed)
    if _WEAK.fullmatch(text):
        return Fault(
            code="weak-hash",
            message="this is plain text, or a hash of a method that is broken in hours",
            found=found,
            allowed=allowed,
            notes=(_HOW,),
        )
    method = next((name for mark, name in _MARKS.items() if text.startswith(mark)), None)
    if method is not None:
        return Fault(
            code="malformed-hash",
            message=f"this begins like a {method} hash but is none; part of it may be missing",
            found=found,
            allowed=allowed,
        )
    return Fault(
        code="plain-password",
        message="a password never stands in a spec; a text that is no hash cannot be one",
        found=found,
        allowed=allowed,
        notes=(_HOW,),
    )
