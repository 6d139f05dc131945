"""Reading: places, merged files, and everything that can be wrong with a file. TOML 1.0.0: https://toml.io/en/v1.0.0."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from bedplate.faults import Fault, Path, Rejected
from bedplate.reading.document import CHAIN, DEPTH, LIMIT, Document, parse, read


def reading(files: Mapping[str, str | bytes], name: str) -> Document:
    """The document `name` of an in-memory disk."""

    def reader(file: str) -> bytes:
        if file not in files:
            raise FileNotFoundError(file)
        content = files[file]
        return content.encode() if isinstance(content, str) else content

    return read(name, reader)


def fault_of(files: Mapping[str, str | bytes], name: str = "a.toml") -> Fault:
    with pytest.raises(Rejected) as caught:
        reading(files, name)
    [fault] = caught.value.faults
    return fault


# --- places --------------------------------------------------------------------------------------------------------

TEXT = '''\
format = 1
a.b."c d" = "é"  # comment
"é\\u0041" = { x = 1, y.z = [1, { q = 2 }] }

[t."u v"]
k = """
two lines"""

[[t.arr]]
name = "a"

[[t.arr]]
name = "b"
[t.arr.sub]
e = [
  # comment
  1,
  2,
]
'''


@pytest.mark.parametrize(
    ("path", "value", "key"),
    [
        ((), "1:1", "1:1"),
        (("format",), "1:10", "1:1"),
        (("a",), "2:13", "2:1"),
        (("a", "b", "c d"), "2:13", "2:5"),
        (("éA",), "3:13", "3:1"),
        (("éA", "x"), "3:19", "3:15"),
        (("éA", "y", "z"), "3:28", "3:24"),
        (("éA", "y", "z", 1, "q"), "3:38", "3:34"),
        (("t", "u v"), "5:1", "5:4"),
        (("t", "u v", "k"), "6:5", "6:1"),
        (("t", "arr"), "9:1", "9:5"),
        (("t", "arr", 0), "9:1", "9:5"),
        (("t", "arr", 1, "name"), "13:8", "13:1"),
        (("t", "arr", 1, "sub"), "14:1", "14:8"),
        (("t", "arr", 1, "sub", "e", 1), "18:3", "18:3"),
        (("t", "arr", 1, "missing", "deeper"), "12:1", "12:1"),
        (("missing",), "1:1", "1:1"),
    ],
)
def test_every_key_and_value_has_its_place(path: Path, value: str, key: str) -> None:
    document = parse("m.toml", TEXT.encode())
    assert str(document.place(path)) == f"m.toml:{value}"
    assert str(document.place(path, key=True)) == f"m.toml:{key}"


def test_columns_count_characters_not_bytes() -> None:
    document = parse("m.toml", 'x = { "ééé" = 1 }\n'.encode())
    assert str(document.place(("x", "ééé"))) == "m.toml:1:15"


def test_line_ends_of_the_other_system_count_as_one() -> None:
    document = parse("m.toml", b"a = 1\r\n\r\n[b]\r\nc = 2\r\n")
    assert str(document.place(("b", "c"))) == "m.toml:4:5"


def _paths(value: Any, path: Path = ()) -> list[Path]:
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(deeper for part, item in inside for deeper in _paths(item, (*path, part)))]


_values = st.recursive(
    st.integers(-(2**40), 2**40) | st.booleans() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(st.text(max_size=4), _values, max_size=5))
def test_law_every_path_of_any_document_has_a_place_of_its_own(data: dict[str, Any]) -> None:
    """tomli-w writes, we place: no path falls back to its ancestor, and the text at the place is the value."""
    text = tomli_w.dumps(data)
    document = parse("m.toml", text.encode())
    lines = text.split("\n")
    for path in _paths(tomllib.loads(text))[1:]:
        place = document.place(path, key=True)
        rest = lines[place.line - 1][place.column - 1 :]
        if isinstance(path[-1], str):
            assert rest.startswith((path[-1], '"'))


# --- what is wrong with a file ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "code", "place"),
    [
        (b"", "empty-file", "a.toml"),
        (b"#" * (LIMIT + 1), "too-large", "a.toml"),
        (b"# only a comment\n", "empty-file", "a.toml"),
        (b"a = 1\nb = \n", "bad-toml", "a.toml:2:5"),
        (b"a = 1\na = 2\n", "bad-toml", "a.toml:2:6"),
        (b'a = "x', "bad-toml", "a.toml:1:7"),
        (b'a = "\x00"', "bad-toml", "a.toml:1:6"),
        (b'b = 1\na = "\xc3\xa9\xff"', "bad-encoding", "a.toml:2:7"),
        (b"\xef\xbb\xbfa = 1", "bad-encoding", "a.toml:1:1"),
        ("a = 1".encode("utf-16"), "bad-encoding", "a.toml:1:1"),
        (b"b = 1\na = " + b"9" * 5000, "bad-toml", "a.toml:2:5"),
        (b"b = 1\na = " + b"[" * 100_000, "too-deep", f"a.toml:2:{5 + DEPTH}"),
        (b".".join([b"a"] * 2000) + b" = 1", "too-deep", f"a.toml:1:{2 * DEPTH + 1}"),
        (b"a = 2024-02-30\n", "bad-toml", "a.toml:1:5"),
    ],
)
def test_a_file_that_cannot_be_read_gives_one_fault_with_its_place(content: bytes, code: str, place: str) -> None:
    fault = fault_of({"a.toml": content})
    assert (fault.code, str(fault.place)) == (code, place)


# --- extends ---------------------------------------------------------------------------------------------------------

OVER = """\
extends = "common.toml"
[disk]
notes = "own"
options = []
[[disk.new]]
name = "root"
size = "1GiB"
[[disk.new]]
name = "var"
"""
COMMON = """\
format = 1
[disk]
notes = "shared"
keep.all = true
options = ["a"]
[[disk.new]]
name = "esp"
[[disk.new]]
name = "root"
size = "2GiB"
label = "L"
[clock]
zone = "Europe/Oslo"
"""


def test_tables_merge_deep_arrays_of_tables_by_name_and_other_values_replace() -> None:
    assert reading({"s/a.toml": OVER, "s/common.toml": COMMON}, "s/a.toml").data == {
        "extends": "common.toml",
        "format": 1,
        "clock": {"zone": "Europe/Oslo"},
        "disk": {
            "notes": "own",
            "keep": {"all": True},
            "options": [],
            "new": [{"name": "esp"}, {"name": "root", "size": "1GiB", "label": "L"}, {"name": "var"}],
        },
    }


@pytest.mark.parametrize(
    ("path", "place"),
    [
        (("disk",), "s/a.toml:2:1"),
        (("disk", "notes"), "s/a.toml:3:9"),
        (("disk", "keep", "all"), "s/common.toml:4:12"),
        (("disk", "new", 0, "name"), "s/common.toml:7:8"),
        (("disk", "new", 1), "s/a.toml:5:1"),
        (("disk", "new", 1, "size"), "s/a.toml:7:8"),
        (("disk", "new", 1, "label"), "s/common.toml:11:9"),
        (("disk", "new", 2, "name"), "s/a.toml:9:8"),
        (("clock", "zone"), "s/common.toml:13:8"),
        (("clock", "missing"), "s/common.toml:12:1"),
        (("disk", "missing"), "s/a.toml:2:1"),
    ],
)
def test_a_merged_value_knows_the_file_it_comes_from(path: Path, place: str) -> None:
    document = reading({"s/a.toml": OVER, "s/common.toml": COMMON}, "s/a.toml")
    assert str(document.place(path)) == place


def test_chains_and_lists_are_laid_over_one_another_in_order() -> None:
    files = {
        "a.toml": 'extends = ["x/b.toml", "c.toml"]\nd = { own = 1 }\n',
        "x/b.toml": 'extends = "../root.toml"\nk = "b"\nd = { b = 1, both = "b" }\n',
        "c.toml": 'k = "c"\nd = { both = "c" }\n',
        "x/../root.toml": 'k = "root"\nr = 1\nd = { root = 1, both = "root" }\n',
    }
    document = reading(files, "a.toml")
    assert document.data["k"] == "c" and document.data["r"] == 1
    assert document.data["d"] == {"own": 1, "both": "c", "b": 1, "root": 1}
    assert str(document.place(("d", "both"))) == "c.toml:2:14"
    assert str(document.place(("d", "root"))) == "x/../root.toml:3:14"
    assert str(document.place(("d", "own"))) == "a.toml:2:13"
    assert document.beside(("r",), "survey.toml") == "x/../survey.toml"


def test_a_document_hands_over_every_file_it_was_made_of() -> None:
    """The installed machine keeps them: without one of them nobody could make its spec again."""
    files = {
        "m/a.toml": 'extends = ["x/b.toml", "c.toml"]\n',
        "m/x/b.toml": 'extends = "../root.toml"\nb = 1\n',
        "m/x/../root.toml": 'extends = "../common.toml"\nr = 1\n',
        "m/x/../../common.toml": "o = 1\n",
        "m/c.toml": 'extends = "d.toml"\n',
        "m/d.toml": "d = 1\n",
    }
    survey = parse("m/a.survey.toml", b"s = 1\n")
    kept = reading(files, "m/a.toml").source_files(survey)
    names = {"a.toml", "x/b.toml", "root.toml", "common.toml", "c.toml", "d.toml", "a.survey.toml"}
    assert set(kept) == names  # the one from above this folder lies beside the others
    assert kept["a.survey.toml"] == b"s = 1\n" and kept["root.toml"] == files["m/x/../root.toml"].encode()


def test_two_elements_of_one_name_both_stay_so_that_a_step_can_complain() -> None:
    files = {"a.toml": 'extends = "b.toml"\n[[n]]\nname = "x"\n[[n]]\nname = "x"\n', "b.toml": '[[n]]\nname = "x"\n'}
    document = reading(files, "a.toml")
    assert document.data["n"] == [{"name": "x"}, {"name": "x"}]
    assert [document.place(("n", i)).line for i in (0, 1)] == [2, 4]


@given(st.dictionaries(st.sampled_from("abc"), _values, max_size=3))
def test_law_a_file_laid_over_itself_is_itself(data: dict[str, Any]) -> None:
    text = tomli_w.dumps(data)
    document = reading({"a.toml": 'extends = "b.toml"\n' + text, "b.toml": text}, "a.toml")
    assert {key: value for key, value in document.data.items() if key != "extends"} == tomllib.loads(text)


@pytest.mark.parametrize(
    ("files", "code", "place"),
    [
        ({"a.toml": 'extends = "b.toml"\n'}, "no-such-file", "a.toml:1:11"),
        ({"a.toml": 'extends = "a.toml"\n'}, "extends-loop", "a.toml:1:11"),
        ({"a.toml": 'extends = "b.toml"', "b.toml": 'x = 1\nextends = "./a.toml"'}, "extends-loop", "b.toml:2:11"),
        ({"a.toml": "extends = 3\n"}, "bad-extends", "a.toml:1:11"),
        ({"a.toml": 'extends = ["b.toml", ""]\n', "b.toml": "a = 1"}, "bad-extends", "a.toml:1:22"),
        ({"a.toml": 'extends = "b.toml"\n', "b.toml": "a = \n"}, "bad-toml", "b.toml:1:5"),
        ({"a.toml": 'extends = "b.toml"\n', "b.toml": b"a = '\xff'\n"}, "bad-encoding", "b.toml:1:6"),
    ],
)
def test_what_is_wrong_with_an_extended_file_has_a_place(files: Mapping[str, Any], code: str, place: str) -> None:
    fault = fault_of(files)
    assert (fault.code, str(fault.place)) == (code, place)


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (FileNotFoundError(2, "No such file"), "no-such-file"),
        (IsADirectoryError(21, "Is a directory"), "not-a-file"),
        (PermissionError(13, "Permission denied"), "unreadable-file"),
        (OSError(36, "File name too long"), "unreadable-file"),
        (ValueError("embedded null byte"), "unreadable-file"),
    ],
)
def test_what_a_reader_raises_becomes_a_fault(error: Exception, code: str) -> None:
    def reader(file: str) -> bytes:
        raise error

    with pytest.raises(Rejected) as caught:
        read("a.toml", reader)
    assert [(fault.code, str(fault.place)) for fault in caught.value.faults] == [(code, "a.toml")]


def test_a_chain_of_files_is_bounded() -> None:
    files = {f"{i}.toml": f'extends = "{i + 1}.toml"\n' for i in range(CHAIN + 5)}
    fault = fault_of(files, "0.toml")
    assert (fault.code, str(fault.place)) == ("too-deep", f"{CHAIN - 1}.toml:1:11")


def test_faults_of_several_extended_files_come_together() -> None:
    with pytest.raises(Rejected) as caught:
        reading({"a.toml": 'extends = ["b.toml", "c.toml"]'}, "a.toml")
    assert [str(fault.place) for fault in caught.value.faults] == ["a.toml:1:12", "a.toml:1:22"]
