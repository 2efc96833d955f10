"""The commands, one module each: ``add(parser)`` declares arguments, ``run(args)`` returns the exit code."""

from __future__ import annotations

from strokebench.commands.bench import clear, connect, guided, info, jog, measure, ports, run, stop, watch
from strokebench.commands.results import book, compare, export, golden, job, judge, lake, learn, report, why
from strokebench.commands.setup import (
    bringup,
    calibrate,
    completion,
    faults,
    flash,
    lesson,
    panel,
    parts,
    serve,
    sim,
)

COMMANDS = (
    run, connect, guided, panel, serve, job, judge, compare, learn, measure, report, why, book, export, lake,
    golden, parts, ports, flash, info, stop, clear, bringup, calibrate, sim, faults, jog, watch, lesson,
    completion,
)  # fmt: skip
