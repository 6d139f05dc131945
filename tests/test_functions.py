"""Runtime shell functions that a plugin brings: what is refused when it is loaded, how scripts call them, and what the
conformance kit says of how they are written. The rules are those of `bedplate.functions`; common practice, no source.
"""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from attrs import evolve

from bedplate import build
from bedplate.actions import Action, Call, InTarget
from bedplate.conditions import holds
from bedplate.faults import Rejected
from bedplate.functions import SHARED, Folder, Function
from bedplate.hookspecs import Extension, Step, hookimpl
from bedplate.install_graph import InstallGraph
from bedplate.loading.plugin_errors import Origin
from bedplate.loading.registry import Registry, assemble, load
from bedplate.rendering import audit, script
from bedplate.schema import table
from bedplate.testing import function_rules
from bedplate.testing.subject import HOST, Host, Subject, compiled
from library import LIBRARY
from rendering import SHELLS
from test_extensions import FAMILY, OWN

CUT = "# cut FILE: the reeds are cut.\n# uses: line-in\nverb_reed_cut() {\n    verb_line_in \"$1\" 'cut=yes'\n}\n"
TIED = (
    '# tied FILE: they are cut and tied.\n# uses: cut\nverb_reed_tied() { verb_reed_cut "$1" && grep -q tied "$1"; }\n'
)
GOOD = {"cut": Function(CUT), "tied": Function(TIED)}
WORDS: dict[str, Any] = {"title": "Tie the reeds", "reason": "Loose ones drift away."}


@table
class Reed:
    """Reeds."""


def tying(*_: object) -> list[Action]:
    made = build.write_file("reed.file", "/etc/reeds", "cut=yes\ntied\n", **WORDS)
    return [evolve(made, proofs=(holds("They are tied", "reed/tied", InTarget("/etc/reeds"), early=False),))]


def reed(functions: Any = GOOD, section: str = "reed", emit: Any = tying) -> Step:
    return Step(section=section, title="Reed", model=Reed, emit=emit, functions=functions)


def registry(*brought: Step | Extension) -> Registry:
    """Our own plugins, and one stranger's for each of these."""
    plugins: list[tuple[Origin, object]] = list(OWN)
    for number, one in enumerate(brought, 1):

        class Plugin:
            bedplate_contract = 1
            found = one

            @hookimpl
            def bedplate_steps(self) -> list[Step]:
                return [self.found] if isinstance(self.found, Step) else []

            @hookimpl
            def bedplate_extensions(self) -> list[Extension]:
                return [self.found] if isinstance(self.found, Extension) else []

        plugins.append((Origin(plugin=f"reed{number}", distribution=f"saltmarsh-reed-{number}", version="3"), Plugin()))
    return assemble(plugins)


def graph(known: Registry) -> InstallGraph:
    outcome = compiled(HOST.using("reeds", Host.parse("[reed]\n")), known)
    assert outcome.graph is not None, (outcome.faults, outcome.breach)
    return outcome.graph


# --- our own ---------------------------------------------------------------------------------------------------------


def test_every_step_brings_its_own_and_the_compiler_what_several_share() -> None:
    sections = {name.partition("/")[0] for name in LIBRARY.entries if "/" in name}
    assert sections == set(load().steps)
    for name in LIBRARY.entries:
        section = name.partition("/")[0]
        assert all(used.startswith(f"{section}/") or used in SHARED for used in LIBRARY.uses(name)), name


def test_what_only_one_step_calls_lies_with_that_step() -> None:
    """A function of the compiler's is called by its runtime or its own modules, or by two steps at least."""
    root = Path(__file__).resolve().parent.parent
    runtime = "".join(
        path.read_text()
        for path in (root / "compiler/bedplate").rglob("*")
        if path.suffix == ".py" or (path.name.startswith("_") and path.suffix == ".sh")
    )
    users: dict[str, set[str]] = {name: set() for name in SHARED}
    for name in SHARED:
        if f'"{name}"' in runtime or LIBRARY.call(name) in runtime:
            users[name] |= {"the runtime", "the compiler"}
        for path in (root / "plugins").rglob("*.py"):
            if f'"{name}"' in path.read_text():
                users[name].add(path.relative_to(root / "plugins/bedplate_steps").parts[0])
    for _ in SHARED:
        for name in LIBRARY.entries:
            for used in LIBRARY.uses(name):
                if used in users:
                    users[used] |= users.get(name, {name.partition("/")[0]})
    assert {name: sorted(of) for name, of in users.items() if len(of) < 2} == {}


def test_the_name_of_a_shell_function_says_whose_it_is() -> None:
    known = registry(reed()).library
    names = ("disk/table-is", "file-is", "reed/tied")
    assert [known.call(name) for name in names] == ["verb_table_is", "verb_file_is", "verb_reed_tied"]
    assert known.uses("reed/tied") == ("reed/cut",) and known.uses("reed/cut") == ("line-in",)


def test_an_unknown_name_is_a_fault_with_the_nearest() -> None:
    with pytest.raises(Rejected) as caught:
        LIBRARY.text(["disk/table-iss"])
    assert (caught.value.faults[0].code, caught.value.faults[0].nearest) == ("unknown-verb", "disk/table-is")
    assert "(nearest: disk/table-is)" in LIBRARY.unknown("table-is") and LIBRARY.unknown("disk/table-is") == ""


def test_a_folder_gives_what_lies_in_it_and_nothing_from_elsewhere() -> None:
    folder = Folder("bedplate_steps.users")
    assert folder["user-is"].text.startswith("# user-is ") and "user-is" in folder and len(folder) > 10
    for name in ("../../disk/sh/table-is", "user-is.sh", "", "_none"):
        assert name not in folder
    assert all(not name.startswith("_") for name in SHARED)


# --- a stranger's ----------------------------------------------------------------------------------------------------


def test_a_strangers_functions_go_into_script_and_audit_with_what_they_use() -> None:
    made = graph(registry(reed()))
    for text in (script.render(made), audit.render(made)):
        assert 'verb_reed_tied "$TARGET"/etc/reeds' in text
        places = [text.index(f"\n{name}() {{") for name in ("verb_reed_cut", "verb_line_in", "verb_reed_tied")]
        assert text.count("verb_reed_cut() {") == 1 and min(places) > 0
        for command in (["shellcheck", "-s", "sh", "-"], *([*shell, "-n"] for shell in SHELLS.values())):
            done = subprocess.run(command, input=text, capture_output=True, text=True, check=False)
            assert (done.returncode, done.stdout, done.stderr) == (0, "", ""), command


def test_a_strangers_functions_change_nothing_where_they_are_not_called() -> None:
    plain = HOST.using("no reeds", {})
    texts = [script.render(compiled(plain, known).graph) for known in (registry(), registry(reed()))]  # type: ignore[arg-type]
    assert texts[0] == texts[1] and "reed" not in texts[0]


def test_a_call_of_what_is_not_there_names_the_nearest() -> None:
    def wrong(*_: object) -> list[Action]:
        return [evolve(tying()[0], operations=(Call(verb="reed/tie"),))]

    outcome = compiled(HOST.using("reeds", Host.parse("[reed]\n")), registry(reed(emit=wrong)))
    assert "reed.file: there is no verb 'reed/tie' (nearest: reed/tied)" in outcome.breach


REFUSED: dict[str, tuple[Any, str]] = {
    "no mapping": ([Function(CUT)], "functions of [reed] must be a mapping from a name to a Function"),
    "a text alone": ({"cut": CUT}, "reed/cut: it must be a Function with a text"),
    "a name in capitals": ({"Cut": Function(CUT)}, "lower-case letters, digits and single dashes"),
    "a name of no text": ({3: Function(CUT)}, "lower-case letters, digits and single dashes"),
    "a name that goes up": ({"../cut": Function(CUT)}, "lower-case letters, digits and single dashes"),
    "a command": ({"cut": Function(CUT + "touch BROKEN\n")}, "reed/cut: line 6: outside of functions"),
    "another name": (
        {"cut": Function(CUT.replace("reed_cut", "reed_cuts"))},
        "it must define the shell function verb_reed_cut",
    ),
    "no prefix": ({"cut": Function(CUT + "helper() { :; }\n")}, "helper must begin with verb_reed_"),
    "the runtime's": ({"cut": Function(CUT + "say() { :; }\n")}, "say must begin with verb_reed_"),
    "a built-in one's": (
        {"cut": Function(CUT + "verb_table_is() { :; }\n")},
        "verb_table_is must begin with verb_reed_",
    ),
    "one of the compiler's": (
        {"file-is": Function("# file-is: x\nverb_reed_file_is() { :; }\n")},
        "file-is is one of the compiler's functions and cannot be replaced",
    ),
    "twice": (
        {"cut": Function(CUT), "tied": Function(TIED + CUT)},
        "verb_reed_cut belongs to reed/cut of saltmarsh-reed-1 3 already",
    ),
    "what it uses": (
        {"cut": Function(CUT.replace("line-in", "no-line"))},
        "it says that it uses no-line, and there is no such",
    ),
    "what another step has": ({"cut": Function(CUT.replace("line-in", "table-is"))}, "it says that it uses table-is"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_function_that_cannot_be_used_is_refused_with_the_plugins_name(name: str) -> None:
    functions, says = REFUSED[name]
    known = registry(reed(functions))
    [broken] = known.broken
    assert says in str(broken) and str(broken).startswith("plugin 'reed1' of saltmarsh-reed-1 3 cannot be used: ")
    assert "reed" not in known.steps and not any(one.startswith("reed/") for one in known.library.entries)


def test_of_two_with_one_shell_function_the_second_is_refused_with_both_names() -> None:
    other = {"cut": Function("# cut: x\nverb_sea_reed_cut() { :; }\n")}
    first = {"reed-cut": Function("# reed-cut: x\nverb_sea_reed_cut() { :; }\n")}
    known = registry(reed(first, "sea", lambda *_: []), reed(other, "sea_reed", lambda *_: []))
    [broken] = known.broken
    said = "the function sea_reed/cut: verb_sea_reed_cut belongs to sea/reed-cut of saltmarsh-reed-1 3 already"
    assert said in broken.reason and broken.origin.distribution == "saltmarsh-reed-2"
    assert set(known.steps) >= {"sea"} and "sea_reed" not in known.steps


def test_a_built_in_function_cannot_be_stood_in_for() -> None:
    functions = {"entry-is": Function("# entry-is: x\nverb_boot_entry_is() { :; }\n")}
    [broken] = registry(reed(functions, "boot", lambda *_: [])).broken
    assert "verb_boot_entry_is belongs to bootloader/boot-entry-is of bedplate 0 already" in broken.reason


# --- an extension's --------------------------------------------------------------------------------------------------


def sedge(functions: Mapping[str, Function], name: str = "sedge") -> Extension:
    return Extension(point="base.family", name=name, value=FAMILY, functions=functions)


def test_an_extension_brings_functions_of_the_step_that_it_extends() -> None:
    known = registry(sedge({"sedge-get": Function("# sedge-get: x\nverb_base_sedge_get() { :; }\n")}))
    assert known.broken == () and known.library.call("base/sedge-get") == "verb_base_sedge_get"
    assert "verb_base_sedge_get() {" in known.library.text(["base/sedge-get"])


def test_an_extensions_function_may_call_those_of_the_step_that_it_extends() -> None:
    text = '# sedge-get: x\n# uses: url-fetch line-in\nverb_base_sedge_get() { verb_url_fetch "$@"; }\n'
    library = registry(sedge({"sedge-get": Function(text)})).library
    assert library.uses("base/sedge-get") == ("base/url-fetch", "line-in")
    [broken] = registry(sedge({"sedge-get": Function(text.replace("url-fetch line-in", "user-is"))})).broken
    assert "it says that it uses user-is, and there is no such function" in broken.reason


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("get", "verb_base_get() { :; }", "the names of an extension's functions begin with its own: sedge-"),
        (
            "sedge-get",
            "verb_base_sedge_get() { :; }\nverb_base_get() { :; }",
            "verb_base_get must begin with verb_base_sedge_",
        ),
        ("sedge-get", "verb_sedge_get() { :; }", "it must define the shell function verb_base_sedge_get"),
        ("sedge-get", "x=1", "line 2: outside of functions stand comments only"),
    ],
)
def test_an_extensions_function_that_cannot_be_used_is_refused(name: str, text: str, says: str) -> None:
    [broken] = registry(sedge({name: Function(f"# {name}: x\n{text}\n")})).broken
    assert says in broken.reason and "base/" in broken.reason


def test_two_extensions_cannot_have_one_function() -> None:
    one = sedge({"sedge-dry-get": Function("# sedge-dry-get: x\nverb_base_sedge_dry_get() { :; }\n")})
    other = sedge({"sedge-dry-get": Function("# sedge-dry-get: x\nverb_base_sedge_dry_get() { :; }\n")}, "sedge-dry")
    [broken] = registry(one, other).broken
    assert "verb_base_sedge_dry_get belongs to base/sedge-dry-get of saltmarsh-reed-1 3 already" in broken.reason


# --- what the conformance kit says -----------------------------------------------------------------------------------


def kit(text: str) -> list[str]:
    known = registry(reed({"cut": Function(text)}, emit=lambda *_: []))
    assert known.broken == ()
    about = Subject(section="reed", hosts=(), registry=known)
    return [said for rule in function_rules.RULES for said in rule(about)]


def test_the_kit_has_nothing_against_good_functions() -> None:
    assert kit(CUT) == []


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("# cut FILE", "# kut FILE", "reed/cut: the first line names function and arguments: # cut ..."),
        ("# cut FILE", "# cutter FILE", "the first line names function"),
        ("# uses: line-in\n", "", "it calls verb_line_in and does not say so"),
        ("    verb", "    local x\n    verb", "local is not POSIX"),
        ("    verb", '    rm -rf -- "$1"\n    verb', "nothing is deleted recursively"),
        ("    verb", "    TARGET=/\n    verb", "it sets TARGET; names of variables begin with v_"),
        ("    verb", "    x=$(id)\n    verb", "it sets x; names"),
        ("    verb", "    cd $1 || return 1\n    verb", "shellcheck: "),
        ("    verb", "    if\n    verb", "sh: "),
    ],
)
def test_the_kit_tells_what_is_wrong(old: str, new: str, says: str) -> None:
    assert any(says in one for one in kit(CUT.replace(old, new, 1)))


def test_a_broken_step_is_told_with_its_function() -> None:
    known = registry(reed({"cut": Function("x=1\n")}))
    about = Subject(section="reed", hosts=(), registry=known)
    assert "the function reed/cut: line 1: outside of functions" in about.missing


def test_a_crash_in_a_mapping_is_the_plugins_fault() -> None:
    class Torn(dict[str, Function]):
        def items(self) -> Any:
            raise ZeroDivisionError("torn")

    known = registry(reed(Torn(GOOD)))
    [broken] = known.broken
    assert "ZeroDivisionError: torn" in broken.reason and broken.origin.plugin == "reed1"
