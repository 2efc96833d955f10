"""The commands, one module each: ``add(parser)`` declares arguments, ``run(args)`` returns the exit code."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

ROOM_OF = {
    "run": "bench", "connect": "bench", "guided": "bench", "panel": "setup", "serve": "setup",
    "job": "results", "judge": "results", "compare": "results", "learn": "results", "measure": "bench",
    "report": "results", "why": "results", "finding": "results", "book": "results", "export": "results",
    "lake": "results", "golden": "results",
    "parts": "setup", "ports": "bench", "flash": "setup", "info": "bench", "stop": "bench", "clear": "bench",
    "bringup": "setup", "calibrate": "setup", "sim": "setup", "faults": "setup", "jog": "bench",
    "watch": "bench", "lesson": "setup", "exercise": "setup", "completion": "setup",
}  # fmt: skip
"""Command -> the folder its module is in, in the order in which they are listed."""


def module_of(name: str) -> ModuleType:
    """Return the module of a command; the others are not loaded for it."""
    return import_module(f"strokebench.commands.{ROOM_OF[name]}.{name}")
