"""Finished is finished: rows are named as unfinished until all on them is made, and no rerun makes a finished one anew.

Staged with real mkfs on a loop device, which takes root. The rule is the project's own (no source); names in a GPT, and
where they lie: UEFI specification 5.3.3.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from attrs import evolve

from bedplate.facts import LaidPartition
from bedplate_steps.disk import inspect
from test_disk_verbs import EVERY_SHELL, FS, HOME, LINUX, PAGE, ROOT, TABLE, Bench, bench, call, made
from test_undo import damage

__all__ = ["bench"]

NAMES = f"{ROOT} unfinished-root root {HOME} unfinished-home home {PAGE} unfinished-page page"
MARKS = f"{ROOT} unfinished-root {HOME} unfinished-home {PAGE} unfinished-page"
WANTED = f"{HOME} unfinished-home {HOME} ext4 {FS}2 home"


def finished(bench: Bench) -> Bench:
    made(bench).holds(f"""
verb_make_filesystem {ROOT} ext4 {FS}1 root
verb_make_filesystem {HOME} ext4 {FS}2 home
verb_make_filesystem {PAGE} swap {FS}3 page
verb_finish_partitions {NAMES}
""")
    return bench


def names(bench: Bench) -> list[str]:
    return [
        line.partition('name="')[2].rstrip('"')
        for line in call("sfdisk", "--dump", bench.node).splitlines()
        if "name=" in line
    ]


@EVERY_SHELL
def test_rows_get_their_names_while_something_on_the_disk_is_in_use(bench: Bench) -> None:
    made(bench)
    bench.holds(f"""
verb_make_filesystem {ROOT} ext4 {FS}1 root
verb_is_unfinished {ROOT} unfinished-root {ROOT} ext4 {FS}1 root
verb_mount_in_target {ROOT} {bench.target}/ ext4 defaults
verb_finish_partitions {ROOT} unfinished-root root {PAGE} unfinished-page page
verb_table_is_sound
verb_partition_is_ready {ROOT}
verb_finish_partitions {ROOT} unfinished-root root {PAGE} unfinished-page page
""")
    assert names(bench) == ["root", "unfinished-home", "page"]
    bench.holds(f"verb_finish_partitions {NAMES}\nverb_partition_is {HOME} 411648 204800 {LINUX} home")
    assert names(bench) == ["root", "home", "page"]


@pytest.mark.parametrize("sector", [1, 2, 819199, 819167], ids=["header", "entries", "second header", "second entries"])
def test_a_naming_that_was_cut_short_is_gone_on_with(bench: Bench, sector: int) -> None:
    """Each copy of the table is written by itself: UEFI specification 5.3.1."""
    made(bench).holds(f"verb_finish_partitions {ROOT} unfinished-root root")
    damage(bench, sector)
    bench.holds(f"OUR_PARTITIONS={ROOT}\nverb_finish_partitions {NAMES}\nverb_table_is_sound")
    assert names(bench) == ["root", "home", "page"]


def test_a_row_that_somebody_renamed_is_not_named_over(bench: Bench) -> None:
    made(bench)
    call("sfdisk", "--quiet", "--no-reread", "--part-label", bench.node, 2, "photographs")
    assert 'is named "photographs"' in bench.fails(f"verb_finish_partitions {NAMES}")
    assert 'is named "photographs"' in bench.fails(f"verb_row_is_ours {HOME} unfinished-home home")
    bench.holds(f"verb_row_is_ours {ROOT} unfinished-root root\nverb_row_is_ours {FS}9 x")


def kept(bench: Bench) -> Path:
    """A file of somebody's on the finished home."""
    bench.holds(f"mount {bench.node}p2 $TARGET\necho 1961 >$TARGET/precious.csv\numount $TARGET")
    return bench.target / "precious.csv"


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ("e2label {}p2 holiday", 'its label is "holiday", planned is "home": set that'),
        ("mkfs.ext4 -q -F -U random {}p2", "holds ext4, UUID"),
        ("dd if=/dev/zero of={}p2 bs=1024 seek=1 count=1 conv=notrunc", "nothing is seen on"),
        ("mkfs.fat -F 32 {}p2", "holds vfat, UUID"),
        ("mkswap {}p2", "holds swap, UUID"),
        ("dd if=/dev/zero of={}p2 bs=1M count=100 conv=notrunc", "take the installation back with --undo"),
    ],
    ids=["label", "UUID", "first superblock zeroed", "vfat instead", "swap instead", "all zeroed"],
)
def test_a_finished_partition_is_never_formatted_again(bench: Bench, event: str, words: str) -> None:
    """L1 and X1: with the same UUID and another label, or with nothing to be seen, it was. Whatever is there stays."""
    finished(bench)
    kept(bench)
    subprocess.run(event.format(bench.node).split(), check=True, capture_output=True)
    before = Path(f"{bench.node}p2").read_bytes()
    said = bench.fails(f"verb_is_unfinished {WANTED}")
    assert 'the partition "home" is finished, and stays as it is' in said and words in said
    assert "no unfinished one of ours" in bench.fails(f"verb_may_format {HOME} ext4 {FS}2 {HOME} unfinished-home")
    assert Path(f"{bench.node}p2").read_bytes() == before


def test_a_relabelled_container_is_never_made_again(bench: Bench) -> None:
    """The label of a LUKS2 header is changed with cryptsetup-config(8)."""
    made(bench).holds(f"verb_make_container {HOME} {FS}6 home\nverb_finish_partitions {NAMES}", "salt & sea")
    call("cryptsetup", "config", "--label", "photos", f"{bench.node}p2")
    said = bench.fails(f"verb_is_unfinished {HOME} unfinished-home {HOME} crypto_LUKS {FS}6 home")
    assert 'its label is "photos", planned is "home"' in said
    assert bench.fails(f"verb_may_format {HOME} crypto_LUKS {FS}6 {HOME} unfinished-home")
    inside = f"{HOME} unfinished-home /dev/mapper/no-such ext4 {FS}2 home"
    assert "what is on it cannot be seen" in bench.fails(f"verb_is_unfinished {inside}")


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ("mkfs.ext4 -q -F {}p2", "holds something: type ext4"),
        ("mkswap {}p2", "holds something: type swap"),
        ("dd if=/dev/urandom of={}p2 bs=1M count=1 conv=notrunc", ""),
    ],
)
def test_an_unfinished_one_may_be_formatted_while_nobody_put_something_there(
    bench: Bench, event: str, words: str
) -> None:
    made(bench)
    may = f"verb_may_format {HOME} ext4 {FS}2 {HOME} unfinished-home"
    bench.holds(f"{may}\nverb_is_unfinished {WANTED}\nverb_make_filesystem {HOME} ext4 {FS}2 ''\n{may}")
    call("wipefs", "--quiet", "--all", f"{bench.node}p2")
    subprocess.run(event.format(bench.node).split(), check=True, capture_output=True)
    if words:
        assert words in bench.fails(may)
    else:
        bench.holds(may)


@pytest.mark.parametrize(
    "tool",
    [
        "wipefs() { echo zfs_member,77; }",
        "wipefs() { return 1; }",
        "blkid() { echo TYPE=ext4; }",
        "blkid() { return 8; }",
    ],
)
def test_both_tools_have_to_see_nothing(bench: Bench, tool: str) -> None:
    """One that fails, or sees what the other does not, is doubt. Exit status 8 of blkid(8): ambivalent result."""
    may = f"verb_may_format {HOME} ext4 {FS}2 {HOME} unfinished-home"
    made(bench).holds(may)
    ran = bench.run(f"{tool}\n{may}")
    assert ran.returncode == 1


def test_a_table_with_finished_rows_is_not_made_anew(bench: Bench) -> None:
    """Whole, with a row that somebody added, and with both headers gone."""
    guard = f"verb_table_is_unfinished {TABLE} {ROOT} {HOME} {PAGE}"
    bench.holds(guard)
    made(bench).holds(guard)
    bench.holds(f"verb_finish_partitions {PAGE} unfinished-page page")
    assert f"{PAGE} of this very plan is finished" in bench.fails(guard)
    for sector in (1, 819199):
        with open(bench.node, "r+b") as file:
            file.seek(sector * 512)
            file.write(bytes(512))
    assert f"{PAGE} of this very plan is finished" in bench.fails(guard)


def test_a_half_written_table_of_ours_may_be_made_again_and_one_with_a_stranger_not(bench: Bench) -> None:
    guard = f"verb_table_is_unfinished {TABLE} {ROOT} {HOME} {PAGE}"
    row = f"start=700416, size=8192, type={LINUX}, uuid={FS}3\n"
    call("sfdisk", "--quiet", "--no-reread", "--append", made(bench).node, text=row)
    assert f"somebody added the partition {FS}3" in bench.fails(guard)
    made(bench)
    for sector in (1, 819199):
        with open(bench.node, "r+b") as file:
            file.seek(sector * 512)
            file.write(bytes(512))
    bench.holds(guard)


def test_a_row_that_is_lacking_beside_a_finished_one_is_not_made_anew(bench: Bench) -> None:
    made(bench).holds(f"verb_rows_may_be_added {MARKS} {FS}9 unfinished-more")
    bench.holds(f"verb_finish_partitions {NAMES}\nverb_rows_may_be_added {MARKS}")
    call("sfdisk", "--quiet", "--no-reread", "--no-tell-kernel", "--delete", bench.node, 2)
    said = bench.fails(f"verb_rows_may_be_added {MARKS}")
    assert said == f"finished: root page; not in the table: {HOME}\n"


def test_a_change_that_was_carried_out_makes_no_row_again(bench: Bench) -> None:
    papers = bench.target / "var/lib/bedplate"
    papers.mkdir(parents=True)
    made(bench).holds(f"DIGEST=abc\nverb_row_was_not_made {FS}9")
    (papers / "spec").symlink_to("specs/abc")
    bench.holds(f"DIGEST=abc\nverb_row_was_not_made {HOME}\nDIGEST=other\nverb_row_was_not_made {FS}9")
    assert "no partition" in bench.fails(f"DIGEST=abc\nverb_row_was_not_made {FS}9")


def test_a_swap_file_replaces_nothing_and_only_our_own_is_removed(bench: Bench) -> None:
    """X4: a database was overwritten. Of somebody's file of that name every byte stays, and so does a link."""
    data = bench.target / "readings.db"
    data.write_text("1961\n")
    assert "is there already: regular file, 5 bytes" in bench.fails(f"verb_make_swap_file {data} 1 {FS}4")
    assert "it stays as it is" in bench.fails(f"verb_swap_file_off {data} {FS}4")
    assert data.read_text() == "1961\n"
    link = bench.target / "link"
    link.symlink_to("nowhere")
    assert "is there already" in bench.fails(f"verb_make_swap_file {link} 1 {FS}4")
    file, cut = bench.target / "swapfile", bench.target / "swapfile.unfinished"
    cut.write_bytes(b"cut short")
    bench.holds(f"verb_make_swap_file {file} 2 {FS}4\nverb_swap_file_is {file} 2 {FS}4")
    assert not cut.exists()
    assert bench.fails(f"verb_make_swap_file {file} 2 {FS}4")
    assert "it stays as it is" in bench.fails(f"verb_swap_file_off {file} {FS}5") and file.exists()
    bench.holds(f"verb_swap_file_off {file} {FS}4\nverb_swap_file_off {file} {FS}4")
    assert not file.exists() and link.is_symlink()


def test_a_base_whose_stamps_were_lost_is_not_emptied(bench: Bench) -> None:
    """What interrupts between the end of a base and its stamp leaves neither papers nor other stamps."""
    bench.holds("verb_base_begin\nmkdir $TARGET/etc\nverb_base_done\nverb_target_empty")
    (bench.target / "etc/precious").write_text("1961\n")
    (bench.target / "var/lib/bedplate/spec").symlink_to("specs/abc")
    assert "not empty" in bench.fails("verb_target_empty")
    bench.run("verb_base_begin\n")
    assert (bench.target / "etc/precious").read_text() == "1961\n"


PART = LaidPartition(name="home", new=True, number=2, start=411648, size=204800, type=LINUX, uuid=HOME, gpt_name="home")
OTHERS = [evolve(PART, name=name, gpt_name=name, uuid=uuid) for name, uuid in (("root", ROOT), ("page", PAGE))]


def test_the_looks_of_a_person_see_the_same(bench: Bench) -> None:
    """Each prints a line only if it holds."""

    def looks(lines: tuple[str, ...]) -> bool:
        told = [bench.run(line.replace(PART.node, f"{bench.node}p2")).stdout.strip() for line in lines]
        return all(told)

    made(bench)
    blank, none, named = (inspect.blank(PART, HOME), inspect.none_finished([PART, *OTHERS]), inspect.named)
    assert looks(blank) and looks(none) and looks(named(PART, PART.mark)) and not looks(named(PART, "home"))
    call("mkfs.ext4", "-q", "-F", f"{bench.node}p2")
    assert not looks(blank) and not looks(blank[:1]) and not looks(blank[1:])
    bench.holds(f"verb_finish_partitions {NAMES}")
    assert not looks(none) and looks(named(PART, PART.mark, "home"))
    lines = [*blank, *none, *named(PART, "home")]
    assert not any(looks((line.replace('"$DISK"', '"$NO_DISK"'),)) for line in lines)


def test_a_long_name_is_cut_to_what_a_row_holds() -> None:
    long = evolve(PART, gpt_name="a" * 35)
    assert len(long.mark) == 36 and long.mark != long.gpt_name and long.mark.startswith("unfinished-a")
