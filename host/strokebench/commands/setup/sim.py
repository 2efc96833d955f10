"""Run a simulated bench that other programs reach like a real one."""

from __future__ import annotations

import argparse
import sys

from strokebench.commands.shared.common import add_json, add_sim, print_json
from strokebench.link.serial import SLOWDOWN_VARIABLE

SLOW_NOTE = (
    "Booting the emulated chip, which is some 30 times slower than a real one. "
    f"Set {SLOWDOWN_VARIABLE}=60 for the programs that talk to it, so that they wait accordingly."
)


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("part", nargs="?", default="throttle-body", metavar="PART", help="part to simulate")
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--pty", action="store_true", help="as a serial device whose name is printed (default)")
    way.add_argument(
        "--tcp", type=int, metavar="PORT", help="on this TCP port; reach it with --port socket://..."
    )
    add_sim(parser)
    add_json(parser)
    parser.set_defaults(port=None, sim=True)


def run(args: argparse.Namespace) -> int:
    """Do it until interrupted; standard output carries nothing but the name to reach it by."""
    from strokebench.commands.shared.common import sim_spec
    from strokebench.sim.engine.serve import serve_pty, serve_tcp

    spec = sim_spec(args, args.part)
    assert spec is not None  # sim=True above
    if spec.engine == "chip":
        print(SLOW_NOTE, file=sys.stderr)
    announce = _announce_json if args.json else _announce
    if args.tcp is None:
        serve_pty(spec, announce)
    else:
        serve_tcp(spec, args.tcp, announce)
    return 0


def _announce(name: str) -> None:
    print(name, flush=True)
    print(f"Simulated bench; try: strokebench info --port {name}   (Ctrl-C ends it)", file=sys.stderr)


def _announce_json(name: str) -> None:
    print_json({"port": name})
    sys.stdout.flush()
