"""Faults as text and data."""

from bedplate.faults import Fault, Place, as_json, describe, dotted, nearest, ordered, shown

FAULT = Fault(
    code="unknown-key",
    message="unknown key",
    path=("disk", "new", 1, "sise"),
    place=Place(file="m.toml", line=3, column=7),
    found=shown("a\n\x1b[31m"),
    allowed="size",
    nearest="size",
    notes=("one", "two"),
)


def test_the_whole_text() -> None:
    assert describe(FAULT) == (
        "m.toml:3:7: disk.new[1].sise: unknown key [unknown-key]\n"
        '    found:   "a\\n\\u001B[31m"\n'
        "    allowed: size\n"
        "    nearest: size\n"
        "    one\n"
        "    two"
    )


def test_data_has_every_key_even_when_empty() -> None:
    keys = set(as_json(FAULT))
    assert set(as_json(Fault(code="c", message="m"))) == keys
    assert as_json(FAULT)["path"] == "disk.new[1].sise"


def test_keys_that_are_not_bare_are_quoted() -> None:
    assert dotted(("a b", "c-d", 0, "")) == '"a b".c-d[0].""'


def test_nearest_ignores_case_and_far_words() -> None:
    assert nearest("Pacmann", ["apt", "pacman", "dnf"]) == "pacman"
    assert nearest("zzz", ["apt", "pacman", "dnf"]) is None


def test_faults_are_ordered_by_place_and_kept_once() -> None:
    late = Fault(code="b", message="m", place=Place(file="m.toml", line=10, column=1))
    early = Fault(code="a", message="m", place=Place(file="m.toml", line=9, column=1))
    assert ordered([late, early, late]) == (early, late)
