"""Every code a fault can carry is met by at least one test: a fault nobody has seen is a fault nobody can rely on.

The codes are read from the source (`code=` of every call, followed to where its value is written). A test meets one
where it stands alone in a text or behind a path in one, or in brackets as reports show it.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
SOURCES = [path for room in ("compiler", "plugins") for path in sorted((ROOT / room).rglob("*.py"))]
TOLD = re.compile(r"\[([a-z0-9-]+)\]|^(?:\S+ ){1,2}([a-z0-9-]+)$")


class Codes:
    """The values that `code` can take in one module."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.tree = ast.parse(path.read_text())
        self.calls = [node for node in ast.walk(self.tree) if isinstance(node, ast.Call)]
        self.functions = [node for node in ast.walk(self.tree) if isinstance(node, ast.FunctionDef)]
        self.unclear: list[str] = []

    def all(self) -> set[str]:
        """Every code of the module; what cannot be followed is in `unclear`."""
        found = set[str]()
        for call in self.calls:
            if called(call) == "reject":
                found |= self.values(call.args[0], call)
            found |= {code for word in call.keywords if word.arg == "code" for code in self.values(word.value, call)}
        return found

    def values(self, node: ast.expr, at: ast.AST) -> set[str]:
        """The texts an expression within `at` can be."""
        match node:
            case ast.Constant(value=str(text)):
                return {text}
            case ast.IfExp(body=one, orelse=other):
                return self.values(one, at) | self.values(other, at)
            case ast.Name(id=name):
                function = next((one for one in self.functions if at in ast.walk(one)), None)
                written = list(self.written(name, function or self.tree)) or list(self.written(name, self.tree))
                found = {code for value in written for code in self.values(value, at)}
                parameters = [argument.arg for argument in function.args.args] if function else []
                if function and name in parameters:
                    given = [call for call in self.calls if called(call) == function.name]
                    place = parameters.index(name)
                    found |= {code for call in given for code in self.values(call.args[place], call)}
                if found or (function and function.name == "reject"):  # whoever calls it is looked at
                    return found
        self.unclear.append(f"{self.path.relative_to(ROOT)}:{node.lineno}: {ast.unparse(node)}")
        return set()

    def written(self, name: str, where: ast.AST) -> Iterator[ast.expr]:
        """What is assigned to a name, alone or as the first of several."""
        for node in ast.walk(where):
            if not isinstance(node, ast.Assign):
                continue
            target, value = node.targets[0], node.value
            if isinstance(target, ast.Name) and target.id == name:
                yield value
            elif isinstance(target, ast.Tuple) and ast.unparse(target.elts[0]) == name:
                yield from self.firsts(value)

    def firsts(self, value: ast.expr) -> Iterator[ast.expr]:
        """The first elements of tuples: of one, of either of two, or of all rows of a table of the module."""
        match value:
            case ast.Tuple(elts=[first, *_]):
                yield first
            case ast.IfExp(body=one, orelse=other):
                yield from (*self.firsts(one), *self.firsts(other))
            case ast.Subscript(value=ast.Name(id=table)):
                for rows in self.written(table, self.tree):
                    assert isinstance(rows, ast.Dict)
                    yield from (first for row in rows.values for first in self.firsts(row))


def called(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else ""


@cache
def emitted() -> tuple[frozenset[str], tuple[str, ...]]:
    codes, unclear = set[str](), list[str]()
    for path in SOURCES:
        module = Codes(path)
        codes |= module.all()
        unclear += module.unclear
    return frozenset(codes), tuple(unclear)


@cache
def met() -> frozenset[str]:
    """What tests say: whole strings, and what stands in brackets as reports show it."""
    texts = [path for path in (ROOT / "tests").rglob("*") if path.suffix in (".py", ".txt") and path != Path(__file__)]
    words = set[str]()
    for path in texts:
        said = [path.read_text()]
        if path.suffix == ".py":
            constants = [one.value for one in ast.walk(ast.parse(said[0])) if isinstance(one, ast.Constant)]
            said = [text for text in constants if isinstance(text, str)]
            words |= set(said)
        words |= {code for text in said for both in re.findall(TOLD, text) for code in both}
    return frozenset(words)


def test_every_code_can_be_read_from_the_source() -> None:
    codes, unclear = emitted()
    assert not unclear, "write the code as a text, or teach this test to follow it"
    assert len(codes) > 200


def test_every_code_is_met_by_a_test() -> None:
    assert sorted(emitted()[0] - met()) == []
