"""The rack: the machines of one test, and what is kept of them when it is over."""

from pathlib import Path

from attrs import define, field

from .disks import STICK, blank_disk
from .factory import FactoryMachine
from .machine import Hardware, Machine


@define(kw_only=True)
class Rack:
    """Machines by name, each in a folder of its own under ``folder``."""

    folder: Path
    machines: dict[str, Machine] = field(factory=dict)

    def factory(self, name: str, saved: FactoryMachine, hardware: Hardware | None = None) -> Machine:
        """A machine fresh from the factory, the other system on its disk."""
        return self._keep(name, saved.unpack(self.folder / name, hardware))

    def blank(
        self,
        name: str,
        *,
        size_mib: int = 12 * 1024,
        serial: str = "SALTMARSH0002",
        sector_bytes: int = 512,
        hardware: Hardware | None = None,
    ) -> Machine:
        """A machine with one empty disk of ``size_mib`` MiB."""
        folder = self.folder / name
        folder.mkdir(parents=True)
        disk = blank_disk(folder / "disk.qcow2", size_mib=size_mib, serial=serial, sector_bytes=sector_bytes)
        return self._keep(name, Machine(folder=folder, disks=[disk], hardware=hardware or Hardware()))

    def fork(self, name: str, machine: Machine) -> Machine:
        """A machine that goes on from another one's present state; the other must stay off meanwhile."""
        return self._keep(name, machine.fork(self.folder / name))

    def _keep(self, name: str, machine: Machine) -> Machine:
        self.machines[name] = machine
        return machine

    def clear(self) -> None:
        """Switch everything off, write the timings down, and drop the disks; serial logs stay."""
        for machine in self.machines.values():
            machine.off()
            lines = [f"{seconds:8.1f} s  {what}\n" for what, seconds in machine.timings]
            (machine.folder / "timings.txt").write_text("".join(lines))
        for image in (*self.folder.rglob("*.qcow2"), *self.folder.rglob(STICK)):
            image.unlink()
