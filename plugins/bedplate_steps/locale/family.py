"""What this step asks of the package family: one frozen type per concern, brought by the family."""

from __future__ import annotations

from collections.abc import Callable

from attrs import frozen

from bedplate.actions import Argv, Check
from bedplate_steps.locale.model import Locale


@frozen(kw_only=True)
class LocaleFiles:
    """How locales are made, and where the language stands."""

    language: tuple[str, ...] = ("/etc/locale.conf",)
    """Files of the target that say `LANG=` (locale.conf(5))."""
    pack: str = ""
    """Name of the package that brings a language's locales ready-made, with `{language}` for its code, such as `de`;
    empty: locales are made from /etc/locale.gen by locale-gen(8)."""


@frozen(kw_only=True)
class ConsoleKeymap:
    """How keymap and font of the console are set."""

    files: Callable[[Locale], dict[str, str]]
    """Path and text of each file of the target; pure."""
    units: tuple[str, ...]
    """Services that load them at the start."""
    prepare: Argv = ()
    """Command in the target that makes what those services load from the files; empty: they read the files."""
    prepared: tuple[Check, ...] = ()
    """Proofs of that."""
    by_layout: bool = False
    """Whether the files hold a keyboard layout (keyboard(5)): a keymap of which none is known is a fault then."""


def vconsole(locale: Locale) -> dict[str, str]:
    """vconsole.conf(5)."""
    text = f"KEYMAP={locale.keymap}\n" + (f"FONT={locale.font}\n" if locale.font else "")
    return {"/etc/vconsole.conf": text}


VCONSOLE = ConsoleKeymap(files=vconsole, units=("systemd-vconsole-setup.service",))
"""systemd's own way, systemd-vconsole-setup.service(8)."""
