"""The `[disk]` section as frozen types. Field names are the TOML keys; what they mean stands in `disk.json`."""

from __future__ import annotations

from attrs import field, frozen

from bedplate.units import Request, Size


@frozen(kw_only=True)
class Keep:
    """One partition that stays: `[[disk.keep]]`."""

    name: str
    partition: str
    """Its unique GUID, as the survey shows it."""
    role: str = "other"
    mount: str = ""
    options: tuple[str, ...] = ()
    shrink_to: Size | None = None


@frozen(kw_only=True)
class SubvolumeWish:
    """One btrfs subvolume: `[[disk.new.subvolumes]]`."""

    name: str
    mount: str
    options: tuple[str, ...] = ()


@frozen(kw_only=True)
class New:
    """One partition that is made: `[[disk.new]]`."""

    name: str
    size: Request
    filesystem: str
    label: str = ""
    mount: str = ""
    options: tuple[str, ...] = ()
    type: str = ""
    encrypt: bool = False
    subvolumes: tuple[SubvolumeWish, ...] = ()

    @property
    def mounts(self) -> tuple[str, ...]:
        """Every mount point it serves, its own or those of its subvolumes."""
        own = (self.mount,) if self.mount else ()
        return own + tuple(volume.mount for volume in self.subvolumes)


@frozen(kw_only=True)
class SwapFile:
    """A swap file in the target: `swap_file`."""

    size: Size
    path: str = "/swapfile"


@frozen(kw_only=True)
class OtherSystem:
    """What has to be known of the system that stays: `[disk.other_system]`."""

    encryption: str
    recovery_key_place: str = ""
    start_by: str = "firmware-menu"


@frozen(kw_only=True)
class DiskSection:
    """The whole section."""

    serial: str = ""
    by_id: str = ""
    model: str = ""
    size: Size | None = None
    table: str = ""
    """`keep`, `new`, or empty: nobody has decided."""
    erases: tuple[str, ...] = ()
    removable: bool = False
    swap_file: SwapFile | None = None
    hibernate: bool = False
    keep: tuple[Keep, ...] = field(default=())
    new: tuple[New, ...] = field(default=())
    other_system: OtherSystem | None = None

    @property
    def whole_disk(self) -> bool:
        """Whether the table is made anew and everything on the disk is lost."""
        return self.table == "new"
