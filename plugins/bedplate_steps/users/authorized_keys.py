"""Authorised keys. Enters: one line of an authorized_keys file. Leaves: what is wrong with it, or nothing.

sshd(8), "AUTHORIZED_KEYS FILE FORMAT"; the key's data begins with its own type as a string (RFC 4253, section 6.6;
RFC 5656 for ecdsa, RFC 8709 for ed25519).
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Iterable

from bedplate.faults import Fault, nearest, one_of, shown

TYPES = (
    "ssh-ed25519",
    "ssh-rsa",
    "ecdsa-sha2-nistp256",
    "ecdsa-sha2-nistp384",
    "ecdsa-sha2-nistp521",
    "sk-ssh-ed25519@openssh.com",
    "sk-ecdsa-sha2-nistp256@openssh.com",
)
_FIELDS = {"ssh-ed25519": 1, "ssh-rsa": 2, "sk-ecdsa-sha2-nistp256@openssh.com": 3}
"""How many strings follow the type in the key's data; two for every other type."""
RSA_FLOOR, RSA_ADVICE = 1024, 2048
"""Bits: below the first sshd refuses the key (RequiredRSASize, sshd_config(5)); below the second we warn (NIST SP
800-131A)."""


def key_faults(line: str) -> Iterable[Fault]:
    """Faults of one line, without a path."""
    if "PRIVATE KEY" in line:
        yield Fault(
            code="private-key",
            message="this is a private key; only the public half belongs here",
            found="a private key",
            allowed="the line of the file that ends in .pub",
            notes=("A private key that has stood in a shared file must be replaced.",),
        )
        return
    kind, data = _parts(line)
    if kind not in TYPES:
        old = kind == "ssh-dss"
        message = "sshd no longer takes keys of this type" if old else "this line does not begin with a type of key"
        yield Fault(
            code="bad-key-type", message=message, found=shown(kind), allowed=one_of(TYPES), nearest=nearest(kind, TYPES)
        )
        return
    strings = _strings(data)
    if strings is None or len(strings) != 1 + _FIELDS.get(kind, 2):
        yield Fault(
            code="bad-key-data",
            message="the key's data is damaged or cut off",
            found=shown(data, 24),
            allowed="the whole line as ssh-keygen wrote it",
        )
        return
    yield from _content_faults(kind, strings)


def _content_faults(kind: str, strings: list[bytes]) -> Iterable[Fault]:
    inside = strings[0].decode("ascii", "replace")
    if inside != kind:
        yield Fault(
            code="bad-key-data",
            message="the key's data is of another type than the line says",
            found=shown(inside),
            allowed=kind,
        )
        return
    if kind.endswith("ssh-ed25519") and len(strings[1]) != 32:
        yield Fault(code="bad-key-data", message="an ed25519 key has 32 octets", found=f"{len(strings[1])} octets")
    if kind == "ssh-rsa":
        yield from _rsa_faults(int.from_bytes(strings[2], "big").bit_length())


def _rsa_faults(bits: int) -> Iterable[Fault]:
    if bits < RSA_ADVICE:
        refused = bits < RSA_FLOOR
        message = "sshd refuses RSA keys this short" if refused else "RSA keys this short are no longer advised"
        yield Fault(
            code="weak-key",
            message=message,
            found=f"{bits} bits",
            allowed=f"{RSA_ADVICE} bits or more, or an ed25519 key",
            warning=not refused,
        )


def _parts(line: str) -> tuple[str, str]:
    """Type and data; options before them, which may hold quoted blanks, are passed over."""
    words = line.split()
    if words and words[0] not in TYPES and any(word in TYPES for word in words):
        rest = _after_options(line.strip()).split()
        words = rest if rest and rest[0] in TYPES else words
    return (words[0] if words else "", words[1] if len(words) > 1 else "")


def _after_options(line: str) -> str:
    quoted = False
    for index, character in enumerate(line):
        if character == '"' and line[index - 1 : index] != "\\":
            quoted = not quoted
        elif character in " \t" and not quoted:
            return line[index:]
    return ""


def _strings(data: str) -> list[bytes] | None:
    """The length-prefixed strings (RFC 4251, section 5) that make up the data; None if they do not fill it exactly."""
    try:
        blob = base64.b64decode(data, validate=True)
    except (binascii.Error, ValueError):
        return None
    out: list[bytes] = []
    at = 0
    while at < len(blob):
        end = at + 4 + int.from_bytes(blob[at : at + 4], "big")
        if at + 4 > len(blob) or end > len(blob):
            return None
        out.append(blob[at + 4 : end])
        at = end
    return out
