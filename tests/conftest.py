"""What every test run needs: signals as a terminal leaves them, however the run was started."""

import signal


def pytest_configure() -> None:
    """A run in the background inherits SIGINT or SIGHUP ignored, and a POSIX shell may not trap a signal that was
    ignored when it started (POSIX.1-2017, XCU 2.11): scripts under test would never be interrupted. SIGPIPE is given
    back by subprocess itself, and would end this run where it is not ignored here."""
    for number in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT, signal.SIGTERM, signal.SIGTSTP):
        if signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL)
