"""Arguments and small helpers that several commands share."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.bench.spec import SimSpec

DEFAULT_BOOK = "strokebench.book"
PLANT_NOTE = "SIMULATED: the part is in this computer; the Pico's outputs stay off until it is reset."


def default_book() -> str:
    """Return the job book used without ``--book``: $STROKEBENCH_BOOK, else one in the current folder."""
    return os.environ.get("STROKEBENCH_BOOK") or DEFAULT_BOOK


def add_actions(
    parser: argparse.ArgumentParser, texts: Mapping[str, str]
) -> dict[str, argparse.ArgumentParser]:
    """Declare a command's actions, of which one has to be named; return the parser of each.

    ``texts``: action -> a sentence without its full stop, which its help and the list of actions show.
    """
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    return {
        name: actions.add_parser(name, help=text[:1].lower() + text[1:], description=text + ".")
        for name, text in texts.items()
    }


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument("--json", action="store_true", help="print the result as JSON and nothing else")


def add_book(parser: argparse.ArgumentParser) -> None:
    """Add ``--book``."""
    text = f"job book file (default: $STROKEBENCH_BOOK, else {DEFAULT_BOOK} in the current folder)"
    parser.add_argument("--book", metavar="FILE", default=default_book(), help=text)


def add_force(parser: argparse.ArgumentParser) -> None:
    """Add ``--force``."""
    parser.add_argument("--force", action="store_true", help="replace files that are there already")


def add_without_names(parser: argparse.ArgumentParser) -> None:
    """Add ``--without-names``."""
    parser.add_argument(
        "--without-names",
        action="store_true",
        help="pseudonyms in place of customer and serial number, no notes",
    )


def add_bench(parser: argparse.ArgumentParser, *, sim: bool = True, plant: bool = True) -> None:
    """Add what chooses a bench: ``--port`` or the simulation's options, ``--plant`` for both at once."""
    parser.add_argument(
        "--port", metavar="NAME", help="port or URL of the bench (default: the only Pico plugged in)"
    )
    if sim:
        parser.add_argument("--sim", action="store_true", help="use a simulated bench and part")
        add_sim(parser)
        if plant:
            add_plant(parser)


def add_plant(parser: argparse.ArgumentParser) -> None:
    """Add ``--plant``."""
    parser.add_argument(
        "--plant",
        action="store_true",
        help="the Pico at --port runs the firmware, its readings come from the simulated part; its own"
        " outputs stay off until it is reset",
    )


def add_sim(parser: argparse.ArgumentParser) -> None:
    """Add the simulation's own options."""
    from strokebench.bench.spec import BENCHES, FAMILIES

    group = parser.add_argument_group("simulation")
    group.add_argument(
        "--engine",
        choices=("inprocess", "micropython", "chip"),
        help="where the firmware runs (default: inprocess)",
    )
    group.add_argument(
        "--chip",
        metavar="IMAGE",
        help="run the firmware on an emulated Pico with this MicroPython image (.uf2): slow, but whole",
    )
    group.add_argument(
        "--seed", type=int, metavar="N", help="another good specimen and other noise (default: 1)"
    )
    group.add_argument(
        "--inject",
        metavar="FAULT",
        action="append",
        default=[],
        help="a defect of the part, NAME[=SIZE|:moderate|:severe][@PLACE]; may be repeated",
    )
    group.add_argument(
        "--trouble",
        metavar="NAME",
        action="append",
        default=[],
        help="something wrong with the bench itself, NAME[=VALUE][@TIME[+DURATION]]; may be repeated",
    )
    group.add_argument(
        "--as-built", action="store_true", help="a bench never calibrated, off by its parts' tolerances"
    )
    group.add_argument(
        "--family", choices=FAMILIES, help="which physics the simulated part has (default: first)"
    )
    group.add_argument(
        "--bench",
        choices=BENCHES,
        help="which bench: 40 A, the small one of 5 A, the beginner's of 3 A (default: reference)",
    )
    group.add_argument(
        "--memory", metavar="DIR", help="folder in place of the chip's flash: calibrations outlive the power"
    )
    group.add_argument(
        "--supply", type=float, metavar="V", help="open-circuit volts of the battery (default: 12.6)"
    )


def sim_spec(args: argparse.Namespace, part: str) -> SimSpec | None:
    """Return the simulation asked for, None when a real bench is; UsageError when the options contradict."""
    from strokebench.bench.spec import SimSpec
    from strokebench.errors import UsageError

    options = {
        "engine": _engine(args),
        "seed": args.seed,
        "faults": tuple(args.inject),
        "supply_v": args.supply,
        "bench_faults": tuple(args.trouble),
        "as_built": args.as_built,
        "family": args.family,
        "memory": args.memory,
        "bench": args.bench,
    }
    given: dict[str, Any] = {
        name: value
        for name, value in options.items()
        if value is not None and value != () and value is not False
    }
    if getattr(args, "plant", False):
        return SimSpec(part=part, **given, **_pico_with_plant(args, given))
    if args.port is not None and (args.sim or given):
        raise UsageError("--port and the simulation's options exclude each other.", "Leave one of them out.")
    if not args.sim and not given:
        return None
    return SimSpec(part=part, **given)


def _pico_with_plant(args: argparse.Namespace, given: dict[str, Any]) -> dict[str, Any]:
    from strokebench.bench.bench import only_pico
    from strokebench.errors import UsageError

    if "engine" in given:
        raise UsageError("With --plant the firmware runs on the Pico.", "Leave --engine and --chip out.")
    return {"engine": "plant", "port": args.port or only_pico()}


def _engine(args: argparse.Namespace) -> str | None:
    """Return the engine asked for; ``--chip`` also names the image."""
    from strokebench.errors import UsageError

    if args.chip is None:
        return str(args.engine) if args.engine else None
    if args.engine not in (None, "chip"):
        raise UsageError("--chip is an engine of its own.", "Leave --engine out.")
    from strokebench.sim.engine.chip import IMAGE_VARIABLE

    os.environ[IMAGE_VARIABLE] = args.chip
    return "chip"


def open_chosen(args: argparse.Namespace, part: str) -> Bench:
    """Open the bench that the arguments choose."""
    from strokebench.bench.bench import open_bench

    spec = sim_spec(args, part)
    bench = open_bench(args.port, sim=spec)
    if spec is not None and spec.engine == "plant" and not getattr(args, "json", False):
        print(PLANT_NOTE, file=sys.stderr)
    return bench


def say(text: str, stream: TextIO | None = None) -> None:
    """Print ``text``; each of its lines goes on below itself, two columns in, where the terminal ends."""
    from strokebench.terminal.lines import wrapped

    print(wrapped(text), file=stream)


def ask(question: str) -> str:
    """Return the line typed after ``question``, which may be longer than the terminal is wide."""
    say(question)
    try:
        return input("> ")
    except EOFError:
        return ""


def yes(question: str) -> bool:
    """Tell whether ``question`` was answered with yes."""
    return ask(question).strip().lower() in ("y", "yes")


def print_json(result: Any) -> None:
    """Print ``result`` as JSON; NaN becomes null."""
    import json

    from strokebench.terminal.plain import escaped

    try:
        text = json.dumps(result, ensure_ascii=False, default=str, allow_nan=False)
    except ValueError:
        text = json.dumps(_finite(result), ensure_ascii=False, default=str)
    print(escaped(text))


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if value == value and abs(value) != float("inf") else None
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    return value
