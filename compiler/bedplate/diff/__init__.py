"""Two specs compared: what changes on the machine, what each change takes, and the work as a second graph.

Enters: two checked specs with their graphs. Leaves: a `Diff`, its report, and an `InstallGraph` of the scene `change`.
"""

from __future__ import annotations

from bedplate.diff.compare import compare
from bedplate.diff.model import Diff, Planned, Told
from bedplate.diff.work import work

__all__ = ["Diff", "Planned", "Told", "compare", "work"]
