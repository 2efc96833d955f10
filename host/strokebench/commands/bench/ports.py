"""List serial ports, and which of them are benches."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_json, print_json

if TYPE_CHECKING:
    from strokebench.link.serial import FoundPort


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--no-handshake", action="store_true", help="do not open the ports, only list them")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; only ports with a Pico's USB id are opened, others belong to other devices."""
    from strokebench.link.serial import find_ports

    found = [_row(port, args.no_handshake) for port in find_ports()]
    if args.json:
        print_json(found)
        return 0
    if not found:
        print("No serial port. Plug the bench into USB, or try --sim without hardware.")
    for row in found:
        print(f"{row['port']:<20} {row['is']}")
    return 0


def _row(port: FoundPort, no_handshake: bool) -> dict[str, Any]:
    row = {
        "port": port.name,
        "description": port.description,
        "usb_serial": port.serial_number,
        "pico": port.pico,
    }
    if not port.pico:
        return {**row, "bench": False, "is": port.description or "not a Pico"}
    if no_handshake:
        return {**row, "bench": None, "is": "Pico, not asked"}
    return {**row, **_handshake(port.name)}


def _handshake(name: str) -> dict[str, Any]:
    from strokebench.bench.bench import open_bench
    from strokebench.errors import LinkError

    try:
        with open_bench(name) as bench:
            mine = bench.identity
            return {"bench": True, "is": f"{mine.board}, firmware {mine.firmware}, id {mine.uid}"}
    except LinkError as error:
        return {"bench": False, "is": f"Pico; {error}"}
