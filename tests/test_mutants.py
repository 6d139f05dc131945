"""The mutants of tests/mutation: each is another text that still parses, wrong in one place."""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from pathlib import Path

sys.path.append(str(Path(__file__).parent / "mutation"))

import mutants

PYTHON = '''\
"""Words."""

@frozen(kw_only=True)
class Bank:
    wide: int = 3

def first(rows: list[int], *, most: int = 9) -> int:
    if rows:
        most = 1
    for row in rows:
        if row < 2 or not row:
            continue
        log(f"{row + 1}")
        return row + most
    raise ValueError("none")
'''
SHELL = """\
# One line.
verb_one() {
    [ -n "$1" ] || return 1
    if ! grep -q 'a || b' "$1"; then
        return 0
    fi
    case $1 in
        x) rm -- "$1" ;;
        *)
            echo no
            ;;
    esac
    cat <<'END' | sed s/a/b/
return 1
END
}
"""


def test_python_is_wrong_in_one_place_each() -> None:
    found = mutants.python(PYTHON)
    words = {mutant.words for mutant in found}
    assert {
        "3  ->  4",
        "row < 2  ->  row <= 2",
        "row < 2 or not row  ->  row < 2 and (not row)",
        "row < 2 or not row  ->  not row",
        "not row  ->  row",
        "rows  ->  not rows",
        "continue  ->  pass",
        'log(f"{row + 1}")  ->  pass'.replace('"', "'"),
        "row + most  ->  row - most",
        "raise ValueError('none')  ->  pass",
    } <= words
    assert not any("kw_only" in text or "row + 1  ->" in text for text in words), "nothing of decorators and f-strings"
    assert len({mutant.text for mutant in found}) == len(found) and PYTHON not in {mutant.text for mutant in found}
    for mutant in found:
        ast.parse(mutant.text)
        assert mutant.part in mutant.text and mutant.lines[0] > 3


def test_shell_is_wrong_in_one_place_each() -> None:
    found = mutants.shell(SHELL)
    words = {mutant.words for mutant in found}
    assert {
        '[ -n "$1" ] || return 1  ->  :',
        '[ -n "$1" ] || return 1  ->  [ -n "$1" ] && return 1',
        '[ -n "$1" ] || return 1  ->  [ -n "$1" ] || return 0',
        '[ -n "$1" ] || return 1  ->  [ ! -n "$1" ] || return 1',
        "if ! grep -q 'a || b' \"$1\"; then  ->  if grep -q 'a || b' \"$1\"; then",
        'x) rm -- "$1" ;;  ->  x) : ;;',
        'x) rm -- "$1" ;;  ->  \'nothing is this\') rm -- "$1" ;;',
    } <= words
    assert not any("a && b" in text or text.startswith("return 1 ") for text in words), "quotes and here-documents stay"
    for mutant in found:
        assert subprocess.run(["dash", "-n"], input=mutant.text, text=True, check=False).returncode == 0


def test_what_is_mutated_and_what_has_to_notice_are_there() -> None:
    tests = Path(__file__).parent
    plan = tomllib.loads((tests / "mutation" / "targets.toml").read_text(encoding="utf-8"))
    files = [path for room in ("compiler", "plugins") for path in (tests.parent / room).rglob("*.*")]
    for name, target in plan["targets"].items():
        assert all(any(path.match(pattern) for path in files) for pattern in target["files"]), name
        assert target["tests"] in plan["tests"], name
    assert [name for names in plan["tests"].values() for name in names if not (tests / name).exists()] == []
