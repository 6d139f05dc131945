"""What this step asks of the package family about the initramfs, whatever the loader."""

from __future__ import annotations

from collections.abc import Callable

from attrs import frozen


@frozen(kw_only=True)
class Initramfs:
    """How the initramfs is made complete, and how it opens encrypted partitions."""

    settings: str = ""
    """Path of a settings file of ours; empty: the family's images are complete by themselves, not fitted to the live
    system they are built from."""
    content: Callable[[bool], str] = lambda encrypted: ""
    """Its text; told whether the root file system lies in an encrypted container."""
    reads_crypttab: bool = False
    """Whether it opens containers by crypttab(5); else by the kernel parameters of systemd-cryptsetup-generator(8)."""
