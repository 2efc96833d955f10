"""Put the firmware on a Pico, or bring it up to date."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_json, print_json, say


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--port", metavar="NAME", help="port of the Pico (default: the only one plugged in)")
    parser.add_argument(
        "--sources",
        action="store_true",
        help="copy .py files instead: slower and larger, but needs no compiler",
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it and tell what was done."""
    from dataclasses import asdict

    from strokebench.bench.bench import only_pico
    from strokebench.image.flash import flash

    port = args.port or only_pico()
    done = flash(port, sources=args.sources, say=_nothing if args.json else say)
    if args.json:
        print_json({"port": port, **asdict(done)})
    elif not done.written and not done.removed:
        say("The firmware was up to date.")
    else:
        say(f"Done; the Pico starts anew. Look at it: strokebench info --port {port}")
    return 0


def _nothing(_text: str) -> None:
    pass
