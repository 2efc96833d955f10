"""The commands, one module each: ``add(parser)`` declares arguments, ``run(args)`` returns the exit code."""

from __future__ import annotations

from strokebench.commands import export, faults, info, judge, parts, ports, report, run, sim, stop

COMMANDS = (run, judge, report, export, parts, ports, info, stop, sim, faults)
