"""Broken plugins and what each gets. Each is a distribution of its own, saltmarsh-reed 2.0, found through its metadata.

Whatever it does: `bedplate steps` names it with its distribution and what to do, and a spec that does not use it gives
the same bytes as without it.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from attrs import frozen

from bedplate.cli import commands, main

ROOT = Path(__file__).resolve().parent.parent
SPEC = str(ROOT / "specs" / "kelp-02.toml")

WHOLE = '''
from attrs import frozen
from bedplate import Action, Call, Check, Extension, Fault, Renderer, Run, Stage, Step, WayBack, build, hookimpl
from bedplate.actions import InTarget
from bedplate.schema import key, table

bedplate_contract = 1

@table
class Reed:
    """Reed."""

def emit(section, context):
    yield build.write_file("reed.file", "/etc/reed", "x", title="Write it", reason="So.")

@hookimpl
def bedplate_steps():
    return [Step(section="reed", title="Reed", model=Reed, emit=emit)]
'''


@frozen(kw_only=True)
class Case:
    """A whole plugin with one change, and words of what is said: when it is listed, or when its section is used."""

    old: str = ""
    new: str
    says: str
    todo: str = "Update saltmarsh-reed, or remove it"


def emitting(action: str) -> str:
    return f"    yield {action}\n"


WRITES = '    yield build.write_file("reed.file", "/etc/reed", "x", title="Write it", reason="So.")\n'
STEPS = '    return [Step(section="reed", title="Reed", model=Reed, emit=emit)]\n'
WORDS = 'title="Do it", reason="So."'

LISTED = {
    "cannot be imported": Case(
        new="import no_such_module\n",
        says="ModuleNotFoundError: No module named 'no_such_module'",
        todo="Install saltmarsh-reed anew, update it, or remove it",
    ),
    "is no Python": Case(new="def:\n", says="SyntaxError", todo="Install saltmarsh-reed anew"),
    "leaves at import": Case(new="raise SystemExit(0)\n", says="SystemExit: 0", todo="Install saltmarsh-reed anew"),
    "wants a newer Bedplate's name": Case(
        new="from bedplate.actions import Teleport\n",
        says="cannot import name 'Teleport'",
        todo="It wants another Bedplate than this one: update Bedplate, or saltmarsh-reed",
    ),
    "declares no contract": Case(
        old="bedplate_contract = 1\n",
        new="",
        says="does not say which contract",
        todo="Its author adds bedplate_contract = 1",
    ),
    "needs a newer contract": Case(
        old="contract = 1",
        new="contract = 2",
        says="written for contract 2, and this Bedplate has 1",
        todo="Update Bedplate, or install an older version of the plugin",
    ),
    "forgets the marker": Case(old="@hookimpl\n", new="", says="bedplate_steps lacks the @hookimpl marker"),
    "misspells a hook": Case(old="def bedplate_steps", new="def bedplate_stepps", says="bedplate_stepps"),
    "takes arguments in a hook": Case(old="bedplate_steps()", new="bedplate_steps(tide)", says="tide"),
    "raises in a hook": Case(old=STEPS, new="    return 1 // 0\n", says="ZeroDivisionError"),
    "returns no list": Case(old=STEPS, new="    return {}\n", says="must return a list, it returned dict"),
    "returns other things": Case(old=STEPS, new="    return [Reed]\n", says="must return Step objects, it returned"),
    "uses a newer field": Case(old="emit=emit", new="emit=emit, tide=1", says="unexpected keyword argument 'tide'"),
    "brings a section twice": Case(old=STEPS, new=STEPS.replace("]\n", "] * 2\n"), says="it brings [reed] twice"),
    "shadows a built-in": Case(old='"reed", title', new='"disk", title', says="[disk] is built in"),
    "takes a part of the frame": Case(
        old='"reed", title', new='"machine", title', says="[machine] belongs to the frame"
    ),
    "names its section badly": Case(old='"reed", title', new='"Reed-1", title', says="lower-case letters, digits"),
    "has a model of another kind": Case(old="@table\n", new="", says="[reed] is not made with bedplate.schema.table"),
    "has a field that no TOML fills": Case(
        old='"""Reed."""\n',
        new="    tides: list[str]\n",
        says="the model of [reed] cannot be filled: Reed.tides is of type list[str]",
    ),
    "has a type that nobody knows": Case(
        old='@table\nclass Reed:\n    """Reed."""\n',
        new='@table\nclass Reed:\n    tide: "Tide"\n',
        says="the types of Reed cannot be told: name 'Tide' is not defined",
    ),
    "misspells a keyword": Case(
        old='"""Reed."""\n',
        new='    tide: str = key("Tide.", paten="^a$")\n',
        says="Reed.tide: there is no keyword paten",
    ),
    "has a keyword of another kind": Case(
        old='"""Reed."""\n', new='    tide: str = key("Tide.", minLength="one")\n', says="its schema of [reed] is none"
    ),
    "has an emit that is none": Case(old="emit=emit", new="emit=4", says="emit of [reed] is of type int"),
}

USED = {
    "raises while emitting": Case(
        old=WRITES,
        new="    return 1 // 0\n",
        says="emitting actions of [reed]: ZeroDivisionError: integer division or modulo by zero "
        "(saltmarsh_reed.py, line 14, in emit)",
    ),
    "raises in what it calls": Case(
        old='"/etc/reed", "x"',
        new='"/etc/reed", 4',
        says="TypeError: 'int' object is not iterable (saltmarsh_reed.py, line 14, in emit)",
    ),
    "raises while checking": Case(
        old="emit=emit", new="emit=emit, validate=lambda section, context: 1 // 0", says="checking [reed]: ZeroDivision"
    ),
    "leaves while emitting": Case(
        old=WRITES, new="    raise SystemExit\n", says="emitting actions of [reed]: SystemExit"
    ),
    "returns an action instead of yielding it": Case(
        old=WRITES,
        new=WRITES.replace("yield", "return"),
        says="emit of [reed] must give Action objects: yield them, or return a list; it gave Action",
    ),
    "yields one action and returns the other": Case(
        old=WRITES,
        new=WRITES + WRITES.replace("yield", "return"),
        says="emit of [reed] yields, so what it returns is lost: yield the Action instead of returning it",
    ),
    "gives nothing at all": Case(
        old=WRITES,
        new=WRITES.replace("yield ", ""),
        says="emit of [reed] must give Action objects: yield them, or return a list; it gave NoneType",
    ),
    "finds text at fault": Case(
        old="emit=emit",
        new='emit=emit, validate=lambda *_: ["bad"]',
        says="check of [reed] must give Fault objects, it gave str",
    ),
    "has a need that is no tuple": Case(
        old='reason="So."',
        new='reason="So.", needs=("package:bc")',
        says="ValueError: needs must be a tuple, it is a str: ('package:bc',) (saltmarsh_reed.py, line 14, in emit)",
    ),
    "runs a whole line": Case(
        old=WRITES,
        new=emitting(
            f'build.run("reed.x", "lpadmin -p a", {WORDS}, way_back=WayBack(note="No.", possible=False), '
            'proofs=(Check(says="It is", test=Call(verb="file-is")),))'
        ),
        says="'lpadmin -p a' is no command's name: give each word as its own argument",
    ),
    "proves nothing": Case(
        old=WRITES,
        new=emitting(f'build.run("reed.x", "true", {WORDS}, way_back=WayBack(note="No."), proofs=())'),
        says="reed.x: give a proof, or a rerun would do it again",
    ),
    "enables a unit without its suffix": Case(
        old=WRITES,
        new=emitting(f'build.enable_service("reed.x", "cups", {WORDS})'),
        says="reed.x: a unit's name has its suffix, such as cups.service: 'cups'",
    ),
    "has an id twice": Case(
        old=WRITES, new=WRITES * 2, says="two actions have the id reed.file, both of step reed, saltmarsh-reed 2.0"
    ),
    "emits no actions": Case(old=WRITES, new=emitting('"rm"'), says="must give Action objects, it gave str"),
    "uses another's id": Case(old="reed.file", new="disk.file", says="'disk.file' must be 'reed.'"),
    "calls a verb that is none": Case(
        old=WRITES,
        new=emitting(
            f'build.run("reed.x", "true", {WORDS}, way_back=WayBack(note="No."), '
            'proofs=(Check(says="It is", test=Call(verb="file-iss")),))'
        ),
        says="there is no verb 'file-iss' (nearest: file-is)",
    ),
    "names a token of no kind": Case(
        old='reason="So."',
        new='reason="So.", needs=("packages:vim",)',
        says="'packages:vim' is of no known kind (nearest: package)",
    ),
    "needs what nobody gives": Case(
        old='reason="So."',
        new='reason="So.", needs=("user:nobody-known",)',
        says="needs user:nobody-known, and no action gives it",
    ),
    "gives a command as text": Case(
        old=WRITES,
        new=emitting(
            'Action(id="reed.x", title="Do", reason="So.", stage=Stage.TARGET, operations=(Run(argv="rm -rf /"),))'
        ),
        says="argv must be a tuple of text, Disk, InTarget, Gathered or Joined: 'rm -rf /' (saltmarsh_reed.py, line 14",
    ),
    "leaves the target": Case(old="/etc/reed", new="/../etc/shadow", says="never goes up with .."),
    "gives another's token": Case(
        old="/etc/reed", new="/etc/fstab", says="file:/etc/fstab is given twice: by reed.file (step reed"
    ),
    "asks for a fact of its own while giving it": Case(
        old="emit=emit",
        new="emit=emit, facts={Reed: lambda section, context: context.fact(Reed)}",
        says="facts wait for one another: Reed -> Reed",
    ),
}


class Installed:
    """A place where the plugin is installed, and the command line."""

    def __init__(self, folder: Path, case: Case, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
        self.folder, self.capsys = folder, capsys
        text = WHOLE.replace(case.old, case.new, 1) if case.old else case.new + WHOLE
        assert text != WHOLE
        (folder / "saltmarsh_reed.py").write_text(text)
        information = folder / "saltmarsh_reed-2.0.dist-info"
        information.mkdir()
        (information / "METADATA").write_text("Metadata-Version: 2.1\nName: saltmarsh-reed\nVersion: 2.0\n")
        (information / "entry_points.txt").write_text("[bedplate]\nreed = saltmarsh_reed\n")
        monkeypatch.syspath_prepend(str(folder))
        monkeypatch.delitem(sys.modules, "saltmarsh_reed", raising=False)

    def run(self, *arguments: str) -> tuple[int, str, str]:
        """Status, output and messages of one command."""
        sys.modules.pop("saltmarsh_reed", None)
        status = main.main(arguments)
        said = self.capsys.readouterr()
        return status, said.out, said.err

    def using(self) -> tuple[str, ...]:
        """The words that name a spec which uses the plugin's section."""
        spec = self.folder / "uses.toml"
        spec.write_text(f'format = 1\nextends = "{SPEC}"\n\n[reed]\n')
        return (str(spec), "--also-from", str(Path(SPEC).parent))


EDITABLE = '{"dir_info": {"editable": true}, "url": "file:///src/reed"}'
"""What an installer writes for a distribution that is edited where it lies (PEP 610 and PEP 660)."""


@pytest.mark.parametrize(
    ("case", "says"),
    [
        (LISTED["is no Python"], "Correct it in saltmarsh_reed.py."),
        (LISTED["forgets the marker"], "Correct it in saltmarsh_reed.py."),
        (LISTED["needs a newer contract"], "Update Bedplate, or install an older version"),
        (USED["raises while emitting"], "line 14, in emit). Correct it in saltmarsh_reed.py\n"),
        (USED["finds text at fault"], "it gave str. Correct it in saltmarsh_reed.py\n"),
    ],
)
def test_advice_is_for_the_author_where_the_plugin_is_edited(
    case: Case, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    installed = Installed(tmp_path, case, monkeypatch, capsys)
    (tmp_path / "saltmarsh_reed-2.0.dist-info" / "direct_url.json").write_text(EDITABLE)
    _, _, err = installed.run("compile", *installed.using())
    assert says in err and "Update saltmarsh-reed" not in err


def plain_output(capsys: pytest.CaptureFixture[str]) -> str:
    assert main.main(["compile", SPEC, "--as", "json"]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("case", LISTED.values(), ids=LISTED)
def test_a_plugin_that_cannot_be_used(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wanted = plain_output(capsys)
    installed = Installed(tmp_path, case, monkeypatch, capsys)
    status, out, _ = installed.run("steps")
    [line] = [line for line in out.splitlines() if line.startswith("BROKEN")]
    assert status == 2
    assert "plugin 'reed' of saltmarsh-reed 2.0 cannot be used" in line
    assert case.says in line and case.todo in line
    status, out, err = installed.run("compile", SPEC, "--as", "json")
    assert (status, out) == (0, wanted)
    assert f"bedplate: warning: {line.removeprefix('BROKEN  ')}" in err
    status, out, err = installed.run("compile", *installed.using())
    if case.new != STEPS.replace("]\n", "] * 2\n"):  # there the first of the two stays
        assert (status, out) == (1, "")
        assert "the plugin that brings this section is installed, but cannot be used [broken-plugin]" in err
        assert "uses.toml:4" in err and case.says in err


@pytest.mark.parametrize("case", USED.values(), ids=USED)
def test_a_plugin_that_breaks_when_it_is_used(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wanted = plain_output(capsys)
    installed = Installed(tmp_path, case, monkeypatch, capsys)
    status, out, _ = installed.run("steps")
    assert status == 0
    assert "saltmarsh-reed 2.0" in out
    status, out, err = installed.run("compile", SPEC, "--as", "json")
    assert (status, out) == (0, wanted)
    assert "reed" not in err
    status, out, err = installed.run("compile", *installed.using())
    assert status in (1, 2) and out == ""
    assert "saltmarsh-reed 2.0" in err and case.says in err
    assert "Traceback" not in err and "fault of Bedplate itself" not in err


GIVES = """
@hookimpl
def bedplate_steps():
    giver = Step(section="rush", title="Rush", model=Reed, emit=emit_none, facts={Reed: emit_none})
    return [Step(section="reed", title="Reed", model=Reed, emit=emit), giver]

def emit_none(section, context):
    return ()
"""


@pytest.mark.parametrize(
    ("plugin", "allowed"), [(WHOLE, ""), (WHOLE.partition("@hookimpl")[0] + GIVES, "    allowed: the section [rush]")]
)
def test_a_fact_that_no_section_gives_is_missed_where_it_is_asked_for(
    plugin: str, allowed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asking = plugin.replace("    yield build", "    context.fact(Reed)\n    yield build")
    installed = Installed(tmp_path, Case(old=WHOLE, new=asking, says=""), monkeypatch, capsys)
    status, out, err = installed.run("compile", *installed.using())
    assert (status, out) == (1, "") and allowed in err
    assert "uses.toml:4:1: reed: this section asks for Reed, and no section of this spec gives it [missing-fact]" in err


def test_a_whole_plugin_compiles(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    installed = Installed(tmp_path, Case(new="# whole\n", says=""), monkeypatch, capsys)
    status, out, _ = installed.run("compile", *installed.using())
    assert status == 0 and "Write it" in out


def test_a_plugin_that_is_slow_to_import_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    installed = Installed(tmp_path, Case(new="import time; time.sleep(0.3)\n", says=""), monkeypatch, capsys)
    monkeypatch.setattr(commands, "SLOW", 0.25)
    status, out, _ = installed.run("steps")
    assert status == 0
    assert "SLOW    plugin 'reed' of saltmarsh-reed 2.0 took 0.3 s to import. Its author should" in out
    status, _, err = installed.run("compile", SPEC)
    assert status == 0 and "warning: plugin 'reed' of saltmarsh-reed 2.0 took" in err


def test_a_plugin_that_prints_at_import_does_not_print_into_data(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wanted = plain_output(capsys)
    installed = Installed(tmp_path, Case(new='print("hello")\n', says=""), monkeypatch, capsys)
    status, out, err = installed.run("compile", SPEC, "--as", "json")
    assert (status, out) == (0, wanted)
    assert "hello" in err


RENDERS = """
@hookimpl
def bedplate_renderers():
    return [Renderer(name="{name}", summary="Reed", suffix=".txt", render=lambda graph: {gives})]
"""


@pytest.mark.parametrize(
    ("name", "gives", "says"),
    [
        ("chant", "1 // 0", "failed while rendering chant: ZeroDivisionError"),
        ("chant", "4", "must give text when rendering chant, it gave int"),
    ],
)
def test_a_rendering_that_breaks(
    name: str,
    gives: str,
    says: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    case = Case(old=STEPS, new=STEPS + RENDERS.format(name=name, gives=gives), says="")
    installed = Installed(tmp_path, case, monkeypatch, capsys)
    status, out, err = installed.run("compile", SPEC, "--as", name)
    assert (status, out) == (2, "")
    assert "plugin 'reed' of saltmarsh-reed 2.0" in err and says in err


def test_a_rendering_of_ours_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    case = Case(old=STEPS, new=STEPS + RENDERS.format(name="script", gives="''"), says="")
    installed = Installed(tmp_path, case, monkeypatch, capsys)
    status, out, _ = installed.run("steps")
    assert status == 2 and "the rendering script is built in and cannot be replaced" in out
    assert installed.run("compile", SPEC, "--as", "script")[1].startswith("#!/bin/sh")
