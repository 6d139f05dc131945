"""Rules about runtime shell functions: how they are written, and that shells and shellcheck take them.

That they define functions only, under names of their own, and take nobody's place, is seen when a plugin is loaded: a
step with one that does not is broken.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterable
from shutil import which

from bedplate.functions import Library
from bedplate.testing.function_runner import SHELLS
from bedplate.testing.subject import Subject

HEAD = "#!/bin/sh\n# shellcheck disable=SC2016,SC2034,SC2119,SC2120,SC2154,SC2317,SC2329\n"
"""What shellcheck cannot know about functions that others call: who sets their variables, and who calls them how."""
_CALLED = re.compile(r"\bverb_[a-z0-9_]+")
_DEFINED = re.compile(r"^([a-z0-9_]+)\(\)", re.MULTILINE)
_SET = re.compile(r"^\s*(?!v_|IFS=)([A-Za-z_]\w*)=\S*$", re.MULTILINE)
_FORBIDDEN = {r"^\s*local\b": "local is not POSIX", r"\brm\s+-[a-zA-Z]*[rR]": "nothing is deleted recursively"}


def form(name: str, library: Library) -> list[str]:
    """What is wrong with the way a function is written."""
    bare, function = name.rpartition("/")[2], library[name]
    found = []
    if not re.match(rf"# {bare}[ :]", function.text):
        found.append(f"{name}: the first line names function and arguments: # {bare} ...")
    code = "\n".join(line for line in function.text.splitlines() if not line.lstrip().startswith("#"))
    known = {*_DEFINED.findall(function.text), *map(library.call, library.uses(name))}
    unsaid = sorted(set(_CALLED.findall(code)) - known)
    found += [f"{name}: it calls {one} and does not say so in its `# uses:`" for one in unsaid]
    found += [f"{name}: {why}" for pattern, why in _FORBIDDEN.items() if re.search(pattern, code, re.MULTILINE)]
    return found


def lint(names: Iterable[str], library: Library) -> str:
    """What shells, and shellcheck where it is installed, say of functions and all they use; empty if nothing."""
    text = HEAD + library.text(names)
    checks = (("sh", "-n"), *((*shell, "-n") for shell in SHELLS), ("shellcheck", "-s", "sh", "-"))
    for command in (one for one in checks if which(one[0])):
        done = subprocess.run(command, input=text, capture_output=True, text=True, check=False)
        if said := (done.stdout or done.stderr).strip():
            return f"{command[0]}: {said}"
    return ""


def functions_are_in_form(about: Subject) -> list[str]:
    """Each says what it is and what it calls, sets its own variables only, and deletes no folder with what is in it."""
    found = [complaint for name in _names(about) for complaint in form(name, about.registry.library)]
    step = about.registry.steps.get(about.section)
    if step is not None and not step.origin.built_in:
        for name in _names(about):
            set_here = dict.fromkeys(_SET.findall(about.registry.library[name].text))
            found += [f"{name}: it sets {one}; names of variables begin with v_" for one in set_here]
    return found


def functions_are_clean(about: Subject) -> list[str]:
    """The shells take them, and shellcheck has nothing to say."""
    said = lint(_names(about), about.registry.library)
    return [f"the functions of [{about.section}]: {said}"] if said else []


def _names(about: Subject) -> list[str]:
    """Those of the step and of extensions of its points."""
    return [name for name in about.registry.library.entries if name.startswith(f"{about.section}/")]


RULES = (functions_are_in_form, functions_are_clean)
