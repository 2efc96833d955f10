"""Offer the bench as an instrument on the network: SCPI over a raw TCP socket."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from strokebench.commands.shared.common import add_book, add_json, print_json
from strokebench.terminal.cautions import acknowledged, add_acknowledge

if TYPE_CHECKING:
    from strokebench.panel.choice import Choice

PATIENCE = (1.0, 60.0)


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--port", metavar="NAME", help="port or URL of the bench; --part says what is on it")
    way.add_argument(
        "--sim",
        metavar="PART|FILE.toml",
        nargs="?",
        const="throttle-body",
        help="a simulated bench with this part",
    )
    parser.add_argument(
        "--part", metavar="PART|FILE.toml", default="throttle-body", help="part on a real bench"
    )
    parser.add_argument(
        "--inject", metavar="FAULT", action="append", default=[], help="a defect of the simulated part"
    )
    parser.add_argument("--seed", type=int, metavar="N", default=1, help="another good specimen (default: 1)")
    parser.add_argument(
        "--listen", metavar="ADDR", default="127.0.0.1",
        help="address to serve on (default: this machine only); any other asks for a printed one-time token",
    )  # fmt: skip
    parser.add_argument(
        "--scpi-port", type=int, metavar="N", default=5025, help="default: 5025; 0: any free one"
    )
    parser.add_argument(
        "--patience", type=float, metavar="S", default=5.0,
        help="a client that drives by hand and says nothing for so long loses the part (1 to 60, default: 5)",
    )  # fmt: skip
    add_acknowledge(parser)
    add_book(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it until Ctrl-C."""
    import asyncio
    from pathlib import Path

    from strokebench.errors import UsageError
    from strokebench.panel.addresses import (
        is_loopback,
        is_wildcard,
        listening_socket,
        reachable_address,
    )
    from strokebench.panel.security import Doors, spaced
    from strokebench.scpi.attendance import Attendance
    from strokebench.scpi.instrument import Instrument
    from strokebench.scpi.server import Server

    if args.inject and not args.sim:
        raise UsageError("--inject needs a simulated part.", "Add --sim PART.")
    if not PATIENCE[0] <= args.patience <= PATIENCE[1]:
        raise UsageError(
            f"--patience {args.patience:g} is not within 1 to 60 seconds.", "Choose one that is."
        )
    say = _say_json if args.json else _say

    def announce(token: str) -> None:
        say(f"One-time token for the next client: {spaced(token)}", token=spaced(token))

    choice = _choice(args)
    bound = listening_socket(args.listen, args.scpi_port, "--scpi-port")
    number = bound.getsockname()[1]
    instrument = Instrument(Path(args.book), choice, Attendance(args.patience))
    server = Server(instrument, None if is_loopback(args.listen) else Doors(announce))
    address = reachable_address(args.listen) if is_wildcard(args.listen) else args.listen

    def ready() -> None:
        now = instrument.now
        what = now.bench if now.phase == "idle" else f"no bench yet: {now.message.text}"
        resource = f"TCPIP::{address}::{number}::SOCKET"
        say(
            f"SCPI: {resource}   ({what}; Ctrl-C ends it and leaves the part off)",
            resource=resource,
            bench=what,
        )

    instrument.driver.start()
    try:
        asyncio.run(server.serve(bound, ready))
    finally:
        instrument.driver.close()
        bound.close()
    return 0


def _choice(args: argparse.Namespace) -> Choice:
    """Return bench and part; cautions of a real one are acknowledged here, where somebody can read them."""
    from strokebench.panel.choice import Choice
    from strokebench.parts import load_part

    part = args.sim or args.part
    profile = load_part(part)
    if args.sim:
        return Choice(part, faults=tuple(args.inject), seed=args.seed)
    how = acknowledged(profile, given=args.acknowledge, simulated=False, quiet=args.json)
    return Choice(part, simulated=False, port=args.port or "", acknowledged=bool(how))


def _say(line: str, /, **_facts: str) -> None:
    print(line, flush=True)


def _say_json(_line: str, /, **facts: str) -> None:
    print_json(facts)
    sys.stdout.flush()
