"""Nothing is run because a function's text was read: what is taken, what is refused, and what shells themselves do with
texts that are taken. Grammar: POSIX.1-2017, XCU 2; a shell that is traced (`set -x`, XCU 2.14) tells what it runs.
"""

from __future__ import annotations

import random
import re
import subprocess
from pathlib import Path

import pytest

from bedplate.loading.shell_definitions import NotOnlyFunctions, defined
from rendering import SHELLS

ROOT = Path(__file__).resolve().parent.parent
OWN = sorted(
    path for top in ("compiler", "plugins") for path in (ROOT / top).rglob("sh/*.sh") if not path.name.startswith("_")
)

REFUSED = {
    "a command": "touch BROKEN\n",
    "a command behind a function": "f() {\n    :\n}\ntouch BROKEN\n",
    "on the same line": "f() { :; }; touch BROKEN\n",
    "if it is defined": "f() { :; } && touch BROKEN\n",
    "output to a file": "f() { :; } >BROKEN\n",
    "an end that is set in": "f() {\n    :\n    }\n    touch BROKEN\n    g() {\n    :\n}\n",
    "an opening brace as an argument": "f() {\n    echo {\n}\ntouch BROKEN\n    echo }\n}\n",
    "behind a reserved word as an argument": "f() {\n    echo then {\n}\ntouch BROKEN\necho }\n}\n",
    "behind an assignment": "f() {\n    x=1 {\n}\ntouch BROKEN\n}\n",
    "behind a substitution": "f() {\n    echo $(id) {\n}\ntouch BROKEN\n}\n",
    "in a list of words": "f() {\n    for x in { a\n}\ntouch BROKEN\n}\n",
    "an opening brace as a pattern": "f() {\n    case a in\n    {) : ;;\n    esac\n}\ntouch BROKEN\n    }\n",
    "a closing brace as a pattern": "f() {\n    { case a in\n    }) : ;;\n    esac\n}\ntouch BROKEN\n",
    "a line that goes on": "f() {\n    echo \\\n{\n}\ntouch BROKEN\necho \\\n}\n}\n",
    "a comment that does not go on": "f() {\n    # comment \\\n    }\ntouch BROKEN\n",
    "backquotes": "f() {\n    echo `id`\n}\n",
    "a quote with a dollar": "f() {\n    echo $'\\' } ; touch BROKEN ; y() { : '\n}\n",
    "another quote with a dollar": 'f() {\n    echo $"a"\n}\n',
    "a single quote in braces in double quotes": 'f() {\n    echo "${x#\'}"\n    }\n    touch BROKEN\n    : \'}"\n}\n',
    "a here-document": "f() {\n    cat <<'A'\n}\nA\n}\ntouch BROKEN\n",
    "a here-document that was not ended": "f() {\n    cat <<A\n}\ntouch BROKEN\n",
    "an end with a substitution": "f() {\n    : <<A$(id)\nA$(id)\n}\ntouch BROKEN\n",
    "a substitution over the end": "f() {\n    : <<A\n$(\nA\n}\ntouch BROKEN\n)\nA\n}\n",
    "a shift is no here-document": "f() {\n    echo $((1 << 2)) <<A\nA\n}\ntouch BROKEN\n",
    "a subshell left open": "f() {\n    (\n}\ntouch BROKEN\n)\n}\n",
    "an expansion left open": "f() {\n    : ${x:-\n}\ntouch BROKEN\n",
    "a quote left open": "f() {\n    echo '\n}\ntouch BROKEN\n",
    "an alias": "alias ls='touch BROKEN'\n",
    "a variable": "x=1\n",
    "a body without braces": "f() (\n    :\n)\n",
    "another way to write a function": "function f {\n    :\n}\n",
    "a name in capital letters": "PATH() { :; }\n",
    "an end that was not begun": "f() {\n    esac\n}\n",
    "no end": "f() {\n    :\n",
    "NUL": "f() {\n    :\0\n}\n",
}

TAKEN = r"""# A comment: $(touch BROKEN)
f() {
    echo $((1 << 2)) ${x:-"a}b"} "${1#"$x}"}" <<A
$1 ${x%%\}} $(id -u) \$(touch BROKEN)
A
    case $1 in
        # a comment
        ({a} | "}") : ;; 'b c') : ;;
        *) { :; } ;;
    esac
    { :; } | { cat; } 2>/dev/null
    { { :; } }
    if [ -n "$1" ]; then echo '}' "}" \}; elif :; then :; else :; fi
    inner() { :; }
    awk '{ print }' <<-'B' >/dev/null
	}
	touch BROKEN
	B
    for x in a b; do :; done
    until false; do break; done
    ! (: && (:)) || return 1
    echo a#b {} {,} # }
}

f2() { :; } 2>/dev/null # the end
"""


@pytest.mark.parametrize("name", REFUSED)
def test_what_could_run_when_it_is_read_is_refused(name: str) -> None:
    with pytest.raises(NotOnlyFunctions, match=r"\Aline \d+: "):
        defined(REFUSED[name])


@pytest.mark.parametrize("path", OWN, ids=lambda path: path.stem)
def test_our_own_texts_are_functions_and_nothing_else(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert list(defined(text)) == re.findall(r"^([a-z_0-9]+)\(\)", text, re.MULTILINE)


def ran(text: str, shell: str, folder: Path) -> str:
    """What a shell says that it runs while it reads the text; None but the definitions if nothing."""
    script = f"set -x\n{text}\n"
    done = subprocess.run([*SHELLS[shell], "-c", script], capture_output=True, text=True, cwd=folder, timeout=10)
    return done.stderr


@pytest.mark.parametrize("shell", SHELLS)
def test_what_is_taken_runs_nothing_when_it_is_read(shell: str, tmp_path: Path) -> None:
    assert defined(TAKEN) == ("f", "f2")
    assert ran(TAKEN, shell, tmp_path) == "" and list(tmp_path.iterdir()) == []


PIECES = (
    "{",
    "}",
    "(",
    ")",
    "'",
    '"',
    "\n",
    ";",
    "\\",
    "$",
    "#",
    " ",
    "esac",
    "case x in ",
    "a)",
    ";;",
    "<<A\n",
    "A\n",
)


@pytest.mark.parametrize("seed", range(3))
def test_texts_spoilt_at_random_run_nothing_if_they_are_taken(seed: int, tmp_path: Path) -> None:
    """Every command of the text is `:`: what is read as a command at the top shows in the trace."""
    chance = random.Random(seed)
    whole = re.sub(r"\b(?:echo|awk|cat|id|touch)\b", ":", TAKEN)
    taken = 0
    for _ in range(150):
        text = whole
        for _ in range(chance.randint(1, 3)):
            at = chance.randrange(len(text))
            text = text[:at] + chance.choice(PIECES) + text[at + chance.randint(0, 2) :]
        try:
            defined(text)
        except NotOnlyFunctions:
            continue
        taken += 1
        for shell in SHELLS:
            said = ran(text, shell, tmp_path)
            assert not [line for line in said.splitlines() if line.startswith("+")], text
    assert taken > 8 and list(tmp_path.iterdir()) == []
