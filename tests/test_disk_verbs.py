"""The disk step's runtime verbs at work on a loop device: tables, mounts, subvolumes, swap, closing.

The loop device takes root; without it these tests are skipped. Mounts are made in a mount name space of their own.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from attrs import frozen

from bedplate.rendering.shell_runtime import part
from bedplate.units import MIB
from library import LIBRARY

SHELLS = {"dash": ["dash"], "bash": ["bash", "--posix"], "busybox": ["busybox", "sh"]}
LINUX, SWAP = "0FC63DAF-8483-4772-8E79-3D69D8477DE4", "0657FD6D-A4AB-43C4-84E5-0933C84B4F4F"
"""Types of the Discoverable Partitions Specification 1.0."""
ROOT, HOME, PAGE = (f"{digit * 8}-2222-4333-8444-555555555555" for digit in ("A", "B", "C"))
TABLE = "11111111-2222-4333-8444-555555555555"
FS = f"9999999{os.environ.get('PYTEST_XDIST_WORKER', 'gw9')[-1]}-2222-4333-8444-55555555555"
"""Its own in each worker: mkfs.btrfs(8) makes no second file system of one UUID on a machine."""
ROWS = f"""label: gpt
label-id: {TABLE}
start=2048, size=409600, type={LINUX}, uuid={ROOT}, name="unfinished-root"
start=411648, size=204800, type={LINUX}, uuid={HOME}, name="unfinished-home"
start=616448, size=65536, type={SWAP}, uuid={PAGE}, name="unfinished-page"
"""
ALL = [
    "disk/append-partitions",
    "base/base-begin",
    "base/base-done",
    "base/base-mark",
    "disk/clear-places",
    "disk/close-target",
    "disk/copy-saved-table",
    "disk/delete-partitions",
    "disk/disk-holds",
    "disk/disk-is",
    "disk/disk-is-built-in",
    "disk/disk-is-unused",
    "disk/filesystem-is",
    "disk/finish-partitions",
    "is-mounted",
    "disk/is-there",
    "disk/is-unfinished",
    "disk/make-container",
    "disk/make-filesystem",
    "disk/make-subvolumes",
    "disk/make-swap-file",
    "disk/make-table",
    "disk/may-format",
    "disk/mount-in-target",
    "disk/mount-point-is-free",
    "disk/partition-ends-by",
    "disk/partition-is-idle",
    "disk/partition-is",
    "disk/partition-may-be-made",
    "disk/room-is-free",
    "disk/row-is-ours",
    "disk/row-was-not-made",
    "disk/rows-may-be-added",
    "disk/subvolumes-are",
    "disk/swap-file-is",
    "disk/swap-file-off",
    "disk/swap-is-on",
    "disk/swap-on",
    "disk/table-has-only",
    "disk/table-is",
    "table-before",
    "disk/table-is-sound",
    "disk/table-is-unfinished",
    "disk/table-is-whole",
    "base/target-empty",
    "disk/target-is-closed",
]


@frozen(kw_only=True)
class Bench:
    """A loop device and folders for the target and the scratch files."""

    node: str
    image: Path
    target: Path
    work: Path
    shell: str

    def run(self, lines: str, text: str = "") -> subprocess.CompletedProcess[str]:
        """Shell lines after the verbs, with `say`, `$DISK`, `$TARGET` and `$WORK` as a script gives them."""
        head = f"set -u\nNEW_LINE='\n'\nDISK={self.node} TARGET={self.target} WORK={self.work}\n"
        head += "say() { printf '%s\\n' \"$*\"; }\n"
        whole = head + LIBRARY.text(ALL) + "\n" + lines
        command = ["unshare", "--mount", "--propagation", "private", *SHELLS[self.shell], "-c", whole]
        return subprocess.run(command, input=text, capture_output=True, text=True, timeout=120)

    def holds(self, lines: str, text: str = "") -> str:
        """Run lines that must all succeed; what they printed."""
        ran = self.run("\n".join(f"{line} || exit 9" for line in lines.strip().splitlines()) + "\n", text)
        assert ran.returncode == 0, ran.stdout + ran.stderr
        return ran.stdout

    def fails(self, line: str) -> str:
        """Run a line that must fail and say why."""
        ran = self.run(line)
        assert ran.returncode == 1 and ran.stderr.strip(), ran
        return ran.stderr


def call(*argv: object, text: str | None = None) -> str:
    ran = subprocess.run([str(word) for word in argv], input=text, capture_output=True, text=True)
    assert ran.returncode == 0, f"{argv}: {ran.stderr}"
    return ran.stdout


@pytest.fixture(params=["dash"])
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Bench]:
    if os.getuid() != 0 or not Path("/dev/loop-control").exists():
        pytest.skip("a loop device needs root and /dev/loop-control")
    image, target, work = tmp_path / "disk.img", tmp_path / "target", tmp_path / "work"
    target.mkdir()
    work.mkdir()
    with image.open("wb") as file:
        file.truncate(400 * MIB)
    node = call("losetup", "--find", "--show", image).strip()
    try:
        yield Bench(node=node, image=image, target=target, work=work, shell=request.param)
    finally:
        subprocess.run(["partx", "--delete", node], check=False, capture_output=True)
        call("losetup", "--detach", node)


EVERY_SHELL = pytest.mark.parametrize("bench", SHELLS, indirect=True)


def made(bench: Bench) -> Bench:
    bench.holds(f"verb_make_table {ROOT} {HOME} {PAGE}", ROWS)
    return bench


@EVERY_SHELL
def test_a_new_table_clears_what_lay_there_and_is_proved(bench: Bench) -> None:
    """Signatures survive partitioning unless they are wiped (sfdisk(8), --wipe-partitions)."""
    call("mkfs.ext4", "-q", "-F", "-L", "old", bench.node)
    with bench.image.open("r+b") as file:
        file.seek(411648 * 512 + 1080)
        file.write(b"\x53\xef")
    made(bench).holds(f"""
verb_table_is {TABLE} 2048 {400 * 2048 - 34}
verb_table_is_whole {400 * MIB} 512
verb_disk_is '' {400 * MIB} 512
verb_disk_is_unused
verb_partition_is {ROOT} 2048 409600 {LINUX} unfinished-root
verb_partition_ends_by {HOME} 411648 300000 {LINUX}
verb_may_format {ROOT} ext4 {FS}1 {ROOT} unfinished-root
verb_may_format {HOME} ext4 {FS}2 {HOME} unfinished-home
verb_partition_may_be_made {ROOT} 2048 409600 {LINUX}
verb_partition_may_be_made {FS}1 2048 409600 {LINUX}
verb_room_is_free 2048 411647 {ROOT}
verb_room_is_free 411648 616447 {HOME}
verb_room_is_free 682000 700000 none
verb_table_has_only {FS}1 {HOME} {ROOT} {PAGE}
""")
    assert f"nobody knew of the partition {HOME} at 411648" in bench.fails(f"verb_table_has_only {ROOT} {PAGE}")
    assert "planned: start 2048, size 1" in bench.fails(f"verb_partition_is {ROOT} 2048 1 {LINUX}")
    assert "not named x" in bench.fails(f"verb_partition_is {ROOT} 2048 409600 {LINUX} x")
    assert "planned: start 4096" in bench.fails(f"verb_partition_may_be_made {ROOT} 4096 409600 {LINUX}")
    assert "size at most 204799" in bench.fails(f"verb_partition_ends_by {HOME} 411648 204799 {LINUX}")
    assert "inside the planned" in bench.fails(f"verb_room_is_free 411000 411648 {ROOT}")
    assert "inside the planned" in bench.fails(f"verb_room_is_free 411647 411700 {HOME}")
    assert "no line" in bench.fails(f"verb_table_is {TABLE} 34 {400 * 2048 - 34}")
    assert "no partition" in bench.fails(f"verb_partition_is {FS}1 1 1 {LINUX}")
    assert "1 bytes" not in bench.fails(f"verb_disk_is SERIAL {400 * MIB} 512")


SURVEYED = f"""label: gpt
label-id: {TABLE}
2048 409600 {LINUX} {ROOT} - -
411648 204800 {LINUX} {HOME} - -
616448 65536 {SWAP} {PAGE} - -
"""
MEMBER = b"\xfc\x4e\x2b\xa9" + bytes([0, 0, 0, 0, 90, 0, 0, 0]) + bytes(4084)
"""The record of an array's member in its old format: magic number a92b4efc, version 0.90 (md(4))."""


@EVERY_SHELL
def test_right_before_a_format_the_kernel_agrees_and_nothing_uses_the_partition(bench: Bench) -> None:
    """sysfs counts start and size in units of 512 bytes; what lies on a partition is what lsblk(8) lists below it."""
    made(bench).holds(f"""
verb_partition_is_idle {ROOT}
verb_make_filesystem {ROOT} ext4 {FS}1 root
verb_partition_is_idle {ROOT}
""")
    mounted = bench.fails(f"mount {bench.node}p1 $TARGET && verb_partition_is_idle {ROOT}")
    assert f"in use: {bench.node}p1 (part at {bench.target})" in mounted
    call("sfdisk", "--quiet", "--no-reread", "--no-tell-kernel", "-N", "2", bench.node, text="size=102400\n")
    assert 'at "411648 204800", the table says "411648 102400"' in bench.fails(f"verb_partition_is_idle {HOME}")


@EVERY_SHELL
def test_what_is_erased_is_what_the_survey_saw(bench: Bench) -> None:
    """The survey's table, row for row; nothing where it saw nothing; or the table that is being made."""
    bench.holds("verb_disk_holds NEW", "")
    bench.holds("! verb_disk_holds NEW", SURVEYED)
    bench.holds("! verb_disk_holds NEW", "disk ext4\n")
    call("mkfs.ext4", "-q", "-F", "-U", f"{FS}7", bench.node)
    bench.holds("verb_disk_holds NEW", "disk ext4\n")
    bench.holds("verb_disk_holds NEW", f"disk ext4 {FS}7\n")
    bench.holds("! verb_disk_holds NEW", f"disk ext4 {FS}8\n")
    bench.holds("! verb_disk_holds NEW", "")
    call("wipefs", "--quiet", "--all", bench.node)
    made(bench)
    bench.holds("verb_disk_holds NEW", SURVEYED)
    bench.holds(f"verb_disk_holds {TABLE}", "")
    assert "616448 65536" in bench.fails("printf 'label: gpt\\n' | verb_disk_holds NEW")
    for changed in (
        SURVEYED.replace("65536", "65528"),
        SURVEYED.replace(TABLE, ROOT),
        SURVEYED.replace(SWAP, LINUX),
        SURVEYED.replace(PAGE, TABLE),
        SURVEYED + f"700416 8192 {LINUX} {FS}3 - -\n",
        "",
    ):
        bench.holds("! verb_disk_holds NEW", changed)


@EVERY_SHELL
def test_the_contents_of_each_row_are_compared_before_all_of_it_goes(bench: Bench) -> None:
    """The rows are as they were, and somebody has put something there, or something else, since the survey."""
    made(bench)
    call("mkfs.ext4", "-q", "-F", "-U", f"{FS}7", "-E", f"offset={2048 * 512}", bench.node, "100M")
    told = bench.fails(f"verb_disk_holds NEW <<'END'\n{SURVEYED}END\n")
    assert f"{ROOT} ext4 {FS}7" in told
    known = SURVEYED.replace(f"{ROOT} - -", f"{ROOT} ext4 {FS}7")
    bench.holds("verb_disk_holds NEW", known)
    bench.holds("! verb_disk_holds NEW", known.replace(f"{FS}7", f"{FS}8"))
    bench.holds("! verb_disk_holds NEW", known.replace("ext4", "ntfs"))
    call("mkfs.ext4", "-q", "-F", "-E", f"offset={616448 * 512}", bench.node, "30M")
    bench.holds("! verb_disk_holds NEW", known)


def test_a_record_on_the_disk_beside_its_table_stops_the_erasing(bench: Bench) -> None:
    """A member of an array keeps its record behind the table: 64 KiB before the end in the old format (md(4))."""
    made(bench)
    bench.holds("verb_disk_holds NEW", SURVEYED)
    with open(bench.node, "r+b") as file:
        file.seek((400 * MIB // 65536 - 1) * 65536)
        file.write(MEMBER)
    assert "linux_raid_member" in call("wipefs", "--no-act", bench.node)
    bench.holds("! verb_disk_holds NEW", SURVEYED)
    bench.holds("verb_disk_holds NEW", SURVEYED + "disk linux_raid_member\n")


@EVERY_SHELL
@pytest.mark.parametrize(
    ("how", "fixed"),
    [
        ('TRAN="nvme" RM="0" HOTPLUG="0"', True),
        ('TRAN="sata" RM="0" HOTPLUG="0"', True),
        ('TRAN="" RM="0" HOTPLUG="0"', True),
        ('TRAN="usb" RM="0" HOTPLUG="1"', False),
        ('TRAN="usb" RM="0" HOTPLUG="0"', False),
        ('TRAN="sata" RM="1" HOTPLUG="0"', False),
        ('TRAN="sbp" RM="0" HOTPLUG="0"', False),
        ('TRAN="mmc" RM="0" HOTPLUG="1"', False),
        ('TRAN="sata" RM="0" HOTPLUG="1"', False),
        ("", False),
    ],
)
def test_a_disk_that_can_be_unplugged_is_told(bench: Bench, how: str, fixed: bool) -> None:
    """Columns of lsblk(8); a card without the kernel's word for soldered ones is one that can be pulled out."""
    fake = f"lsblk() {{ printf '%s\\n' '{how}'; }}\n"
    if fixed:
        bench.holds(fake + "verb_disk_is_built_in")
    else:
        assert "can be unplugged" in bench.fails(fake + "verb_disk_is_built_in")
    assert bench.run("lsblk() { return 1; }\nverb_disk_is_built_in").returncode == 1


@pytest.mark.parametrize("how", ["mmc", ""])
@pytest.mark.parametrize(("kind", "status"), [("MMC", 0), ("SD", 1), ("0", 1)])
def test_a_soldered_memory_card_is_built_in(how: str, kind: str, status: int, tmp_path: Path) -> None:
    """Linux, Documentation/mmc/mmc-dev-attrs: type is MMC or SD. That older tools say no TRAN of it is from memory."""
    device = tmp_path / "mmcblk0/device"
    device.mkdir(parents=True)
    (device / "type").write_text(f"{kind}\n")
    verb = LIBRARY.text(["disk/disk-is-built-in"]).replace("/sys/class/block", str(tmp_path))
    fake = f'DISK=/dev/mmcblk0\nlsblk() {{ echo \'TRAN="{how}" RM="0" HOTPLUG="1"\'; }}\n'
    ran = subprocess.run(["dash", "-c", f"{fake}{verb}\nverb_disk_is_built_in"], capture_output=True, check=False)
    assert ran.returncode == status


def test_a_table_of_another_kind_is_compared_too(bench: Bench) -> None:
    """sfdisk prints identifier and types of a dos table in small letters, and no GUIDs (util-linux 2.38.1)."""
    call("sfdisk", "--quiet", "--no-reread", bench.node, text="label: dos\nlabel-id: 0xabc01234\n2048,8192,c\n")
    bench.holds("verb_disk_holds NEW", "label: dos\nlabel-id: 0xabc01234\n2048 8192 C - - -\n")
    bench.holds("! verb_disk_holds NEW", "label: dos\nlabel-id: 0xabc01234\n2048 8192 7 - - -\n")
    bench.holds("! verb_disk_holds NEW", "")


def test_our_own_table_cut_short_may_be_made_again(bench: Bench) -> None:
    """Both headers gone, our rows in one copy: the writing of our own table was cut short, as long as nothing else
    lies there. sfdisk then shows the protective MBR (util-linux 2.38.1)."""
    made(bench)
    with open(bench.node, "r+b") as file:
        for sector in (1, 400 * 2048 - 1):
            file.seek(sector * 512)
            file.write(bytes(512))
    bench.holds("! verb_disk_holds NEW", SURVEYED)
    ours = f"OUR_PARTITIONS='{ROOT} {HOME}'\n"
    bench.holds(ours + "verb_disk_holds NEW", SURVEYED)
    call("mkfs.ext4", "-q", "-F", bench.node)
    bench.holds(ours + "! verb_disk_holds NEW", SURVEYED)


def test_a_damaged_or_misplaced_table_is_told(bench: Bench) -> None:
    made(bench)
    second = bench.fails(f"verb_table_is_whole {500 * MIB} 512")
    assert second.startswith(f"the second header is on sector {400 * 2048 - 1}")
    with open(bench.node, "r+b") as file:
        file.seek(462)
        file.write(b"\x01" * 16)
    assert "protective MBR" in bench.fails(f"verb_table_is_whole {400 * MIB} 512")
    with open(bench.node, "r+b") as file:
        file.seek(512)
        file.write(bytes(512))
    assert "corrupt" in bench.fails(f"verb_partition_is {ROOT} 2048 409600 {LINUX}")


def test_names_of_foreign_partitions_cannot_pass_for_ours(bench: Bench) -> None:
    made(bench)
    lie = f"x: start=1, size=1, type={LINUX}, uuid={FS}7"
    call("sfdisk", "--quiet", "--no-reread", "--part-label", bench.node, 2, lie[:36])
    bench.holds(f"verb_partition_is {HOME} 411648 204800 {LINUX}")
    bench.fails(f"verb_partition_is {FS}7 1 1 {LINUX}")


def test_appending_twice_adds_nothing_and_deleting_brings_the_table_back(bench: Bench) -> None:
    made(bench)
    before = call("sfdisk", "--dump", bench.node)
    row = f'start=700416, size=8192, type={LINUX}, uuid={FS}3, name="unfinished-more"\n'
    bench.holds(f"verb_append_partitions {FS}3", row)
    bench.holds(f"verb_append_partitions {FS}3", row)
    assert len(call("sfdisk", "--dump", bench.node).splitlines()) == len(before.splitlines()) + 1
    bench.holds(f"OUR_ROWS='{FS}3 700416 8192 {LINUX} ext4 {FS}5 - more'\nverb_delete_partitions {FS}3 {FS}4")
    assert call("sfdisk", "--dump", bench.node) == before


def test_the_saved_table_is_the_one_of_before(bench: Bench) -> None:
    made(bench)
    whole = call("sfdisk", "--dump", bench.node)
    stick, kept = bench.work / "stick" / "table.dump", bench.target / "var" / "table.dump"
    stick.parent.mkdir()
    bench.holds(f"""
verb_table_before - {PAGE}
cp {bench.work}/before {stick}
COPIES={stick.parent} verb_copy_saved_table {kept}
verb_is_there {kept}
""")
    assert stick.read_text() == "".join(line for line in whole.splitlines(keepends=True) if PAGE not in line)
    assert kept.read_text() == stick.read_text() and kept.stat().st_mode & 0o777 == 0o600
    stick.write_text("later")
    bench.holds(f"COPIES={stick.parent} verb_copy_saved_table {kept}")
    assert kept.read_text() != "later", "an older copy stays"
    assert "not at hand" in bench.fails(f"COPIES= verb_copy_saved_table {kept}2")


@EVERY_SHELL
def test_mounts_subvolumes_swap_and_the_closing(bench: Bench) -> None:
    """Everything in one name space, as in one run of a script."""
    made(bench)
    bench.holds(f"""
verb_make_filesystem {ROOT} btrfs {FS}1 'kelp root'
verb_make_filesystem {HOME} ext4 {FS}2 ''
verb_make_filesystem {PAGE} swap {FS}3 page
verb_filesystem_is {ROOT} btrfs {FS}1 'kelp root'
verb_filesystem_is {HOME} ext4 {FS}2 ''
verb_filesystem_is {PAGE} swap {FS}3 page
verb_may_format {HOME} ext4 {FS}2 {HOME} unfinished-home
verb_make_subvolumes {ROOT} @ @srv
verb_make_subvolumes {ROOT} @ @srv
verb_subvolumes_are {ROOT} @ @srv
verb_mount_in_target {ROOT} {bench.target}/ btrfs subvol=@,compress=zstd @
verb_mount_in_target {ROOT} {bench.target}/ btrfs subvol=@,compress=zstd @
verb_mount_in_target {HOME} {bench.target}/home ext4 defaults ''
verb_mount_in_target {ROOT} {bench.target}/srv btrfs subvol=@srv @srv
verb_is_mounted {ROOT} {bench.target}/ @
verb_is_mounted {HOME} {bench.target}/home
verb_is_mounted {ROOT} {bench.target}/srv @srv
verb_mount_point_is_free {ROOT} {bench.target}/ @
verb_mount_point_is_free {ROOT} {bench.target}/var
! verb_mount_point_is_free {HOME} {bench.target}/srv
verb_subvolumes_are {ROOT} @ @srv
verb_swap_on {PAGE}
verb_swap_is_on {PAGE}
verb_make_swap_file {bench.target}/swapfile 20 {FS}4
verb_swap_file_is {bench.target}/swapfile 20 {FS}4
verb_make_swap_file {bench.target}/home/swap/file 10 {FS}5
verb_swap_file_is {bench.target}/home/swap/file 10 {FS}5
! verb_target_is_closed
! verb_disk_is_unused
! verb_may_format {HOME} ext4 {FS}2 {HOME} unfinished-home
! verb_is_mounted {HOME} {bench.target}/srv
! verb_mount_in_target {HOME} {bench.target}/srv ext4 defaults ''
! verb_swap_file_is {bench.target}/swapfile 21 {FS}4
mkdir {bench.target}/dev
mount --rbind /dev {bench.target}/dev
verb_close_target swap:{PAGE} container:none
verb_target_is_closed
verb_disk_is_unused
! verb_swap_is_on {PAGE}
""")
    assert Path("/dev/null").exists()
    assert "holds: type ext4" in bench.fails(f"verb_filesystem_is {HOME} ext4 {FS}2 label")
    assert "holds something: type ext4" in bench.fails(f"verb_may_format {HOME} xfs {FS}2 {HOME} unfinished-home")
    assert "missing subvolumes: @no" in bench.fails(f"verb_subvolumes_are {ROOT} @ @no")


def test_a_container_opens_with_the_passphrase_as_it_will_be_typed(bench: Bench) -> None:
    """No line end becomes part of the key (cryptsetup-luksFormat(8)). Opening is left to the proving bench: it takes
    device mapper; here the passphrase is only tried."""
    made(bench)
    bench.holds(
        f"verb_make_container {HOME} {FS}6 home\nverb_filesystem_is {HOME} crypto_LUKS {FS}6 home", "salt & sea"
    )
    tried = ["cryptsetup", "open", "--test-passphrase", f"{bench.node}p2"]
    assert subprocess.run(tried, input="salt & sea\n", text=True).returncode == 0
    assert subprocess.run(tried, input="salt & sea \n", text=True, capture_output=True).returncode != 0


RUNTIME = """
MODE=install LOG=$WORK/log LOG_OPEN= TICKING= CLOCK= TOTAL=1
PROVED=' ' COPY_OF= COPIES= WORKED= DONE= INSIDE= BEGUN= CHANGED= SAID= QUIET=
TABLE= TABLE_READ= PEEKED= REACHING= EARLIER= LAST_COMMAND= LAST_STATUS=
exec 3</dev/null 4>&1
: >"$LOG"
keep_log() { :; }
print_kept() { :; }
home() { verb_partition_is HOME 411648 204800 KIND; }
not() { if "$@"; then return 9; fi; }
behind_its_back() { sfdisk -q --delete "$DISK" 2; }
proof_1_x() { expect 'home is there' '' home; }
"""
"""What the runtime's parts need of a whole script, and an action whose proof looks at the table.

When a table is read anew is a rule of the script's own (no source); sfdisk(8) changes it behind its back."""


def with_runtime(bench: Bench, lines: str) -> str:
    parts = "\n".join(part(name) for name in ("common", "run", "copies", "look", "install", "report"))
    ran = bench.run(f"{parts}\n{RUNTIME.replace('HOME', HOME).replace('KIND', LINUX)}\nset -e\n{lines}")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


@EVERY_SHELL
def test_a_table_is_read_once_for_a_look_and_anew_after_every_command(bench: Bench) -> None:
    made(bench)
    with_runtime(bench, "home; behind_its_back; home; run true; not home 2>/dev/null")


@EVERY_SHELL
def test_every_action_reads_the_table_anew_before_its_first_proof(bench: Bench) -> None:
    made(bench)
    said = with_runtime(
        bench,
        """
do_1_x() { run true; }
home
carry_out 1 x live change,proof '' 'Prove it'
behind_its_back
home
not carry_out 1 x live change,proof '' 'Prove it'
""",
    )
    assert "Prove it: already done" in said
    assert "The work is done, but its proof does not hold." in said


@EVERY_SHELL
def test_the_look_around_and_the_first_guards_read_the_table_anew(bench: Bench) -> None:
    made(bench)
    with_runtime(
        bench,
        """
guard_tools() { :; }
guard_1_x() { proof_1_x; }
for_each_action() { "$@" 1 x live guard,proof '' 'Prove it'; }
home
behind_its_back
look_around
[ "$PROVED" = ' ' ]
TABLE_READ=
not home 2>/dev/null
""",
    )
    made(bench)
    with_runtime(
        bench,
        """
guard_tools() { :; }
guard_1_x() { proof_1_x; }
for_each_action() { "$@" 1 x live guard '' 'Guard it'; }
home
behind_its_back
not find_everything_wrong >/dev/null
""",
    )
