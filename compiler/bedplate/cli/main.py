"""The command line: the only room that reads files, runs the collector and prints.

Exit status: 0 done, 1 faults in a spec or survey, 2 trouble (usage, files that cannot be read or written, broken
plugins).
"""

from __future__ import annotations

import argparse
import io
import os
import re
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn, TextIO

from bedplate.cli import commands, files
from bedplate.faults import nearest, one_of, shown, visible
from bedplate.loading.plugin_errors import PluginError

EXAMPLES = """\
A first machine, beside the system that is on it:
  bedplate survey --collector > collect.sh      # carry it there, run it as root: sh collect.sh > capture.txt
  bedplate survey --from capture.txt --out tern-07.survey.toml
  bedplate draft tern-07.survey.toml --name tern-07 --out tern-07.toml
  bedplate check tern-07.toml
  bedplate compile tern-07.toml --out tern-07.md
  bedplate compile tern-07.toml --as script --out tern-07.sh

Exit status of every command: 0 done, 1 faults in a spec or survey, 2 trouble.
"""

TROUBLE = "2 trouble (usage, files, broken plugins)"


_CHOICE = re.compile(r"^argument (.*?): invalid choice: '(.*)' \(choose from (.*)\)$", re.DOTALL)


class _Parser(argparse.ArgumentParser):
    """Usage errors in one line and a hint, exit status 2. A wrong word is named, with the nearest one there is."""

    def error(self, message: str) -> NoReturn:
        if choice := _CHOICE.match(message):
            words = re.findall(r"[a-z][a-z-]*", choice[3])
            message = f"{choice[1]} {shown(choice[2])}: there is no such word{_near(choice[2], words)}; {one_of(words)}"
        self.exit(2, f"{self.prog}: {message}\nTry: {self.prog} --help\n")

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """As argparse does it, but what is left over is an error of the command that it was given to."""
        found, rest = super().parse_known_args(args, namespace)
        if rest:
            options = re.findall(r"--[a-z][a-z-]*", self.format_help())
            kind = "option" if rest[0].startswith("-") else "further word"
            self.error(f"{shown(rest[0])}: this command takes no such {kind}{_near(rest[0], options)}")
        return found, rest


class _Version(argparse.Action):
    """Reads the version only where it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> NoReturn:
        print(f"bedplate {commands.version()}")
        parser.exit()


def _near(word: str, words: Sequence[str]) -> str:
    near = nearest(word, words)
    return f" (nearest: {near})" if near else ""


def parser(renderings: Sequence[str] = ()) -> argparse.ArgumentParser:
    """The whole command line. With `renderings`, only those are taken by --as: completion offers them."""
    top = _Parser(
        prog="bedplate",
        description="Compile one TOML spec per machine into a checklist or a script that installs it.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action=_Version, nargs=0, help="show program's version number and exit")
    subs = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)
    _check(subs)
    _compile(subs, renderings)
    _diff(subs)
    _survey(subs)
    _draft(subs)
    _steps(subs)
    _schema(subs)
    _completion(subs)
    return top


def _command(
    subs: argparse._SubParsersAction[_Parser], name: str, run: Callable[..., int], text: str, epilog: str
) -> argparse.ArgumentParser:
    sub: argparse.ArgumentParser = subs.add_parser(
        name, help=text, description=text, epilog=epilog, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    sub.set_defaults(run=run)
    return sub


def _format(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--format", choices=("text", "json"), default="text", help="text for people (default) or JSON")


def _also(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--also-from",
        metavar="FOLDER",
        action="append",
        default=[],
        help="a spec may extend files, and name a survey, below this folder too; repeatable",
    )


def _out(sub: argparse.ArgumentParser, text: str) -> None:
    sub.add_argument("--out", metavar="PATH", help=text)
    sub.add_argument(
        "--force",
        action="store_true",
        help="replace the file at PATH whoever made it; one that is read in this call never",
    )


def _check(subs: argparse._SubParsersAction[_Parser]) -> None:
    text = "Show every fault of each spec: against the schema, in meaning, and against its survey."
    epilog = (
        f"Of each spec {commands.SHOWN} faults and warnings at most are told in words, and how many more there are;\n"
        f"--format json tells all.\n\nExit status: 0 clean (there may be warnings), 1 faults, {TROUBLE}."
    )
    sub = _command(subs, "check", commands.check, text, epilog)
    sub.add_argument("specs", nargs="+", metavar="SPEC", help="spec file (TOML)")
    _also(sub)
    _format(sub)


def _compile(subs: argparse._SubParsersAction[_Parser], renderings: Sequence[str]) -> None:
    text = "Compile a spec and its survey into a checklist, a script or another rendering."
    epilog = (
        "Nothing is written if any spec has a fault. Renderings that are installed: see `bedplate steps`.\n"
        "With --as graph and a PATH that ends in .svg the picture is drawn by Graphviz, if it is installed.\n"
        "Surveys, and files that specs extend, are no specs: name the specs alone.\n\n"
        "  bedplate compile specs/kelp-02.toml                           the checklist, to standard output\n"
        "  bedplate compile specs/kelp-02.toml --as script --out k.sh    the script\n"
        "  bedplate compile specs/kelp-02.toml specs/tern-04.toml --as script --out scripts/    one file per spec\n\n"
        f"Exit status: 0 written, 1 faults in a spec, {TROUBLE}."
    )
    sub = _command(subs, "compile", commands.compile_specs, text, epilog)
    sub.add_argument("specs", nargs="+", metavar="SPEC", help="spec file (TOML)")
    _also(sub)
    sub.add_argument(
        "--as",
        dest="rendering",
        default="checklist",
        metavar="RENDERING",
        choices=renderings or None,
        help="checklist (default), page, script, audit, graph, json, or one a plugin brings",
    )
    _out(sub, "file to write, or for several specs a directory (default: standard output)")


def _diff(subs: argparse._SubParsersAction[_Parser]) -> None:
    text = "Show what changing a machine from one spec to another would take, or make the script that does it."
    epilog = (
        "Each change is classed: nothing to do, in place, at next boot, from a live medium, loses data.\n"
        "The script runs on the installed machine; it first proves that the machine is what OLD says.\n"
        "With --survey the survey that SPEC was compiled against is compared with a newer one of the same machine.\n"
        "Exit status: 0 the same, 1 different, 2 trouble.\n\n"
        "  bedplate diff old.toml new.toml --places                      the report, with file and line\n"
        "  bedplate diff old.toml new.toml --as script --out change.sh   the change script\n"
        "  bedplate diff --survey today.survey.toml kelp-02.toml         what has drifted"
    )
    sub = _command(subs, "diff", _run_diff, text, epilog)
    sub.add_argument("specs", nargs="+", metavar="SPEC", help="OLD and NEW; with --survey, the one SPEC")
    sub.add_argument(
        "--as",
        dest="rendering",
        default="report",
        metavar="RENDERING",
        help="report (default), checklist, script, json, or another rendering of the work",
    )
    _also(sub)
    sub.add_argument("--places", action="store_true", help="file and line of both values")
    sub.add_argument("--survey", metavar="NEWSURVEY", help="compare this survey with the one of SPEC")
    _format(sub)
    _out(sub, "file to write (default: standard output)")


def _run_diff(arguments: argparse.Namespace) -> int:
    """Loaded only where it is asked for: a compilation need not wait for it."""
    from bedplate.cli import diff_command

    return diff_command.diff(arguments)


def _survey(subs: argparse._SubParsersAction[_Parser]) -> None:
    text = "Write the survey of this machine, or of a capture brought from another."
    epilog = (
        "On a live medium without Python: bedplate survey --collector prints a POSIX script; run it there as root,\n"
        "bring its output back and turn it into a survey with --from. Neither changes the machine.\n\n"
        f"Exit status: 0 done, 1 the survey holds trouble (a disk that was not read, no UEFI), {TROUBLE}."
    )
    sub = _command(subs, "survey", _run_survey, text, epilog)
    which = sub.add_mutually_exclusive_group()
    which.add_argument("--collector", action="store_true", help="print the script that makes a capture")
    which.add_argument("--from", dest="capture", metavar="CAPTURE", help="a capture; - for standard input")
    _out(sub, "file to write (default: standard output)")


def _draft(subs: argparse._SubParsersAction[_Parser]) -> None:
    text = "Write a commented first spec for a surveyed machine, with computed suggestions."
    epilog = f"Exit status: 0 done, 1 faults or trouble in the survey, {TROUBLE}."
    sub = _command(subs, "draft", _run_draft, text, epilog)
    sub.add_argument("survey", metavar="SURVEY", help="survey file (TOML)")
    sub.add_argument("--name", help="the machine's name (default: from the survey's file name)")
    sub.add_argument("--disk", metavar="SERIAL", help="plan for this disk (default: the one that suits best)")
    _out(sub, "file to write (default: standard output)")


def _run_survey(arguments: argparse.Namespace) -> int:
    """Loaded only where it is asked for, as `diff` is."""
    from bedplate.cli import survey_commands

    return survey_commands.survey(arguments)


def _run_draft(arguments: argparse.Namespace) -> int:
    from bedplate.cli import survey_commands

    return survey_commands.draft(arguments)


def _steps(subs: argparse._SubParsersAction[_Parser]) -> None:
    text = "List the installed steps and renderings with their distributions; broken plugins are marked."
    sub = _command(subs, "steps", commands.steps, text, "Exit status: 0 done, 2 if a plugin is broken.")
    _format(sub)


def _schema(subs: argparse._SubParsersAction[_Parser]) -> None:
    text = "Print the JSON Schema of a spec, sections of every installed step included, for editors."
    sub = _command(subs, "schema", commands.schema, text, f"Exit status: 0 done, {TROUBLE}.")
    sub.add_argument(
        "--of", choices=("spec", "survey", "graph", "diff"), default="spec", help="which schema (default: spec)"
    )
    _out(sub, "file to write (default: standard output)")


def _completion(subs: argparse._SubParsersAction[_Parser]) -> None:
    text = "Print a completion script for a shell."
    sub = _command(
        subs,
        "completion",
        _print_completion,
        text,
        f"  bedplate completion bash > FILE\n\nExit status: 0 done, {TROUBLE}.",
    )
    sub.add_argument("shell", choices=("bash", "zsh", "tcsh"))


def _print_completion(arguments: argparse.Namespace) -> int:
    import shtab

    sys.stdout.write(shtab.complete(parser(commands.renderings()), shell=arguments.shell))
    return 0


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit status; never raises for anything a user can cause."""
    files.begin()
    for stream in (sys.stdout, sys.stderr):
        _as_it_is_written(stream)
    try:
        arguments = parser().parse_args(argv)
        status: int = arguments.run(arguments)
        sys.stdout.flush()
        return status
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else 2
    except BrokenPipeError:
        _nothing_more()
        return 2
    except KeyboardInterrupt:
        return _trouble("stopped")
    except PluginError as error:
        if os.environ.get("BEDPLATE_TRACEBACK"):
            raise
        return _trouble(str(error))
    except OSError as error:
        if error.filename is None:  # what is opened by name says its name: this can only be the stream
            _nothing_more()
        return _trouble(f"{error.filename or 'standard output'}: {error.strerror or error}")
    except Exception as error:
        if os.environ.get("BEDPLATE_TRACEBACK"):
            raise
        return _trouble(f"this is a fault of Bedplate itself, please report it: {type(error).__name__}: {error}")


def _as_it_is_written(stream: TextIO) -> None:
    """Files and pipes get UTF-8 in every locale, a terminal its own characters and escapes for all others."""
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(encoding=None if stream.isatty() else "utf-8", errors="backslashreplace")


def _nothing_more() -> None:
    """What is still waiting for a stream that takes nothing more must not fail a second time."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _trouble(message: str) -> int:
    print(f"bedplate: {visible(message)}", file=sys.stderr)
    return 2
