"""Open the live panel in a browser: move, measure, run, stop."""

from __future__ import annotations

import argparse
import sys

from strokebench.commands.shared.common import add_book, add_json, print_json

MISSING = "The panel needs the optional extra `panel`."
NEEDED = ("nicegui", "fastapi", "uvicorn", "starlette", "segno")
HOW = "Install it: pip install 'strokebench[panel]'."


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--port", metavar="NAME", help="port or URL of the bench; --part says what is on it")
    way.add_argument(
        "--sim", metavar="PART", nargs="?", const="throttle-body", help="a simulated bench with this part"
    )
    parser.add_argument(
        "--part", metavar="PART|FILE.toml", default="throttle-body", help="part on a real bench"
    )
    parser.add_argument(
        "--inject",
        metavar="FAULT",
        action="append",
        default=[],
        help="a defect of the simulated part; see `run`",
    )
    parser.add_argument(
        "--trouble",
        metavar="NAME",
        action="append",
        default=[],
        help="something wrong with the simulated bench or its wires; see `run`",
    )
    parser.add_argument("--seed", type=int, metavar="N", default=1, help="another good specimen (default: 1)")
    parser.add_argument(
        "--bench", choices=("reference", "small"), default="reference",
        help="which bench is simulated: 40 A or the small one of 5 A (default: reference)",
    )  # fmt: skip
    parser.add_argument(
        "--listen", metavar="ADDR", default="127.0.0.1",
        help="address to serve on (default: this machine only); any other asks for a printed one-time token",
    )  # fmt: skip
    parser.add_argument(
        "--http-port", type=int, metavar="N", default=8765, help="default: 8765; 0: any free one"
    )
    parser.add_argument(
        "--tls", nargs=2, metavar=("CERT", "KEY"),
        help="encrypt the connection with this certificate and key (PEM), for a network that is not trusted",
    )  # fmt: skip
    add_book(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it until Ctrl-C."""
    from pathlib import Path

    from strokebench.errors import UsageError

    if (args.inject or args.trouble) and not args.sim:
        raise UsageError("--inject and --trouble need a simulated part.", "Add --sim PART.")
    try:
        from strokebench.panel.server import Options, Say, serve
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in (
            "nicegui",
            "fastapi",
            "uvicorn",
            "starlette",
            "segno",
        ):
            raise
        raise UsageError(MISSING, HOW) from None
    from strokebench.panel.choice import Choice

    choice = None
    if args.sim:
        choice = Choice(
            args.sim, faults=tuple(args.inject), seed=args.seed, bench=args.bench,
            troubles=tuple(args.trouble),
        )  # fmt: skip
    elif args.port is not None:
        choice = Choice(args.part, simulated=False, port=args.port)
    say: Say = _say_json if args.json else _say
    tls = (Path(args.tls[0]), Path(args.tls[1])) if args.tls else None
    serve(Options(args.listen, args.http_port, Path(args.book), choice, tls), say)
    return 0


def _say(line: str, /, **_facts: str) -> None:
    print(line, flush=True)


def _say_json(_line: str, /, **facts: str) -> None:
    print_json(facts)
    sys.stdout.flush()
