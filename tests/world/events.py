"""All events there are, by name."""

from __future__ import annotations

from world import partitions, systems
from world.happening import EVENTS, named

__all__ = ["EVENTS", "named", "partitions", "systems"]
