"""The serial console of a machine, driven as a person at a terminal would."""

import re
from pathlib import Path

import pexpect
from attrs import define, frozen

from .tools import ToolError

_MARK = "bench-command-ended"
# dash has no line editor that would repeat or colour what is typed.
_PLAIN_SHELL = "exec env -u ENV PS1= PS2= TERM=dumb sh"
_LINE_BYTES = 3500  # below the 4095 of a terminal line in canonical mode, termios(3)
_ESCAPES = re.compile(r"\x1b(?:\[[0-9;?=]*[A-Za-z]|[()][A-Z0-9]|[=>78cM])|[\x00-\x08\x0b-\x1f\x7f]")


@frozen(kw_only=True)
class Result:
    """What a command left behind: exit status, and everything it wrote to the terminal."""

    status: int
    output: str


class ConsoleError(Exception):
    """The machine did not say what was waited for; the text carries the last it said."""


def plain_text(raw: str) -> str:
    """Terminal output without escape sequences and control characters other than tab and newline."""
    return _ESCAPES.sub("", raw.replace("\r\n", "\n"))


@define(kw_only=True)
class Console:
    """One serial line. ``run`` for commands that ask nothing, ``start`` to ``finish`` for the others."""

    child: "pexpect.spawn[str]"
    _said: str = ""

    def expect(self, pattern: str, timeout: float = 60) -> str:
        """Wait ``timeout`` seconds for a regular expression; the text that matched."""
        return self._wait([pattern], timeout)[1]

    def expect_any(self, patterns: list[str], timeout: float = 60) -> int:
        """Wait for the first of several regular expressions; its index."""
        return self._wait(patterns, timeout)[0]

    def _wait(self, patterns: list[str], timeout: float) -> tuple[int, str]:
        try:
            index = self.child.expect(patterns, timeout=timeout)
        except (pexpect.TIMEOUT, pexpect.EOF) as trouble:
            said = plain_text(self.child.before if isinstance(self.child.before, str) else "")
            kind = "nothing within" if isinstance(trouble, pexpect.TIMEOUT) else "machine stopped within"
            raise ConsoleError(f"{patterns}: {kind} {timeout} s, last said:\n{said[-3000:]}") from None
        matched = str(self.child.after)
        self._said += str(self.child.before) + matched
        return index, matched

    def answer(self, text: str) -> None:
        """Type a line and end it with a newline, which every terminal mode takes for Enter."""
        self.child.send(text + "\n")

    def press(self, keys: str) -> None:
        """Send key presses as they are: ``\\r`` is Enter, ``\\x1b[B`` the arrow down of a VT100."""
        self.child.send(keys)

    def choose_menu_entry(self, title: str, started: str, *, timeout: float = 120, presses: int = 20) -> None:
        """Move a GRUB menu's highlight, which it marks with an asterisk, down to ``title`` and press Enter.

        Ends when what was chosen says ``started``.

        The firmware listens at the same line and may take a key for itself, so each press is looked after. Control
        and N (GRUB manual, "The simple menu interface") is one byte, of which no half can be lost.
        """
        self.expect(title, timeout)
        for _ in range(presses):
            self.press("\x0e")
            try:
                self.expect(rf"\*{title}", 3)
            except ConsoleError:
                continue
            break
        else:
            raise ConsoleError(f"the menu's highlight never reached {title}")
        for last in (False, False, False, True):
            self.press("\r")
            try:
                self.expect(started, 40)
                return
            except ConsoleError:
                if last:
                    raise

    def start(self, command: str) -> None:
        """Begin a command at the plain shell; ``expect`` and ``answer`` its questions, then ``finish``."""
        line = f"{{ {command}\n}}; set -- $?; stty -echo; printf '\\n%s:%d:\\n' {_MARK} $1"
        if len(line.encode()) > _LINE_BYTES:
            raise ValueError(f"command of {len(line)} characters: put a script into the share instead")
        self._said = ""
        self.child.send(line + "\n")

    def finish(self, timeout: float = 60) -> Result:
        """Wait for the end of the command that ``start`` began."""
        matched = self.expect(rf"\r?\n{_MARK}:\d+:\r?\n", timeout)
        output = plain_text(self._said[: -len(matched)])
        return Result(status=int(matched.split(":")[1]), output=output.lstrip("\n"))

    def run(self, command: str, timeout: float = 60) -> Result:
        """Carry out a command that asks nothing."""
        self.start(command)
        return self.finish(timeout)

    def check(self, command: str, timeout: float = 60) -> str:
        """Output of a command that has to end with status 0; ConsoleError otherwise."""
        result = self.run(command, timeout)
        if result.status:
            raise ConsoleError(f"{command}: status {result.status}\n{result.output}")
        return result.output

    def plain_shell(self, prompt: str, timeout: float) -> None:
        """Wait for a login shell's prompt and go over to a shell without prompt, echo or line editing."""
        self.expect(prompt, timeout)
        self.answer(f"stty -echo cols 200 rows 50; {_PLAIN_SHELL}")
        self.answer("echo plain-$((40 + 2))-shell")
        self.expect(r"plain-42-shell\r?\n", 60)

    def login(self, user: str, password: str, timeout: float = 300) -> None:
        """Log in at a getty that has yet to show its prompt, in English or German; ends in a plain shell."""
        self.expect(r"login: ", timeout)
        self.answer(user)
        self.expect(r"Pass(word|wort): ", 60)
        self.answer(password)
        if self.expect_any([r"[#$] $", r"Login incorrect"], 90):
            raise ConsoleError(f"login of {user} refused")
        self.answer("")
        self.plain_shell(r"[#$] $", 60)

    def logout(self) -> None:
        """End the plain shell, which brings the login prompt back."""
        self.answer("exit")


def save_as_text(raw: Path, text: Path) -> None:
    """Write a serial recording as plain text; ToolError when there is none."""
    if not raw.is_file():
        raise ToolError(f"no recording at {raw}")
    text.write_text(plain_text(raw.read_text(errors="replace")))
