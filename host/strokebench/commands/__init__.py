"""The commands, one module each: ``add(parser)`` declares arguments, ``run(args)`` returns the exit code."""

from __future__ import annotations

from strokebench.commands.bench import clear, connect, guided, info, jog, measure, ports, run, stop, watch
from strokebench.commands.results import book, compare, export, judge, learn, report
from strokebench.commands.setup import (
    bringup,
    calibrate,
    completion,
    faults,
    flash,
    lesson,
    panel,
    parts,
    sim,
)

COMMANDS = (
    run, connect, guided, panel, judge, compare, learn, measure, report, book, export, parts, ports, flash,
    info, stop, clear, bringup, calibrate, sim, faults, jog, watch, lesson, completion,
)  # fmt: skip
