"""Short commands that a person defines once, before the first look, and then uses in every line.

Enters: the lines of a sheet and the layout. Leaves: functions of a POSIX shell, and a line that tries them.
Each says yes only on evidence: a command that is missing, mistyped, silent or failing gives no line at all.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from bedplate.facts import Layout
from bedplate.rendering.quoting import quote

_DISK = re.compile(r"/dev/disk/by-partuuid/([0-9a-fA-F]{8})(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
_JUDGE = (
    'judge() { c=$1 r=$2; shift 2; o=$("$@") && printf \'%s\\n\' "$o" | '
    'R=$r awk "NF{m++} NF&&tolower(\\$0)~tolower(ENVIRON[\\"R\\"]){n++} END{if(m&&n==$c)print \\"yes\\"}"; }'
)
HELPERS: Mapping[str, str] = {
    "judge": _JUDGE,
    "every": 'every() { judge m "$@"; }',
    "none": 'none() { judge 0 "$@"; }',
    "row": 'row() { sfdisk --dump "$DISK" | grep "start= *$2, size= *$3, .*uuid=$1"; }',
    "room": 'room() { sfdisk --dump "$DISK" | tr -d , | '
    'awk -v a="$1" -v b="$2" \'/^label: /{g=b>=a&&a>0} /start=/&&$4<=b&&$4+$6>a{n++} '
    'END{if(g&&n==0)print "yes"}\'; }',
    "part": 'part() { SERIALsfdisk --dump "$DISK" | grep " : .*uuid=$1" | cut -d " " -f 1; }',
    "on": 'on() { b=$(readlink -f "$2") && [ -e "$b" ] && a=$(findmnt -nvo SOURCE --mountpoint "$1") && '
    '[ "$(readlink -f "$a")" = "$b" ] && echo yes; }',
}
"""`every RE COMMAND...`, `none RE COMMAND...`: the command succeeds and prints something, and each line, or none, fits
the extended regular expression, in capitals or not. `row GUID START SIZE`: shows that row of the table. `room FIRST
LAST`: no row lies in those sectors. `part GUID`: the node of that partition of `$DISK`, found in the disk's own table
after a look at its serial number: a link by GUID may lead to a copy of the disk. `on POINT NODE`: that node is mounted
there. A GUID is given by its first eight digits: two rows that share them find no node."""
NEEDS: Mapping[str, tuple[str, ...]] = {"every": ("judge",), "none": ("judge",)}
_TRIED: Mapping[str, tuple[str, ...]] = {
    "none": ("none x echo x", "none x true", "none x false"),
    "every": ("every x echo y", "every x true", "every x false"),
}
_SAYS: Mapping[str, str] = {"none": "none x echo y", "every": "every x echo x"}


def short(uuid: str) -> str:
    """The digits by which a person names a partition, as sfdisk(8) prints them."""
    return uuid[:8].upper()


def on_disk(line: str) -> str:
    """A line with each node by partition GUID looked up below `$DISK`."""
    return _DISK.sub(lambda match: f'"$(part {short(match[1])})"', line)


def used(lines: Iterable[str]) -> tuple[str, ...]:
    """Names of the helpers that these lines use, each behind what it needs itself."""
    text = "\n".join(lines)
    found = [name for name in HELPERS if re.search(rf"(?:^|[(;&|{{!]) *{name} (?!\()", text, re.MULTILINE)]
    wanted = {name for one in found for name in (one, *NEEDS.get(one, ()))}
    return tuple(name for name in HELPERS if name in wanted)


def definitions(names: Iterable[str], layout: Layout | None) -> Iterator[str]:
    """The lines that define them. Every tool answers in English then: looks compare words."""
    yield "export LC_ALL=C"
    serial = layout.serial if layout else ""
    known = f'lsblk -dno SERIAL "$DISK" | grep -qwFe {quote(serial)} && ' if serial else ""
    for name in names:
        yield HELPERS[name].replace("SERIAL", known, 1) if name == "part" else HELPERS[name]


def trial(names: Iterable[str], layout: Layout | None) -> str:
    """A line that says `typed right` if the helpers say yes and no where they have to; empty if none can be tried."""
    names = tuple(names)
    silent = [line for name in names for line in _TRIED.get(name, ())]
    if "room" in names and layout is not None and layout.before and not layout.whole_disk:
        silent.append("room 1 999999999999")
    says = [f"$({_SAYS[name]})" for name in names if name in _SAYS]
    if not says:
        return ""
    return f'[ -z "$({"; ".join(silent)})" ] && [ "{"".join(says)}" = {"yes" * len(says)} ] && echo typed right'
