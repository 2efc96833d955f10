"""What the commands share that offer a bench to others: which bench, where to listen, and what they say."""

from __future__ import annotations

import argparse
import sys

from strokebench.commands.shared.common import print_json
from strokebench.errors import UsageError


def add_choice(parser: argparse.ArgumentParser) -> None:
    """Add what chooses bench and part: ``--port`` or ``--sim``, ``--part``, and the simulation's options."""
    from strokebench.bench.spec import BENCHES

    way = parser.add_mutually_exclusive_group()
    way.add_argument("--port", metavar="NAME", help="port or URL of the bench; --part says what is on it")
    text = "a simulated bench with this part"
    way.add_argument("--sim", metavar="PART|FILE.toml", nargs="?", const="throttle-body", help=text)
    text = "part on a real bench"
    parser.add_argument("--part", metavar="PART|FILE.toml", default="throttle-body", help=text)
    text = "a defect of the simulated part; see `run`"
    parser.add_argument("--inject", metavar="FAULT", action="append", default=[], help=text)
    text = "something wrong with the simulated bench or its wires; see `run`"
    parser.add_argument("--trouble", metavar="NAME", action="append", default=[], help=text)
    parser.add_argument("--seed", type=int, metavar="N", default=1, help="another good specimen (default: 1)")
    text = "which bench is simulated: 40 A, the small one of 5 A, the beginner's of 3 A (default: reference)"
    parser.add_argument("--bench", choices=BENCHES, default="reference", help=text)


def check_choice(args: argparse.Namespace) -> None:
    """Refuse a defect or a kind of bench that no simulation is there for."""
    if (args.inject or args.trouble) and not args.sim:
        raise UsageError("--inject and --trouble need a simulated part.", "Add --sim PART.")
    if args.bench != "reference" and not args.sim:
        raise UsageError("--bench chooses a simulated bench; a real one says what it is.", "Leave it out.")


def add_listen(parser: argparse.ArgumentParser, option: str, number: int) -> None:
    """Add ``--listen`` and the ``option`` for the port's number."""
    text = "address to serve on (default: this machine only); any other asks for a printed one-time token"
    parser.add_argument("--listen", metavar="ADDR", default="127.0.0.1", help=text)
    text = f"default: {number}; 0: any free one"
    parser.add_argument(option, type=int, metavar="N", default=number, help=text)


def say_line(line: str, /, **_facts: str) -> None:
    """Say ``line`` to a person, at once."""
    print(line, flush=True)


def say_facts(_line: str, /, **facts: str) -> None:
    """Say the same as JSON, at once."""
    print_json(facts)
    sys.stdout.flush()
