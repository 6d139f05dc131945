"""What a medium with newer tools makes is read by an older system and its loader: real file systems on images, looked
at with dumpe2fs(8), xfs_db(8), btrfs-inspect-internal(8); later tools are stood in for by their usage texts.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
from pathlib import Path

import pytest

from bedplate.testing.function_runner import SHELLS
from library import LIBRARY

READ_BY_ALL = {
    "has_journal",
    "ext_attr",
    "resize_inode",
    "dir_index",
    "filetype",
    "extent",
    "64bit",
    "flex_bg",
    "sparse_super",
    "large_file",
    "huge_file",
    "dir_nlink",
    "extra_isize",
    "metadata_csum",
}
"""mke2fs.conf(5) of e2fsprogs 1.46.2: base_features, and those of ext4."""
LATER = (
    "[defaults]\n\tbase_features = sparse_super,filetype\n"
    "[fs_types]\n\text4 = {\n\t\tfeatures = has_journal,extent,metadata_csum,metadata_csum_seed,orphan_file\n\t}\n"
)
"""As upstream's mke2fs.conf(5) since e2fsprogs 1.47.0 (its release notes): the seed and the orphan file are usual."""
XFS_610 = "[-i perblock=n|size=num,nrext64=0|1,exchange=0|1]\n[-n size=num,parent=0|1]\n"
"""Lines of the usage of mkfs.xfs 6.10, from memory."""


def words(kind: str, shell: tuple[str, ...], path: str = "") -> list[str]:
    text = f"{LIBRARY.text(['disk/mkfs-words'])}\nverb_mkfs_words {kind}; printf '%s' \"$v_words\""
    env = {**os.environ, "PATH": f"{path}:{os.environ['PATH']}" if path else os.environ["PATH"]}
    done = subprocess.run([*shell, "-c", text], capture_output=True, text=True, check=True, env=env)
    return shlex.split(done.stdout)


def image(folder: Path, mib: int) -> Path:
    path = folder / "image"
    with path.open("wb") as file:
        file.truncate(mib << 20)
    return path


def told(*argv: object) -> str:
    return subprocess.run([str(word) for word in argv], capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("shell", SHELLS)
def test_an_ext4_has_the_features_every_checker_knows(tmp_path: Path, shell: tuple[str, ...]) -> None:
    place = image(tmp_path, 64)
    (tmp_path / "mke2fs.conf").write_text(LATER)
    later = {**os.environ, "MKE2FS_CONFIG": str(tmp_path / "mke2fs.conf")}

    def features(*given: str) -> set[str]:
        subprocess.run(["mkfs.ext4", "-q", "-F", *given, str(place)], check=True, env=later)
        [line] = re.findall("Filesystem features: *(.*)", told("dumpe2fs", "-h", place))
        return set(line.split())

    assert features() - READ_BY_ALL == {"metadata_csum_seed", "orphan_file"}
    assert features(*words("ext4", shell)) == READ_BY_ALL
    assert not features("-O", "^metadata_csum_seed,^orphan_file") - READ_BY_ALL  # what is typed by hand


@pytest.mark.parametrize("shell", SHELLS)
def test_an_xfs_and_a_btrfs_are_made_as_before_and_read(tmp_path: Path, shell: tuple[str, ...]) -> None:
    place = image(tmp_path, 400)
    told("mkfs.xfs", "-q", "-f", *words("xfs", shell), place)
    [flags] = re.findall("features_incompat = (0x[0-9a-f]+)", told("xfs_db", "-r", "-c", "sb 0", "-c", "p", place))
    # ftype, sparse inodes, own meta UUID, big time: what GRUB 2.06 reads (its fs/xfs.c)
    assert int(flags, 16) & ~0xF == 0
    told("mkfs.btrfs", "-q", "-f", *words("btrfs", shell), place)
    assert "BLOCK_GROUP_TREE" not in told("btrfs", "inspect-internal", "dump-super", place)


@pytest.mark.parametrize("shell", SHELLS)
def test_tools_of_later_releases_are_held_back_by_their_own_words(tmp_path: Path, shell: tuple[str, ...]) -> None:
    for name, text in (("mkfs.xfs", XFS_610), ("mkfs.btrfs", "no-holes\nblock-group-tree\nraid-stripe-tree\n")):
        (tmp_path / name).write_text(f"#!/bin/sh\nprintf '{text}' >&2\nexit 1\n")
        (tmp_path / name).chmod(0o755)
    path = str(tmp_path)
    assert words("xfs", shell, path) == ["-i", "nrext64=0", "-i", "exchange=0", "-n", "parent=0"]
    assert words("btrfs", shell, path) == ["-O", "^block-group-tree,^raid-stripe-tree"]
    assert words("vfat", shell, path) == words("swap", shell, path) == []
