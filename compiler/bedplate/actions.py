"""Actions: the closed vocabulary that steps emit. Values only; nothing here runs, reads or writes anything.

An operation or a check holds argument vectors, never shell text: a renderer quotes them in one place.
"""

import enum
import functools
import re
import shlex
from collections.abc import Callable, Iterator
from typing import Any, TypeVar, cast

import attrs
from attrs import evolve, field, frozen

from bedplate.field_types import one_line, typed

TARGET = "/mnt/target"
"""Where the new system's root is mounted on the live medium."""

T = TypeVar("T")


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


@frozen(field_transformer=typed)
class Disk:
    """The node of the spec's disk, resolved at run time from its identity."""


_UPWARD = re.compile(r"(^|/)\.\.(/|$)")


def _in_target(_item: object, _attribute: object, path: str) -> None:
    if not path.startswith("/") or _UPWARD.search(path):
        raise ValueError(f"a path of the target begins with / and never goes up with ..: {path!r}")


@frozen(field_transformer=typed)
class InTarget:
    """A path of the target (absolute, `/etc/fstab`): below the mounted root when installing, itself in the audit."""

    path: str = field(validator=_in_target)


@frozen(field_transformer=typed)
class Gathered:
    """All names of the needs of one kind, sorted. Alone in a vector it becomes one word per name; with `joined`
    it becomes one word, the names separated by that text. Only for an action that `gathers` the kind."""

    kind: str
    joined: str | None = None


Plain = str | Disk | InTarget | Gathered


@frozen(field_transformer=typed)
class Joined:
    """Several parts that make up one word."""

    parts: tuple[Plain, ...]


Word = Plain | Joined
"""One word of an argument vector. A `str` is literal text, whatever it holds."""

Argv = tuple[Word, ...]


def _command(_item: object, attribute: "attrs.Attribute[Argv]", argv: Argv) -> None:
    if not argv or (isinstance(argv[0], str) and len(argv[0].split()) != 1):
        said = f"{argv[0]!r} is no command's name" if argv else f"{attribute.name} is empty"
        raise ValueError(f"{said}: give each word as its own argument")


# --- contents ----------------------------------------------------------------------------------------------------


class Coding(enum.Enum):
    """How a secret is written into a file."""

    PLAIN = "plain"
    KEYFILE = "keyfile"
    """Backslash, leading and trailing blanks escaped as a GLib key file wants it."""


@frozen(field_transformer=typed)
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


@frozen(kw_only=True, field_transformer=typed)
class Run:
    """Run one command. `stdin` goes to its standard input; `stdout_to` (a live path) receives its output.

    `by_hand` is what a person types instead, where the same command would be the wrong one for hands.
    """

    argv: Argv = field(validator=_command)
    where: Where = Where.LIVE
    stdin: Content | None = None
    stdout_to: InTarget | str | None = None
    by_hand: tuple[Typed, ...] = ()


@frozen(kw_only=True, field_transformer=typed)
class WriteFile:
    """Write a file beside its place and rename it. Folders above are made (0755). `mode` is an octal number."""

    path: InTarget | str
    content: Content
    mode: int = 0o644
    owner: str = "0:0"
    """`UID:GID` by number."""


@frozen(kw_only=True, field_transformer=typed)
class Link:
    """Make the symbolic link `path` point to `to`, replacing a link or plain file that stands there."""

    path: InTarget | str
    to: str


@frozen(kw_only=True, field_transformer=typed)
class Call:
    """Call a runtime function with words as arguments: `STEP/NAME`, or one of the compiler's by its name alone (see
    `bedplate.functions`).

    For work that takes more than one command. `by_hand` shows a person the commands that do the same. Of a check they
    look whether it holds, and each prints a line only if it does.
    """

    verb: str
    args: Argv = ()
    stdin: Content | None = None
    by_hand: tuple[Typed, ...] = ()


@frozen(kw_only=True, field_transformer=typed)
class ByHand:
    """Work for a person. `commands` are typed by the person, where they have to be typed at all."""

    text: str
    commands: tuple[Typed, ...] = ()


Operation = Run | WriteFile | Link | Call | ByHand


# --- checks ------------------------------------------------------------------------------------------------------


@frozen(kw_only=True, field_transformer=typed)
class Succeeds:
    """The command exits with 0. Not for tools whose exit status is known to lie."""

    argv: Argv = field(validator=_command)
    where: Where = Where.LIVE


@frozen(kw_only=True, field_transformer=typed)
class Outputs:
    """The command exits with 0 and its standard output is `text` (`exactly`) or has `text` as one of its lines."""

    argv: Argv = field(validator=_command)
    text: str
    exactly: bool = True
    where: Where = Where.LIVE


Test = Succeeds | Outputs | Call
"""A read-only test. A `Call` names a verb that only reads."""


@frozen(kw_only=True, field_transformer=typed)
class Check:
    """A guard or a proof: what must be true, how to tell, and what a person does if it is not."""

    says: str
    """The fact as a sentence: "The disk's serial is SM-NVME-0042"."""
    test: Test
    otherwise: str = ""
    """What to do if it does not hold."""
    early: bool = True
    """For guards: whether it can be tried before the first write (else only right before its action)."""


def _note(_item: object, _attribute: object, note: str) -> None:
    if not note.strip():
        raise ValueError("the note of a WayBack says how to go back, or that it cannot be undone")


@frozen(kw_only=True, field_transformer=typed)
class WayBack:
    """The rollback note of an action: always a true sentence; operations where a machine can do it.

    The operations are repeatable, and succeed where nothing (or only half) was done: `--undo` may be cut short, too.
    """

    note: str = field(validator=_note)
    operations: tuple[Operation, ...] = ()
    possible: bool = True
    """False: it cannot be undone, and the note says so."""
    goes_with: str = ""
    """A token: once its giver is taken back, nothing of this is left, and `--undo` passes over the operations."""


NOTHING_TO_UNDO = WayBack(note="Nothing to undo: this changes nothing that stays.")


# --- secrets -----------------------------------------------------------------------------------------------------


@frozen(kw_only=True, field_transformer=typed)
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


@frozen(kw_only=True, field_transformer=typed)
class Touch:
    """One line of the last look before the machine's name is typed: what an action formats or deletes, or writes
    outside the file systems of the new system. Lines of actions that are done already are left out."""

    does: Does
    what: str = field(validator=one_line)
    """The object of that verb, one line without a full stop: "the folder EFI/kelp on the kept partition esp"."""


# --- the action --------------------------------------------------------------------------------------------------


@frozen(kw_only=True, field_transformer=typed)
class Action:
    """One unit of work that a person would recognise."""

    id: str
    """`SECTION.words-with-dashes`: stable, unique, beginning with the step's section."""
    title: str = field(validator=one_line)
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


class Milestone(enum.StrEnum):
    """Tokens that renderings look for: what is reached when the action that gives it is done."""

    ROOT_MOUNTED = "mount:/"
    """The new root is there: what comes before is the way to the target, which a rerun goes to see what is done."""
    API_MOUNTED = "target:api"
    API_UNMOUNTED = "target:unbound"
    TARGET_CLOSED = "target:closed"
    """Everything is written out and unmounted."""
    COPIES_SAVED = "disk:saved"
    """The copies of the state before lie on the second stick."""
    NETWORK_UP = "network:live"
    KEYMAP_LOADED = "keymap:live"
    INITRAMFS_BUILT = "initramfs:built"
    LOADER_INSTALLED = "loader:installed"
    MENU_WRITTEN = "loader:configured"
    BOOT_ENTRY = "loader:entry"
    FIRST_START = "boot:new"
    """The new system has been started."""


_TOKEN = re.compile(r"[a-z][a-z0-9_-]*(?::[^\s]+)?")


def token_kind(token: str) -> str:
    """The kind of a token: `tool` of `tool:sfdisk`. Raises ValueError if it is not a token at all."""
    if _TOKEN.fullmatch(token) is None:
        raise ValueError(f"not a token: {token!r}; a token is KIND or KIND:NAME without blanks")
    return token.split(":", 1)[0]


# --- the walk ----------------------------------------------------------------------------------------------------


def walk(value: object) -> Iterator[attrs.AttrsInstance]:
    """Every value of this vocabulary in `value`, itself first: actions, operations, checks, tests, ways back, secrets,
    and what stands in vectors and contents for something else. Literal text is left out.

    Whatever looks at all of an action looks through this: a kind that comes new is seen by all of them.
    """
    pending: list[Any] = [value]
    while pending:
        item = pending.pop()
        if type(item) is tuple:
            pending.extend(reversed(item))
        elif (fields := _fields(item.__class__)) is not None:
            yield item
            pending.extend([getattr(item, name) for name, _ in reversed(fields)])


StandIn = Disk | InTarget | Gathered | SecretRef | Where
"""What stands for something that is known only later, or elsewhere."""


def map_words(value: T, change: Callable[[StandIn], object], line: Callable[[str], str] = str) -> T:
    """`value` with `change(it)` for everything in it that is no literal text: a path of the target, the disk, gathered
    names, a secret, the place where a command runs.

    A tuple in place of a word stands for several; in what a person types they are quoted. `line` maps the literal
    text of that.
    """
    return cast(T, _mapped(value, change, line))


def _mapped(value: Any, change: Callable[[Any], object], line: Callable[[str], str]) -> Any:
    if isinstance(value, StandIn):
        return change(value)
    if type(value) is tuple:
        return _spliced(value, change, line)
    changed = {}
    for name, is_typed in _fields(value.__class__) or ():
        old = getattr(value, name)
        new = tuple(_line(one, change, line) for one in old) if is_typed else _mapped(old, change, line)
        if new != old:
            changed[name] = new
    return evolve(value, **changed) if changed else value


def _spliced(items: tuple[Any, ...], change: Callable[[Any], object], line: Callable[[str], str]) -> tuple[Any, ...]:
    out: list[object] = []
    for item in items:
        new = _mapped(item, change, line)
        out.extend(new if type(new) is tuple else (new,))
    return tuple(out)


def _line(item: Typed, change: Callable[[Any], object], line: Callable[[str], str]) -> Typed:
    """What a person types, names in it quoted for a shell. It stays in parts while some are not known."""
    if isinstance(item, str):
        return line(item)
    parts = [line(part) if isinstance(part, str) else _quoted(change(part)) for part in item]
    whole = "".join(part for part in parts if isinstance(part, str))
    return whole if all(isinstance(part, str) for part in parts) else tuple(parts)


def _quoted(words: Any) -> Any:
    if isinstance(words, Gathered):
        return words
    return " ".join(map(shlex.quote, words if type(words) is tuple else (words,)))


@functools.cache
def _fields(kind: type) -> tuple[tuple[str, bool], ...] | None:
    """Names of the fields of a class of this vocabulary, and of each whether a person types it; None for others."""
    if not attrs.has(kind):
        return None
    return tuple((one.name, one.type == tuple[Typed, ...]) for one in attrs.fields(kind))
