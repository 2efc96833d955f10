"""Offer the bench as an instrument on the network: SCPI over a raw TCP socket."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from strokebench.commands.shared.common import add_book, add_json
from strokebench.commands.shared.serving import add_choice, add_listen, check_choice, say_facts, say_line
from strokebench.terminal.cautions import acknowledged, add_acknowledge

if TYPE_CHECKING:
    from strokebench.panel.choice import Choice

PATIENCE = (1.0, 60.0)


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_choice(parser)
    add_listen(parser, "--scpi-port", 5025)
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

    check_choice(args)
    if not PATIENCE[0] <= args.patience <= PATIENCE[1]:
        raise UsageError(
            f"--patience {args.patience:g} is not within 1 to 60 seconds.", "Choose one that is."
        )
    say = say_facts if args.json else say_line

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
        return Choice(
            part, faults=tuple(args.inject), seed=args.seed, bench=args.bench, troubles=tuple(args.trouble)
        )
    how = acknowledged(profile, given=args.acknowledge, simulated=False, quiet=args.json)
    return Choice(part, simulated=False, port=args.port or "", acknowledged=bool(how))
