"""Run a simulated bench that other programs reach like a real one."""

from __future__ import annotations

import argparse

from strokebench.commands.common import add_sim


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("part", nargs="?", default="throttle-body", metavar="PART", help="part to simulate")
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--pty", action="store_true", help="as a serial device whose name is printed (default)")
    way.add_argument(
        "--tcp", type=int, metavar="PORT", help="on this TCP port; reach it with --port socket://..."
    )
    add_sim(parser)
    parser.set_defaults(port=None, sim=True)


def run(args: argparse.Namespace) -> int:
    """Do it until interrupted."""
    from strokebench.commands.common import sim_spec
    from strokebench.sim.serve import serve

    spec = sim_spec(args, args.part)
    assert spec is not None  # sim=True above
    return serve(spec, tcp_port=args.tcp)
