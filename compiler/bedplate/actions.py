"""Actions: the closed vocabulary that steps emit. Values only; nothing here runs, reads or writes anything.

An operation or a check holds argument vectors, never shell text: a renderer quotes them in one place.
"""

from __future__ import annotations

import enum
import re

from attrs import frozen

TARGET = "/mnt/target"
"""Where the new system's root is mounted on the live medium."""


class Stage(enum.Enum):
    """Where an action is carried out. The order of the members is the order of the work."""

    OTHER_SYSTEM = "other system"
    FIRMWARE = "firmware"
    LIVE = "live"
    TARGET = "target"
    FIRST_BOOT = "first boot"


class Where(enum.Enum):
    """Which system a command runs in: the live medium, or the target (chroot before its first boot, `/` after)."""

    LIVE = "live"
    TARGET = "target"


# --- words of an argument vector -------------------------------------------------------------------------------


@frozen
class Disk:
    """The node of the spec's disk, resolved at run time from its identity."""


@frozen
class InTarget:
    """A path of the target (absolute, `/etc/fstab`): below the mounted root when installing, itself in the audit."""

    path: str


@frozen
class Gathered:
    """All names of the needs of one kind, sorted. Alone in a vector it becomes one word per name; with `joined`
    it becomes one word, the names separated by that text. Only for an action that `gathers` the kind."""

    kind: str
    joined: str | None = None


@frozen
class Joined:
    """Several parts that make up one word."""

    parts: tuple[Plain, ...]


Plain = str | Disk | InTarget | Gathered
Word = Plain | Joined
"""One word of an argument vector. A `str` is literal text, whatever it holds."""

Argv = tuple[Word, ...]


# --- contents ----------------------------------------------------------------------------------------------------


class Coding(enum.Enum):
    """How a secret is written into a file."""

    PLAIN = "plain"
    KEYFILE = "keyfile"
    """Backslash, leading and trailing blanks escaped as a GLib key file wants it."""


@frozen
class SecretRef:
    """The value of a secret that was asked for or read, put in at run time."""

    name: str
    coding: Coding = Coding.PLAIN


Content = tuple[str | SecretRef | Disk, ...]
"""The content of a file or of a command's standard input, in parts. Text parts are literal."""


# --- operations ------------------------------------------------------------------------------------------------


Typed = str | tuple[str | Gathered, ...]
"""What a person types: one line for a POSIX shell as it stands, or its parts where gathered names stand in it. A line
that begins with `# ` is a sentence to the person instead; the commands behind it stand in a block of their own."""


@frozen(kw_only=True)
class Run:
    """Run one command. `stdin` goes to its standard input; `stdout_to` (a live path) receives its output.

    `by_hand` is what a person types instead, where the same command would be the wrong one for hands.
    """

    argv: Argv
    where: Where = Where.LIVE
    stdin: Content | None = None
    stdout_to: Word | None = None
    by_hand: tuple[Typed, ...] = ()


@frozen(kw_only=True)
class WriteFile:
    """Write a file beside its place and rename it. Folders above are made (0755). `mode` is an octal number."""

    path: InTarget | str
    content: Content
    mode: int = 0o644
    owner: str = "0:0"
    """`UID:GID` by number."""


@frozen(kw_only=True)
class Link:
    """Make the symbolic link `path` point to `to`, replacing a link or plain file that stands there."""

    path: InTarget | str
    to: str


@frozen(kw_only=True)
class Call:
    """Call one verb of the script's runtime library (`rendering/sh/VERB.sh`) with words as arguments.

    For work that takes more than one command. `by_hand` shows a person the commands that do the same. Of a check they
    look whether it holds, and each prints a line only if it does.
    """

    verb: str
    args: Argv = ()
    stdin: Content | None = None
    by_hand: tuple[Typed, ...] = ()


@frozen(kw_only=True)
class ByHand:
    """Work for a person. `commands` are typed by the person, where they have to be typed at all."""

    text: str
    commands: tuple[str, ...] = ()


Operation = Run | WriteFile | Link | Call | ByHand


# --- checks ------------------------------------------------------------------------------------------------------


@frozen(kw_only=True)
class Succeeds:
    """The command exits with 0. Not for tools whose exit status is known to lie."""

    argv: Argv
    where: Where = Where.LIVE


@frozen(kw_only=True)
class Outputs:
    """The command exits with 0 and its standard output is `text` (`exactly`) or has `text` as one of its lines."""

    argv: Argv
    text: str
    exactly: bool = True
    where: Where = Where.LIVE


Test = Succeeds | Outputs | Call
"""A read-only test. A `Call` names a verb that only reads."""


@frozen(kw_only=True)
class Check:
    """A guard or a proof: what must be true, how to tell, and what a person does if it is not."""

    says: str
    """The fact as a sentence: "The disk's serial is SM-NVME-0042"."""
    test: Test
    otherwise: str = ""
    """What to do if it does not hold."""
    early: bool = True
    """For guards: whether it can be tried before the first write (else only right before its action)."""


@frozen(kw_only=True)
class WayBack:
    """The rollback note of an action: always a true sentence; operations where a machine can do it.

    The operations are repeatable, and succeed where nothing (or only half) was done: `--undo` may be cut short, too.
    """

    note: str
    operations: tuple[Operation, ...] = ()
    possible: bool = True
    """False: it cannot be undone, and the note says so."""
    goes_with: str = ""
    """A token: once its giver is taken back, nothing of this is left, and `--undo` passes over the operations."""


NOTHING_TO_UNDO = WayBack(note="Nothing to undo: this changes nothing that stays.")


# --- secrets -----------------------------------------------------------------------------------------------------


@frozen(kw_only=True)
class Secret:
    """A secret that an action needs. Asked for (twice) before the first write, or read from a file on the medium."""

    name: str
    """Letters, digits, `-` and `_`."""
    prompt: str
    file: str = ""
    """Path on the live medium to read it from (one line, the line end is cut off); empty: ask."""
    min_length: int = 1
    max_length: int = 512
    """Lengths in characters. Only printable ASCII is taken: it must be typed on another keyboard later."""


# --- what is touched ---------------------------------------------------------------------------------------------


class Does(enum.Enum):
    """What is done to something that is there already, or that others rely on."""

    FORMATS = "formats"
    DELETES = "deletes"
    WRITES = "writes"


@frozen(kw_only=True)
class Touch:
    """One line of the last look before the machine's name is typed: what an action formats or deletes, or writes
    outside the file systems of the new system. Lines of actions that are done already are left out."""

    does: Does
    what: str
    """The object of that verb, one line without a full stop: "the folder EFI/kelp on the kept partition esp"."""


# --- the action --------------------------------------------------------------------------------------------------


@frozen(kw_only=True)
class Action:
    """One unit of work that a person would recognise."""

    id: str
    """`SECTION.words-with-dashes`: stable, unique, beginning with the step's section."""
    title: str
    """One line, imperative: "Append the new partitions"."""
    reason: str
    """Why this is done, one or two sentences."""
    stage: Stage
    operations: tuple[Operation, ...]
    needs: tuple[str, ...] = ()
    gives: tuple[str, ...] = ()
    guards: tuple[Check, ...] = ()
    proofs: tuple[Check, ...] = ()
    audits: tuple[Check, ...] = ()
    """What only the installed, running machine can show, rooted at `/`: tried by the audit, never by the script."""
    way_back: WayBack = NOTHING_TO_UNDO
    secrets: tuple[Secret, ...] = ()
    cautions: tuple[str, ...] = ()
    """Shown with the action, before its work."""
    touches: tuple[Touch, ...] = ()
    """What this formats or deletes, or writes outside the new system's own file systems; empty where it does not."""
    expected: str = ""
    """What a person sees when it went well."""
    trouble: str = ""
    """How a person can tell that it went wrong, and what to do then."""
    changes: bool = True
    """False: only looks, or asks."""
    transient: bool = False
    """True: has to be done again on every run (mounts, the live keymap); its proofs do not count for the audit."""
    away: bool = False
    """True: done at another machine, and nothing at this one has to be begun before it. It goes first in its stage."""
    peek: tuple[Operation, ...] = ()
    """How a rerun gets at the target to see what is done, before anything is asked: changes nothing that stays, and
    the way back ends it. Only for a transient action that others must see the target through."""
    stamped: bool = False
    """True: cannot be proved by looking; a stamp with this action's digest is written in the target at the end."""
    leaves: tuple[str, ...] = ()
    """For the hand-over sheet: copies that outlive the job, one sentence each with the place where they lie."""
    upkeep: tuple[str, ...] = ()
    """For the hand-over sheet: what whoever keeps the machine has to do later, and when."""
    gathers: str = ""
    """A kind of token (`package`): this action gives every token of that kind that any action needs."""


# --- tokens ------------------------------------------------------------------------------------------------------

SHARED_KINDS = frozenset({"tool"})
"""Kinds that any number of actions may give, and that the live medium gives where no action does."""

KINDS = frozenset(
    {
        "tool",  # a command on the live medium
        "prepared",  # a state the person has brought about: prepared:backup, prepared:shrink, prepared:medium
        "disk",  # disk:identified, disk:saved (the copies of the state before), disk:partitioned
        "partition",  # a partition by its name in the spec
        "filesystem",  # by mount point, or by partition name for swap
        "mount",  # by mount point
        "swap",  # by partition name or file path
        "target",  # target:mounted, target:api (API file systems), target:closed
        "base",  # the unpacked base system
        "package",  # by the family's package name
        "file",  # by absolute path in the target
        "user",
        "group",
        "service",  # enabled, by unit name
        "network",  # network:live
        "clock",  # clock:live
        "keymap",  # keymap:live
        "initramfs",  # initramfs:built
        "kernel",  # kernel:installed
        "loader",  # loader:installed, loader:configured
        "stage",  # stage:target as a need: everything else up to and including that stage
        "boot",  # boot:new, boot:other: what the first boots give
    }
)
"""Kinds every step may use. A step may add one kind of its own, named like its section."""

_TOKEN = re.compile(r"[a-z][a-z0-9_-]*(?::[^\s]+)?")


def token_kind(token: str) -> str:
    """The kind of a token: `tool` of `tool:sfdisk`. Raises ValueError if it is not a token at all."""
    if _TOKEN.fullmatch(token) is None:
        raise ValueError(f"not a token: {token!r}; a token is KIND or KIND:NAME without blanks")
    return token.split(":", 1)[0]
