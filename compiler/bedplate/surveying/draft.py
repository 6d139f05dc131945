"""A first spec for a surveyed machine. Enters: a survey and the installed steps. Leaves: commented TOML.

The frame is written here; each section by its own step, which alone knows what to suggest and why.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

import tomli_w

from bedplate.faults import nearest, reject, shown
from bedplate.hookspecs import Step
from bedplate.spec import FORMAT
from bedplate.survey import Survey, SurveyedDisk
from bedplate.surveying.summary import ARCHITECTURES, notes, troubles
from bedplate.units import in_gib

_CAUTIONS = """\
# Before anything is changed on this machine:
#   - Back up what matters on it, and try to read the backup on another machine.
#   - Write down the recovery keys of encrypted volumes, and keep them away from this machine.
#   - Work on mains power. Where the maker's or the site's own rules differ from this file, they win.
"""


def draft(
    survey: Survey, steps: Mapping[str, Step], name: str, survey_path: str, disk: SurveyedDisk | None = None
) -> str:
    """A commented spec named after `name` for the machine of `survey`, which the spec names as `survey_path`;
    for its `disk`, where a person asked for one.

    Sections stand by their `draft_rank`, required ones first; optional steps without a draft are left out.
    """
    ordered = sorted(steps.values(), key=lambda step: (not step.required, step.draft_rank, step.section))
    sections = (_section(step, survey, disk) for step in ordered)
    return "\n".join([_frame(survey, name, survey_path), *filter(None, sections)])


def host_name(text: str) -> str:
    """The name nearest to `text` that the frame takes: lower-case letters, digits and hyphens, a letter first."""
    plain = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
    begun = plain if plain[:1].isalpha() else f"m-{plain}"
    return begun[:63].strip("-") if plain else "new-machine"


def asked(survey: Survey, name: str) -> SurveyedDisk:
    """The disk of the survey with that serial number, name by id or node. Raises Rejected."""
    hits = [disk for disk in survey.disks if name in _names(disk)]
    if len(hits) == 1:
        return hits[0]
    known = [next(iter(_names(disk)), "") for disk in survey.disks]
    raise reject(
        "disk-ambiguous" if hits else "disk-unknown",
        f"{len(hits)} disks of the survey have this name" if hits else "the survey has no such disk",
        found=shown(name),
        allowed=", ".join(map(shown, known)) or "a survey with a disk",
        nearest=nearest(name, known),
    )


def _names(disk: SurveyedDisk) -> list[str]:
    ids = [word for path in disk.by_id for word in (path, path.rsplit("/", 1)[-1])]
    return [word for word in (disk.serial, *ids, disk.path) if word]


def _section(step: Step, survey: Survey, disk: SurveyedDisk | None) -> str:
    if step.draft is not None:
        return step.draft(survey, disk).strip("\n") + "\n"
    if not step.required:
        return ""
    return f"# [{step.section}]: this step suggests nothing; write the section by hand (bedplate schema shows it).\n"


def _frame(survey: Survey, name: str, survey_path: str) -> str:
    told = host_name(name)
    machine: dict[str, object] = {
        "name": told,
        "architecture": _architecture(survey),
        "firmware": "uefi",
        "survey": survey_path,
    }
    head = f"# First spec of {told}, drafted from its survey. Every value below is a suggestion: read it, change it,\n"
    return "".join(
        [
            head,
            "# then try it with: bedplate check FILE\n#\n",
            *(f"# {line}\n" for line in _findings(survey)),
            f"#\n{_CAUTIONS}\n",
            tomli_w.dumps({"format": FORMAT, "machine": machine}),
        ]
    )


def _architecture(survey: Survey) -> str:
    found = survey.machine.architecture
    return found if found in ARCHITECTURES else ARCHITECTURES[0]


def _findings(survey: Survey) -> Iterator[str]:
    """What the survey found, and what stands against an installation, one line each."""
    machine = survey.machine
    made = " ".join(filter(None, (machine.vendor, machine.product))) or "unknown make"
    yield f"Found: {made}, {in_gib(machine.memory_bytes)} of memory, surveyed {survey.taken or 'on an unknown day'}."
    yield from (f"TROUBLE: {trouble}" for trouble in troubles(survey))
    yield from (f"Note: {note}" for note in notes(survey))
