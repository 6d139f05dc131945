"""Bedplate: declarative install-spec compiler. The door: the names plugin authors use most."""

from bedplate.actions import Action, ByHand, Call, Check, Link, Run, Stage, WayBack, Where, WriteFile
from bedplate.faults import Fault, Rejected
from bedplate.hookspecs import Context, Extension, Renderer, Step, hookimpl

__all__ = [
    "Action",
    "ByHand",
    "Call",
    "Check",
    "Context",
    "Extension",
    "Fault",
    "Link",
    "Rejected",
    "Renderer",
    "Run",
    "Stage",
    "Step",
    "WayBack",
    "Where",
    "WriteFile",
    "hookimpl",
]
