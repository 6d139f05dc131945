"""The installed runtime functions, and the same with one of them, or a part of the runtime, changed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from unittest.mock import patch

from bedplate.functions import Folder, Function, Library
from bedplate.testing.subject import installed

LIBRARY = installed().library


@contextmanager
def changed(name: str, change: Callable[[str], str]) -> Iterator[None]:
    """Every script has that function's text changed; of a name such as `_run`, that part of the runtime."""
    read, found = Folder.text, Library.__getitem__

    def text(folder: Folder, file: str) -> str:
        known = read(folder, file)
        return change(known) if file == f"{name}.sh" and name.startswith("_") else known

    def function(library: Library, asked: str) -> Function:
        known = found(library, asked)
        return Function(change(known.text)) if asked == name else known

    with patch.object(Folder, "text", text), patch.object(Library, "__getitem__", function):
        yield
