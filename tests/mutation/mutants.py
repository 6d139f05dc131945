"""Mutants: one place of a source text made wrong. Enters: a text. Leaves: texts that still parse.

Python is changed at the nodes of its syntax tree, shell command by command, outside quotes and comments.
"""

from __future__ import annotations

import ast
import copy
import re
import subprocess
from collections.abc import Iterator

from attrs import frozen


@frozen
class Mutant:
    """A text with one fault."""

    lines: range
    """The lines, counted from 1, of the statement or command it lies in."""
    words: str
    text: str
    part: str
    """The function (or other outermost piece) with the fault in it: what the answer depends on."""


# --- Python ----------------------------------------------------------------------------------------------------------

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
COMPUTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.FloorDiv: ast.Mult,
    ast.Div: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
CALLED = {"min": "max", "max": "min", "any": "all", "all": "any"}
BARE = (ast.Name, ast.Attribute, ast.Call, ast.Subscript)
"""What is tested for being true or empty; comparisons and the like are turned round by themselves."""
NOTHING_TO_TEST = {"decorator_list", "annotation", "returns", "bases", "func", "type_params"}
"""Parts of the tree that hold types, names and the making of classes."""
FOR_PEOPLE = {"strict", "repr", "message", "maxsize"}
"""Arguments by these names are words, or make nothing different that a run could show."""


def python(text: str) -> list[Mutant]:
    """Conditions, comparisons, sums and numbers changed; statements, answers and parts of conditions lost."""
    source, starts = text.encode(), [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))

    def span(node: ast.expr | ast.stmt) -> tuple[int, int]:
        return starts[node.lineno - 1] + node.col_offset, starts[(node.end_lineno or 0) - 1] + (
            node.end_col_offset or 0
        )

    found: dict[str, Mutant] = {}
    for outermost in ast.parse(text).body:
        first, last = span(outermost)
        tested = {id(one.test) for one in ast.walk(outermost) if isinstance(one, ast.If | ast.While)}
        for node, lines in _nodes(outermost, _own_lines(outermost)):
            begin, end = span(node)
            turned = [ast.UnaryOp(ast.Not(), node)] if id(node) in tested and isinstance(node, BARE) else []
            for other in (*_altered(node), *turned):
                put = (ast.unparse(other) if isinstance(other, ast.stmt) else f"({ast.unparse(other)})").encode()
                part = (source[first:begin] + put + source[end:last]).decode()
                whole = (source[:first] + part.encode() + source[last:]).decode()
                words = f"{_short(ast.unparse(node))}  ->  {_short(ast.unparse(other))}"
                found.setdefault(whole, Mutant(lines, words, whole, part))
    return list(found.values())


def _own_lines(node: ast.stmt) -> range:
    """The lines of a statement, without those of the statements in it."""
    body = getattr(node, "body", None)
    last = body[0].lineno - 1 if body else node.end_lineno or node.lineno
    return range(node.lineno, max(last, node.lineno) + 1)


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 80 else line[:77] + "..."


def _nodes(tree: ast.AST, lines: range) -> Iterator[tuple[ast.expr | ast.stmt, range]]:
    """Everything that may be changed, with the lines of its statement. Places in f-strings: Python 3.12."""
    for name, value in ast.iter_fields(tree):
        for child in value if isinstance(value, list) else [value]:
            if name in NOTHING_TO_TEST or not isinstance(child, ast.AST) or isinstance(child, ast.JoinedStr):
                continue
            if isinstance(child, ast.keyword) and child.arg in FOR_PEOPLE:
                continue
            within = _own_lines(child) if isinstance(child, ast.stmt) else lines
            if isinstance(child, ast.expr | ast.stmt):
                yield child, within
            yield from _nodes(child, within)


def _altered(node: ast.expr | ast.stmt) -> Iterator[ast.expr | ast.stmt]:
    match node:
        case ast.Compare(ops=ops):
            for index, op in enumerate(ops):
                yield _with(node, ops=[*ops[:index], COMPARED[type(op)](), *ops[index + 1 :]])
        case ast.BoolOp(op=op, values=values):
            yield _with(node, op=ast.Or() if isinstance(op, ast.And) else ast.And())
            for gone in values:
                rest = [one for one in values if one is not gone]
                yield rest[0] if len(rest) == 1 else _with(node, values=rest)
        case ast.UnaryOp(op=ast.Not(), operand=inner):
            yield inner
        case ast.BinOp(op=op) if type(op) in COMPUTED:
            yield _with(node, op=COMPUTED[type(op)]())
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value)):
            yield ast.Constant(value + 1)
        case ast.Call(func=ast.Name(id=name)) if name in CALLED:
            yield _with(node, func=ast.Name(CALLED[name]))
        case ast.IfExp(body=body, orelse=orelse):
            yield from (body, orelse)
        case ast.Raise() | ast.Continue() | ast.Break() | ast.AugAssign() | ast.Expr(value=ast.Call() | ast.Yield()):
            yield ast.Pass()
        case ast.Expr(value=ast.YieldFrom()):
            yield ast.Pass()
        case ast.Return(value=ast.expr() as value) if not isinstance(value, ast.Constant):
            yield ast.Return(ast.Constant(None))
        case ast.Subscript(slice=ast.Slice(lower=ast.expr() as low, upper=ast.expr() as high)):
            yield from (_with(node, slice=ast.Slice(lower=low)), _with(node, slice=ast.Slice(upper=high)))
        case ast.ListComp(generators=loops) | ast.SetComp(generators=loops) | ast.GeneratorExp(generators=loops):
            yield from (_with(node, generators=fewer) for fewer in _without_a_condition(loops))
        case ast.DictComp(generators=loops):
            yield from (_with(node, generators=fewer) for fewer in _without_a_condition(loops))
        case ast.Tuple(elts=[_, _, *_] as items) | ast.List(elts=[_, _, *_] as items) if isinstance(node.ctx, ast.Load):
            yield from (_with(node, elts=[one for one in items if one is not gone]) for gone in items)


def _without_a_condition(loops: list[ast.comprehension]) -> Iterator[list[ast.comprehension]]:
    for place, loop in enumerate(loops):
        for gone in loop.ifs:
            rest = [one for one in loop.ifs if one is not gone]
            fewer = ast.comprehension(loop.target, loop.iter, rest, loop.is_async)
            yield [*loops[:place], fewer, *loops[place + 1 :]]


def _with(node: ast.expr | ast.stmt, **fields: object) -> ast.expr | ast.stmt:
    other = copy.copy(node)
    for name, value in fields.items():
        setattr(other, name, value)
    return other


# --- shell -----------------------------------------------------------------------------------------------------------

SWAPPED = (
    (r" \|\| ", " && "),
    (r" && ", " || "),
    (r"\breturn 1\b", "return 0"),
    (r"\breturn 0\b", "return 1"),
    (r"\b(if|elif) (?!! |\[)", r"\1 ! "),
    (r"\b(if|elif) ! ", r"\1 "),
    (r"(?<=\[) !", ""),
    (r"(?<=\[) (?!!)", " ! "),
    (r" (\+|-) (?=\w)", " * "),
    (r" (\*|/|%) (?=\w)", " + "),
    (r" >>", " >"),
)
"""Done at every place, one at a time."""
FRAME = re.compile(r"\s*($|#|\}|(if|elif|then|else|fi|for|while|do|done|case|esac)\b|;;|\S*\(\) \{)")
"""Lines that hold the others together: never left out."""
BRANCH = re.compile(r"(\s*)([^\s()]+(?: \| [^\s()]+)*\))(\s.*;;|\s*$)", re.DOTALL)
"""A branch of a case: its indentation, its patterns, and what it does where that stands on the same line."""


def shell(text: str) -> list[Mutant]:
    """Commands left out, branches never taken, tests turned round, `||` and `&&` exchanged, answers turned round."""
    found: dict[str, Mutant] = {}
    lines = text.split("\n")
    for number, line, last in _commands(lines):
        first = max((at for at in range(number) if not lines[at]), default=-1) + 1
        end = min((at for at in range(last, len(lines)) if not lines[at]), default=len(lines))
        for other in _changed(line):
            part = [*lines[first:number], *other.split("\n"), *lines[last + 1 : end]]
            whole = "\n".join([*lines[:first], *part, *lines[end:]])
            if whole != text and whole not in found and _parses(whole):
                words = f"{_short(line)}  ->  {_short(other)}"
                found[whole] = Mutant(range(number + 1, last + 2), words, whole, "\n".join(part))
    return list(found.values())


def _commands(lines: list[str]) -> Iterator[tuple[int, str, int]]:
    """Lines with those that continue them, and the number of the last; none of comments and here-documents."""
    number, until = 0, ""
    while number < len(lines):
        last = number
        while lines[last].endswith("\\") or lines[last].rstrip().endswith(("&&", "||", "|")):
            last += 1
        line = "\n".join(lines[number : last + 1])
        if not until and not line.lstrip().startswith("#"):
            yield number, line, last
        if until and line == until:
            until = ""
        elif not until and (here := re.search(r"<<'?([A-Z_]+)'?", line)):
            until = here[1]
        number = last + 1


def _changed(line: str) -> Iterator[str]:
    indent = line[: len(line) - len(line.lstrip())]
    if branch := BRANCH.fullmatch(line):
        yield f"{branch[1]}'nothing is this'){branch[3]}"
        yield from [f"{branch[1]}{branch[2]} : ;;"] if branch[3].strip(" ;") else []
    elif not FRAME.match(line):
        yield f"{indent}:"
    bare = _without_quotes(line)
    for pattern, put in SWAPPED:
        for match in re.finditer(pattern, bare):
            yield line[: match.start()] + match.expand(put) + line[match.end() :]


def _without_quotes(line: str) -> str:
    """The line, as long as before, quoted text and comments blanked with a sign that nothing looks for."""
    quoted = r"'[^']*'|(?<!\\)\"(?:\\.|[^\"\\])*\"|(?<=\s)#.*"
    return re.sub(quoted, lambda match: "\0" * len(match[0]), line)


def _parses(text: str) -> bool:
    return subprocess.run(["dash", "-n"], input=text, text=True, capture_output=True).returncode == 0
