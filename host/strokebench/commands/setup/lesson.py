"""Learn how such a bench works: eight lessons on the simulated one."""

from __future__ import annotations

import argparse
import sys

from strokebench.commands.shared.common import PLANT_NOTE, add_force, add_json, add_plant, print_json


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("number", nargs="?", type=int, metavar="N", help="the lesson (default: list them)")
    parser.add_argument("--run", action="store_true", dest="go", help="do the experiment: numbers and a plot")
    parser.add_argument("--answers", action="store_true", help="do the experiment and show the answers too")
    parser.add_argument(
        "-o", "--output", metavar="FILE", help="the plot, .svg, .png or .pdf (default: lesson-N.svg)"
    )
    add_force(parser)
    parser.add_argument(
        "--port", metavar="NAME", help="with --plant: port of the Pico (default: the only one plugged in)"
    )
    add_plant(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokebench.errors import UsageError
    from strokebench.lessons import COUNT, text

    if args.number is not None:
        return _one(args)
    if args.go or args.answers or args.output:
        raise UsageError("Which lesson?", "Give its number: strokebench lesson 1 --run.")
    titles = {number: text.title(number) for number in range(1, COUNT + 1)}
    if args.json:
        print_json([{"number": number, "title": title} for number, title in titles.items()])
        return 0
    for title in titles.values():
        print(title)
    print("\nstrokebench lesson N shows one, --run does its experiment, --answers shows the answers.")
    return 0


def _pico(args: argparse.Namespace) -> str | None:
    """Return the port of the Pico that shall run the firmware, None when this computer does."""
    from strokebench.bench.bench import only_pico
    from strokebench.errors import UsageError

    if not args.plant:
        if args.port:
            raise UsageError("A lesson never drives a real part.", "With --plant the Pico runs the firmware.")
        return None
    if not args.json:
        print(PLANT_NOTE, file=sys.stderr)
    return str(args.port or only_pico())


def _one(args: argparse.Namespace) -> int:
    from pathlib import Path

    from strokebench import lessons
    from strokebench.lessons import text

    number = lessons.check_number(args.number)
    if not (args.go or args.answers or args.output):
        shown = text.without_answers(number)
        print_json({"number": number, "text": shown}) if args.json else print(shown, end="")
        return 0
    outcome = lessons.run(number, _pico(args))
    path = Path(args.output or f"lesson-{number}.svg")
    outcome.save(path, replace=args.force)
    if args.json:
        rows = {
            figure.key: {"value": figure.value, "unit": figure.unit, "words": figure.title}
            for figure in outcome.numbers
        }
        print_json({"number": number, "numbers": rows, "plot": str(path)})
        return 0
    if args.answers:
        print(text.with_answers(number, outcome))
    print(outcome.title)
    print("\n".join(outcome.lines()))
    print(f"plot: {path}")
    return 0
