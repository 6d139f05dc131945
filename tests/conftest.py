"""What every test run needs: signals as a terminal leaves them, and a machine that is left as it was found."""

import gc
import os
import shutil
import signal
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

import leftovers

PATIENCE = 10
"""Seconds that the kernel and dying processes have to let go."""


@pytest.fixture(scope="session", autouse=True)
def machine_left_as_found(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """In the end nothing is attached, mounted, mapped, swapped to or running that a test began, and files lie in
    pytest's own folder only, which keeps those of the last three runs; loose ones lie in a folder that is open to
    every user, as some tests act as another one, and goes."""
    loose, before = Path(tempfile.mkdtemp(prefix="bedplate-tests-")), leftovers.orphans()
    loose.chmod(0o1777)
    os.environ["TMPDIR"] = tempfile.tempdir = str(loose)
    yield
    gc.collect()  # some temporary folders go with the object that holds them
    end = time.monotonic() + PATIENCE
    while left := [
        *leftovers.left([tmp_path_factory.getbasetemp(), loose, *leftovers.in_memory(os.getpid())]),
        *(one for one in leftovers.orphans() if one not in before),
        *(f"{folder} is still there" for folder in leftovers.in_memory(os.getpid())),
    ]:
        if time.monotonic() > end:
            pytest.fail("the tests have left on this machine:\n  " + "\n  ".join(left), pytrace=False)
        time.sleep(0.5)
    shutil.rmtree(loose, ignore_errors=True)


def pytest_configure() -> None:
    """A run in the background inherits SIGINT or SIGHUP ignored, and a POSIX shell may not trap a signal that was
    ignored when it started (POSIX.1-2017, XCU 2.11): scripts under test would never be interrupted. SIGPIPE is given
    back by subprocess itself, and would end this run where it is not ignored here."""
    for number in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT, signal.SIGTERM, signal.SIGTSTP):
        if signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL)
