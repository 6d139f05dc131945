"""Whether a shell text defines functions and nothing else, so that nothing is run when a script is read.

Enters: the text. Leaves: the names of its functions, or the first line that could be more. POSIX.1-2017, XCU 2.2
(quoting), 2.3 (tokens), 2.4 (reserved words), 2.7.4 (here-documents), 2.9 (commands). What shells read differently is
refused: backquotes, `$'...'`, a brace as an argument, a quote inside braces inside double quotes.
"""

from __future__ import annotations

import re

_HEAD = re.compile(r"([a-z][a-z0-9_]*)\(\) \{(?=[ \t\n])")
_BLANKS = re.compile(r"(?:[ \t]|\\\n)*")
_COMMENT = re.compile(r"#[^\n]*")
_TO_LINE_END = re.compile(r"(?:[ \t]+2>/dev/null)?[ \t]*(?:#[^\n]*)?(?:\n|\Z)")
_PLAIN = re.compile(r"[^\s;&|()<>'\"`\\$]+")
_DELIMITER = re.compile(r"([A-Z_]+)|'([A-Z_]+)'")
_BEFORE_COMMANDS = frozenset(["if", "then", "elif", "else", "fi", "while", "until", "do", "done", "!"])
"""Reserved words behind which another one is read as such."""


class NotOnlyFunctions(ValueError):
    """The text is, or may be, more than functions and comments. The message begins with `line NUMBER: `."""


def defined(text: str) -> tuple[str, ...]:
    """Names of the functions, in order. Raises NotOnlyFunctions."""
    return _Reader(text).definitions()


class _Reader:
    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.here: list[tuple[str, bool, bool]] = []
        """Here-documents whose bodies come with the next line: delimiter, whether quoted, whether without tabs."""

    def definitions(self) -> tuple[str, ...]:
        names = []
        if "\0" in self.text:
            raise self._refused("it holds a NUL character")
        while self.at < len(self.text):
            if (head := _HEAD.match(self.text, self.at)) is not None:
                names.append(head[1])
                self.at = head.end()
                self._commands("}")
            if (rest := _TO_LINE_END.match(self.text, self.at)) is None:
                raise self._refused("outside of functions stand comments only; a function begins with `name() {`")
            self.at = rest.end()
        return tuple(names)

    def _commands(self, closing: str) -> bool:
        """Up to and with `}`, `)` or `esac`. Of a `case`: whether it was `esac`, not the end of one of its items."""
        first = True
        while True:
            self._skip(_BLANKS)
            sign = self._sign()
            if sign == "\n":
                self._line_end()
                first = True
            elif sign == "#":
                self._skip(_COMMENT)
            elif sign == ";" and self._sign(1) == ";" and closing == "esac":
                self.at += 2
                return False
            elif sign in ";&|":
                self.at += 1
                first = True
            elif sign == "(":
                self.at += 1
                self._commands(")")
                first = True
            elif sign == ")":
                if closing != ")" or self.here:
                    raise self._refused("a parenthesis is closed that was not opened here")
                self.at += 1
                return True
            elif sign in "<>":
                self._redirection()
                first = False
            else:
                word = self._word()
                if word in ("{", "}") and not first:
                    raise self._refused("a brace that is no part of the shell's grammar is quoted")
                if word == "{":
                    self._commands("}")
                elif word in ("}", "esac") and first:
                    if word != closing:
                        raise self._refused(f"{word} ends what was not begun here")
                    return True
                elif word == "case" and first:
                    self._case()
                else:
                    first = first and word in _BEFORE_COMMANDS

    def _case(self) -> None:
        self._skip(_BLANKS)
        self._word()
        self._skip(_BLANKS)
        if self._word() != "in":
            raise self._refused("behind case and one word stands in")
        while True:
            self._skip(_BLANKS)
            if self._sign() == "\n":
                self._line_end()
            elif self._sign() == "#":
                self._skip(_COMMENT)
            elif self._pattern() or self._commands("esac"):
                return

    def _pattern(self) -> bool:
        """Up to and with the parenthesis behind a pattern. Whether it was no pattern but the end of the case."""
        if self._sign() == "(":
            self.at += 1
        while True:
            self._skip(_BLANKS)
            word = self._word()
            if word == "esac":
                return True
            if word in ("{", "}"):
                raise self._refused("a brace that is a pattern is quoted")
            self._skip(_BLANKS)
            self.at += 1
            if self.text[self.at - 1] == ")":
                return False
            if self.text[self.at - 1] != "|":
                raise self._refused("a pattern ends with a parenthesis")

    def _redirection(self) -> None:
        operator = re.compile(r"<<-?|[<>][<>&|]?").match(self.text, self.at)
        assert operator is not None
        self.at = operator.end()
        self._skip(_BLANKS)
        if not operator[0].startswith("<<"):
            self._word()
            return
        word = _DELIMITER.match(self.text, self.at)
        if word is None:
            raise self._refused("a here-document ends with a word of capital letters and underscores")
        self.at = word.end()
        self.here.append((word[1] or word[2], word[2] is not None, operator[0] == "<<-"))

    def _line_end(self) -> None:
        """A line end, and the here-documents that begin behind it."""
        self.at += 1
        for delimiter, quoted, without_tabs in self.here:
            while True:
                start, end = self.at, self.text.find("\n", self.at)
                if end < 0:
                    raise self._refused(f"the here-document is not ended by {delimiter}")
                line = self.text[start:end]
                self.at = end + 1
                if (line.lstrip("\t") if without_tabs else line) == delimiter:
                    break
                if not quoted:
                    self._expanded(start, end)
        self.here = []

    def _expanded(self, start: int, end: int) -> None:
        """A line of a here-document in which something is put in: whatever begins there ends there."""
        self.at = start
        while self.at < end:
            if self._sign() == "`" or (self._sign() == "\\" and self.at + 1 == end):
                raise self._refused("in a here-document neither a backquote nor a line that goes on")
            if self._sign() == "$":
                self._dollar(True)
            else:
                self.at += 2 if self._sign() == "\\" else 1
        if self.at != end:
            raise self._refused("what begins in a line of a here-document ends in that line")
        self.at = end + 1

    def _word(self) -> str:
        """One word; its text if nothing in it is quoted or put in, else an empty one."""
        start, plain = self.at, True
        while True:
            sign = self._sign() if self.at < len(self.text) else " "
            if (more := _PLAIN.match(self.text, self.at)) is not None:
                self.at = more.end()
                continue
            if sign in " \t\n\r\v\f;&|()<>":
                break
            plain = False
            if sign == "\\":
                self.at += 2
            elif sign == "'":
                self.at = self._find("'", self.at + 1)
            elif sign == '"':
                self._double()
            elif sign == "$":
                self._dollar(False)
            else:
                raise self._refused("no backquotes: write $(...)")
        if self.at == start:
            raise self._refused("a word is missing")
        return self.text[start : self.at] if plain else ""

    def _double(self) -> None:
        self.at += 1
        while (sign := self._sign()) != '"':
            if sign == "`":
                raise self._refused("no backquotes: write $(...)")
            if sign == "$":
                self._dollar(True)
            else:
                self.at += 2 if sign == "\\" else 1
        self.at += 1

    def _dollar(self, in_double: bool) -> None:
        following = self.text[self.at + 1 : self.at + 3]
        if following == "((":
            self._arithmetic()
        elif following.startswith("("):
            self.at += 2
            outside, self.here = self.here, []
            self._commands(")")
            self.here = outside
        elif following.startswith("{"):
            self._braces(in_double)
        elif following[:1] in ("'", '"') and following and not in_double:
            raise self._refused("no $'...' and no $\"...\": not every shell has them")
        else:
            self.at += 1

    def _arithmetic(self) -> None:
        self.at += 3
        depth = 2
        while depth:
            sign = self._sign()
            if sign in "'\"`\\#;{}":
                raise self._refused("in $((...)) stand numbers, variables and operators only")
            depth += (sign == "(") - (sign == ")")
            if sign == ")" and depth == 1 and self._sign(1) != ")":
                raise self._refused("$((...)) ends with both its parentheses")
            if sign == "$":
                self._dollar(True)
            else:
                self.at += 1

    def _braces(self, in_double: bool) -> None:
        self.at += 2
        while (sign := self._sign()) != "}":
            if sign == "`" or (sign == "'" and in_double):
                raise self._refused("neither backquotes in ${...}, nor a single quote where it stands in double ones")
            if sign == "'":
                self.at = self._find("'", self.at + 1)
            elif sign == '"':
                self._double()
            elif sign == "$":
                self._dollar(in_double)
            else:
                self.at += 2 if sign == "\\" else 1
        self.at += 1

    # --- signs ---------------------------------------------------------------------------------------------------

    def _sign(self, further: int = 0) -> str:
        """The sign there. Raises NotOnlyFunctions at the end of the text: whatever asks is inside something."""
        if self.at + further >= len(self.text):
            raise self._refused("the text ends inside a function")
        return self.text[self.at + further]

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def _find(self, sign: str, start: int) -> int:
        found = self.text.find(sign, start)
        if found < 0:
            raise self._refused("a quote is not closed")
        return found + 1

    def _refused(self, why: str) -> NotOnlyFunctions:
        line = self.text.count("\n", 0, min(self.at, len(self.text))) + 1
        return NotOnlyFunctions(f"line {line}: {why}")
