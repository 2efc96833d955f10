"""The commands, one module each: ``add(parser)`` declares arguments, ``run(args)`` returns the exit code."""

from __future__ import annotations

from strokebench.commands import (
    book,
    bringup,
    calibrate,
    compare,
    export,
    faults,
    info,
    judge,
    learn,
    panel,
    parts,
    ports,
    report,
    run,
    sim,
    stop,
)  # fmt: skip

COMMANDS = (
    run, panel, judge, compare, learn, report, book, export, parts, ports, info, stop, bringup,
    calibrate, sim, faults,
)  # fmt: skip
