"""The commands, one module each: ``add(parser)`` declares arguments, ``run(args)`` returns the exit code."""

from __future__ import annotations

from strokebench.commands import (
    book,
    bringup,
    calibrate,
    clear,
    compare,
    completion,
    export,
    faults,
    flash,
    guided,
    info,
    jog,
    judge,
    learn,
    lesson,
    measure,
    panel,
    parts,
    ports,
    report,
    run,
    sim,
    stop,
    watch,
)  # fmt: skip

COMMANDS = (
    run, guided, panel, judge, compare, learn, measure, report, book, export, parts, ports, flash, info, stop,
    clear, bringup, calibrate, sim, faults, jog, watch, lesson, completion,
)  # fmt: skip
