"""Where the apt family's system keeps its settings, and what its base brings: clock, locale, network, users."""

from __future__ import annotations

from bedplate import conditions
from bedplate_steps.clock.family import Chrony, ZoneName
from bedplate_steps.locale.family import ConsoleKeymap, LocaleFiles
from bedplate_steps.locale.keymaps import keyboard
from bedplate_steps.locale.model import Locale
from bedplate_steps.network.family import OwnName
from bedplate_steps.users.family import BaseGroups, SshServer

ZONE = ZoneName(file="/etc/timezone")  # postinst of tzdata, Debian 12
CHRONY = Chrony(unit="chrony.service", settings="/etc/chrony/chrony.conf")
LOCALES = LocaleFiles(language=("/etc/locale.conf", "/etc/default/locale"))  # the second one is what PAM reads
OWN_NAME = OwnName(address="127.0.1.1")  # Debian Reference 5.1.1
SSH = SshServer(unit="ssh.service")


def _console_setup(locale: Locale) -> dict[str, str]:
    """keyboard(5), and with a font console-setup(5)."""
    board = keyboard(locale)
    rows = {
        "XKBMODEL": board.model,
        "XKBLAYOUT": board.layout,
        "XKBVARIANT": board.variant,
        "XKBOPTIONS": board.options,
        "BACKSPACE": "guess",
    }
    files = {"/etc/default/keyboard": "".join(f'{key}="{value}"\n' for key, value in rows.items())}
    if locale.font:
        files["/etc/default/console-setup"] = (
            f'ACTIVE_CONSOLES="/dev/tty[1-6]"\nCHARMAP="UTF-8"\nCODESET="guess"\nFONT="{locale.font}.psf.gz"\n'
        )
    return files


CONSOLE = ConsoleKeymap(
    files=_console_setup,
    units=("keyboard-setup.service", "console-setup.service"),  # console-setup of Debian 12
    # The cached files are what the console and the initramfs load at boot (setupcon(1)).
    prepare=("setupcon", "--save-only"),
    prepared=(conditions.holds("The console's keymap is ready for the start", "console-is-cached", early=False),),
    by_layout=True,
)

_GROUPS = """root daemon bin sys adm tty disk lp mail news uucp man proxy kmem dialout fax voice cdrom floppy tape sudo
audio dip www-data backup operator list irc src shadow utmp video sasl plugdev staff games users nogroup
messagebus"""
"""Debian's base-passwd, /usr/share/base-passwd/group.master; the last by the package dbus."""
GROUPS = BaseGroups(administrators="sudo", present=frozenset(_GROUPS.split()))
