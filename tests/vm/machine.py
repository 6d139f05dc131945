"""A virtual machine with UEFI firmware: QEMU under software emulation, OVMF, one serial console."""

import os
import shlex
import shutil
import signal
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

import pexpect
from attrs import define, field, frozen

from .console import Console, ConsoleError, save_as_text
from .disks import STICK, Disk, second_stick
from .media import KERNEL_PARAMETERS, LIVE_HOST_NAME, LiveMedium
from .tools import call

_FIRMWARE = Path("/usr/share/OVMF")
_SHARE_TAG = "share"
SHARE_MOUNT = "/media/share"
"""Where ``mount_share`` puts the shared folder inside the machine."""
LIVE_BOOT = "boot live medium"
"""What that is called in a machine's timings."""


@frozen(kw_only=True)
class Hardware:
    """What the machine is made of, apart from its disks."""

    memory_mib: int = 2048
    processors: int = 2
    mac: str = "52:54:00:5a:17:01"
    network: Literal["open", "isolated", "unplugged"] = "open"
    """``isolated`` has a link and an address but reaches nothing; ``unplugged`` has no adapter."""
    clock: str = "utc"
    """``-rtc base=`` of qemu(1): ``utc``, or a start time such as ``2036-01-31T12:00:00``.

    A time before systemd's own build is put right by systemd itself at the start (systemd(1), "clock
    epoch"), so a clock that is to stay wrong has to be ahead.
    """
    firmware: Literal["uefi", "legacy"] = "uefi"


@define(kw_only=True)
class Machine:
    """A machine that keeps its disks and firmware variables in ``folder`` between boots."""

    folder: Path
    disks: list[Disk]
    hardware: Hardware = field(factory=Hardware)
    timings: list[tuple[str, float]] = field(factory=list)
    """(what, seconds) of each boot and each ``timed`` block, in order."""
    _child: "pexpect.spawn[str] | None" = None
    _boots: int = 0

    @property
    def share(self) -> Path:
        """Host side of the folder that ``mount_share`` makes visible inside."""
        path = self.folder / "share"
        path.mkdir(parents=True, exist_ok=True)
        return path

    @property
    def variables(self) -> Path:
        """The firmware's variable store; a factory-fresh one on first use."""
        path = self.folder / "OVMF_VARS.fd"
        if not path.is_file():
            self.folder.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(_FIRMWARE / "OVMF_VARS_4M.fd", path)
        return path

    def fork(self, folder: Path) -> "Machine":
        """A second machine that goes on from this one's disks and variables, which must be off."""
        folder.mkdir(parents=True)
        shutil.copyfile(self.variables, folder / "OVMF_VARS.fd")
        if (self.folder / STICK).exists():
            call(["cp", "--sparse=always", self.folder / STICK, folder / STICK])
        disks = [disk.overlay(folder / f"{disk.serial}.qcow2") for disk in self.disks]
        return Machine(folder=folder, disks=disks, hardware=self.hardware)

    def boot_live(self, medium: LiveMedium, timeout: float = 300) -> Console:
        """Start the live medium, with the second stick plugged in; ends in root's plain shell on it."""
        kernel = ["-kernel", str(medium.kernel), "-initrd", str(medium.initrd)]
        disks = [medium.disk, *self.disks, second_stick(self.folder)]
        console = self.power_on(disks, [*kernel, "-append", KERNEL_PARAMETERS])
        with self.timed(LIVE_BOOT):
            console.plain_shell(rf"root@{LIVE_HOST_NAME}:~# ", timeout)
        return console

    def boot_disk(self) -> Console:
        """Start what the firmware's boot entries choose; what appears is for the caller to expect."""
        return self.power_on(self.disks, [])

    def power_on(self, disks: list[Disk], boot: list[str]) -> Console:
        """Switch on with these disks in this order; ConsoleError when the machine is on already."""
        if self._child is not None:
            raise ConsoleError(f"machine in {self.folder} is on already")
        words = [*self._board(), *boot]
        for number, disk in enumerate(disks):
            words += _disk_words(number, disk)
        self._boots += 1
        self._child = pexpect.spawn(
            words[0], words[1:], encoding="utf-8", codec_errors="replace", preexec_fn=_keep_line_ends
        )
        self._child.delaybeforesend = None
        self._child.logfile_read = self._recording().open("w")
        return Console(child=self._child)

    def _board(self) -> list[str]:
        made = self.hardware
        # the baseline processor: newer instructions are used where they are found, and cost more than they save here
        words = shlex.split("qemu-system-x86_64 -machine q35 -accel tcg,thread=multi -cpu qemu64,-svm -nodefaults")
        words += ["-m", str(made.memory_mib), "-smp", str(made.processors), "-rtc", f"base={made.clock}"]
        words += shlex.split("-display none -monitor none -serial stdio -no-reboot -device virtio-rng-pci")
        words += ["-fsdev", f"local,id=share,path={self.share},security_model=none"]
        words += ["-device", f"virtio-9p-pci,fsdev=share,mount_tag={_SHARE_TAG}"]
        return words + self._firmware_words() + self._network_words()

    def _firmware_words(self) -> list[str]:
        if self.hardware.firmware == "legacy":
            return []
        code = f"if=pflash,format=raw,unit=0,readonly=on,file={_FIRMWARE / 'OVMF_CODE_4M.fd'}"
        return ["-drive", code, "-drive", f"if=pflash,format=raw,unit=1,file={self.variables}"]

    def _network_words(self) -> list[str]:
        if self.hardware.network == "unplugged":
            return []
        restrict = "on" if self.hardware.network == "isolated" else "off"
        # without an option ROM the firmware does not spend a minute on network boot
        adapter = f"virtio-net-pci,netdev=net,mac={self.hardware.mac},romfile="
        return ["-netdev", f"user,id=net,ipv6=off,restrict={restrict}", "-device", adapter]

    def _recording(self) -> Path:
        return self.folder / f"serial-{self._boots}.raw"

    def mount_share(self, console: Console) -> None:
        """Mount the shared folder at SHARE_MOUNT inside a running Linux."""
        options = "trans=virtio,version=9p2000.L,msize=524288"
        console.check(f"mkdir -p {SHARE_MOUNT} && mount -t 9p -o {options} {_SHARE_TAG} {SHARE_MOUNT}")

    def wait_off(self, timeout: float = 120) -> None:
        """Wait until the machine has switched itself off (or restarted, which ends it as well)."""
        child = self._running()
        try:
            child.expect(pexpect.EOF, timeout=timeout)
        except pexpect.TIMEOUT:
            raise ConsoleError(f"machine in {self.folder} still on after {timeout} s") from None
        finally:
            self.power_cut()

    def off(self) -> None:
        """Take the power away if it is on: the way to leave a test."""
        if self._child is not None:
            self.power_cut()

    def power_off(self, console: Console, timeout: float = 120) -> None:
        """Shut down from root's plain shell and wait until the machine is off."""
        with self.timed("power off"):
            console.answer("systemctl poweroff")
            self.wait_off(timeout)

    def power_cut(self) -> None:
        """Take the power away: what the disks have not been told to keep may be lost."""
        child, self._child = self._running(), None
        # on any softer signal QEMU would write out what it holds (qemu(1), main loop)
        child.kill(signal.SIGKILL)
        child.close(force=True)
        if child.logfile_read is not None:
            child.logfile_read.close()
        recording = self._recording()
        save_as_text(recording, recording.with_suffix(".txt"))
        recording.unlink()

    @contextmanager
    def stopped(self) -> Iterator[None]:
        """Hold the emulator (SIGSTOP): its files are meanwhile exactly what a power cut would leave of them."""
        child = self._running()
        child.kill(signal.SIGSTOP)
        try:
            yield
        finally:
            child.kill(signal.SIGCONT)

    def processor_seconds(self) -> float:
        """What the emulator has used of the host's processors since power on: proc_pid_stat(5), utime and stime."""
        fields = Path(f"/proc/{self._running().pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def _running(self) -> "pexpect.spawn[str]":
        if self._child is None:
            raise ConsoleError(f"machine in {self.folder} is off")
        return self._child

    @contextmanager
    def timed(self, what: str) -> Iterator[None]:
        """Add the wall time of a block to ``timings``, in seconds."""
        begun = time.monotonic()
        yield
        self.timings.append((what, time.monotonic() - begun))


def _keep_line_ends() -> None:
    """Let the terminal QEMU runs on pass line ends as the machine sends them."""
    modes = termios.tcgetattr(0)
    modes[1] &= ~termios.ONLCR
    termios.tcsetattr(0, termios.TCSANOW, modes)


def _disk_words(number: int, disk: Disk) -> list[str]:
    # a read-only image gets a layer that is thrown away, so that a live root can be written to
    layer = ",snapshot=on" if disk.read_only else ""
    cache = "writeback" if disk.durable else "unsafe"
    drive = f"if=none,id=disk{number},format={disk.format},file={disk.path},cache={cache},discard=unmap{layer}"
    model = {"virtio": "virtio-blk-pci", "nvme": "nvme", "sata": "ide-hd", "usb": "usb-storage"}[disk.bus]
    sectors = f"logical_block_size={disk.sector_bytes},physical_block_size={disk.sector_bytes}"
    controller = ["-device", "qemu-xhci"] if disk.bus == "usb" else []
    device = ["-device", f"{model},drive=disk{number},serial={disk.serial},{sectors}"]
    return [*controller, "-drive", drive, *device]
