"""What this step asks of the package family: one frozen type per concern, brought by the family."""

from __future__ import annotations

from attrs import frozen


@frozen(kw_only=True)
class OwnName:
    """How the machine finds its own name where it has no fixed address."""

    address: str = ""
    """The address in hosts(5); empty: the name is left to nss-myhostname(8), unless a domain asks for the line."""
