"""Open the live panel in a browser: move, measure, run, stop."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_book, add_json
from strokebench.commands.shared.serving import add_choice, add_listen, check_choice, say_facts, say_line

MISSING = "The panel needs the optional extra `panel`."
NEEDED = ("nicegui", "fastapi", "uvicorn", "starlette", "segno")
HOW = "Install it: pip install 'strokebench[panel]'."


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_choice(parser)
    add_listen(parser, "--http-port", 8765)
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

    check_choice(args)
    try:
        from strokebench.panel.server import Options, Say, serve
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in NEEDED:
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
    say: Say = say_facts if args.json else say_line
    tls = (Path(args.tls[0]), Path(args.tls[1])) if args.tls else None
    serve(Options(args.listen, args.http_port, Path(args.book), choice, tls), say)
    return 0
