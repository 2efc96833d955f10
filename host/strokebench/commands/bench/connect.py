"""Draw the wiring of a part, check it, or find the pins of an unknown plug.

First the check sends no more current through the leads than the self-test does. Once you say that all hands
are clear, it moves the part gently, once each way. With `--find` you put two clips on two pins at a time. No
more than 1.1 mA flows through them.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import (
    add_bench,
    add_force,
    add_json,
    ask,
    open_chosen,
    print_json,
    say,
    sim_spec,
    yes,
)
from strokebench.terminal.cautions import acknowledged, add_acknowledge

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.connect.check import Result
    from strokebench.parts.profile import Profile
    from strokebench.sim.clips import Clips


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "part", metavar="PART|FILE.toml", nargs="?", help="the part (left out: the drawings of all are named)"
    )
    parser.add_argument("--drawing", metavar="FILE.svg", help="write the drawing of the wiring there")
    parser.add_argument("--draw-only", action="store_true", help="show or write the drawing, reach no bench")
    parser.add_argument("--find", action="store_true", help="find out which pin of an unknown plug is which")
    parser.add_argument("--pins", type=int, metavar="N", help="pins of that plug (default: as many as drawn)")
    parser.add_argument(
        "--yes",
        action="store_true",
        help="hands are clear, output A is on plus: nobody is asked, it may move",
    )
    add_bench(parser)
    add_acknowledge(parser)
    add_force(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the part is off when this returns."""
    from strokebench.connect.drawing import lines
    from strokebench.parts import load_part

    if args.part is None:
        return _list(args)
    profile = load_part(args.part)
    if args.drawing:
        _write(args, profile)
    if not args.json:
        say("\n".join([f"Wiring of {profile.part.title}:", *(f"  {line}" for line in lines(profile))]))
        for line in profile.part.connect:
            say(line)
    if args.draw_only:
        if args.json:
            print_json({"part": profile.name, "leads": _leads(profile), "drawing": args.drawing})
        return 0
    simulated = sim_spec(args, profile.simulated) is not None
    acknowledged(profile, given=args.acknowledge, simulated=simulated, quiet=args.json)
    with open_chosen(args, profile.simulated) as bench:
        return _find(args, bench, profile) if args.find else _check(args, bench, profile)


def _list(args: argparse.Namespace) -> int:
    from strokebench.connect.drawing import lines
    from strokebench.parts import load_part, part_names

    profiles = [load_part(name) for name in part_names()]
    if args.json:
        print_json({profile.name: _leads(profile) for profile in profiles})
        return 0
    for profile in profiles:
        say("\n".join([f"{profile.name}: {profile.part.title}", *(f"  {line}" for line in lines(profile))]))
    return 0


def _leads(profile: Profile) -> list[dict[str, str]]:
    from strokebench.connect.plug import drawn

    return [asdict(each) for each in drawn(profile)]


def _write(args: argparse.Namespace, profile: Profile) -> None:
    from strokebench.connect.drawing import drawing
    from strokebench.data.output import write_whole

    write_whole(args.drawing, drawing(profile), replace=args.force)
    if not args.json:
        say(f"Drawing: {args.drawing}")


def _asks(args: argparse.Namespace) -> bool:
    return not args.json and not args.yes and sys.stdin.isatty()


def _check(args: argparse.Namespace, bench: Bench, profile: Profile) -> int:
    if _asks(args):
        ask("Connect it as drawn, then press Enter.")
    return _show(args, profile, _checked(args, bench, profile))


def _checked(args: argparse.Namespace, bench: Bench, profile: Profile) -> Result:
    from strokebench.connect import check

    result = check.at_rest(bench, profile)
    wanted = check.question(profile, result)
    if wanted == "move":
        return _by_moving(args, bench, profile, result)
    return _by_word(args, profile, result) if wanted else result


def _by_moving(args: argparse.Namespace, bench: Bench, profile: Profile, rested: Result) -> Result:
    from strokebench.connect import check

    if args.yes or (_asks(args) and yes(f"{check.CLEAR} (yes or no)")):
        return check.by_moving(bench, profile, rested)
    rested.sentences.append("At rest everything reads as drawn. The part was not moved.")
    rested.to_do = "Say yes to the question, or add --yes, to have it moved gently."
    return rested


def _by_word(args: argparse.Namespace, profile: Profile, rested: Result) -> Result:
    from strokebench.connect import check

    if args.yes or _asks(args):
        right = args.yes or yes(f"{check.polarity_question(profile)} (yes or no)")
        return check.by_word(rested, right=right)
    rested.sentences.append("The winding is between outputs A and B. Its polarity does not show.")
    rested.to_do = "Compare the polarity with the drawing; --yes says that it is right."
    return rested


CODES = {True: 0, False: 1, None: 3}


def _show(args: argparse.Namespace, profile: Profile, result: Result) -> int:
    code = CODES[result.as_drawn]
    if args.json:
        print_json({"part": profile.name, **_as_json(result), "exit_code": code})
        return code
    say("\n".join(["", *result.sentences, f"{result.headline}. {result.to_do}".strip()]))
    return code


def _as_json(result: Result) -> dict[str, Any]:
    return {
        "as_drawn": result.as_drawn,
        "sentences": result.sentences,
        "to_do": result.to_do,
        "readings": None if result.seen is None else asdict(result.seen),
    }


def _find(args: argparse.Namespace, bench: Bench, profile: Profile) -> int:
    from strokebench.connect import finder
    from strokebench.connect.plug import pin_count

    clips = _simulated_clips(args, bench, profile)
    count = args.pins or pin_count(profile)
    pins = clips.names if clips is not None else [str(number) for number in range(1, count + 1)]
    if clips is None:
        _need_hands(args)
        say(
            f"Take all leads off the part. It is at rest, unplugged. The red clip is the sensor feed behind"
            f" {finder.PROBE_OHM:.0f} ohm together with sensor input A. The black clip is the sensor ground."
        )

    def ohms(red: str, black: str) -> float:
        if clips is not None:
            clips.put(red, black)
        else:
            where = "the bare metal of the case" if black == finder.CASE else f"pin {black}"
            ask(f"Red clip on pin {red}, black clip on {where}. Then press Enter.")
        found = finder.ohms_now(bench)
        if not args.json:
            say(f"  {red} to {black}: {finder.text(found)}")
        return found

    found = finder.find(profile, pins, ohms)
    if not args.json:
        say("\n".join(["", *finder.summary(profile, found)]))
    if not found.complete:
        if args.json:
            print_json({"part": profile.name, **asdict(found), "complete": False, "exit_code": 1})
        return 1
    if clips is not None:
        clips.connect(finder.placed(profile, found))
    elif not args.yes:
        ask("Take the clips off, connect it so, then press Enter.")
    result = _checked(args, bench, profile)
    if args.json:
        code = CODES[result.as_drawn]
        print_json(
            {"part": profile.name, **asdict(found), "complete": True, **_as_json(result), "exit_code": code}
        )
        return code
    return _show(args, profile, result)


def _need_hands(args: argparse.Namespace) -> None:
    from strokebench.errors import UsageError

    if args.json or not sys.stdin.isatty():
        raise UsageError(
            "The pin finder needs somebody at a terminal, to move the clips.", "Start it in one."
        )


def _simulated_clips(args: argparse.Namespace, bench: Bench, profile: Profile) -> Clips | None:
    from strokebench.connect.plug import drawn
    from strokebench.errors import UsageError

    if sim_spec(args, profile.simulated) is None:
        return None
    from strokebench.sim.clips import Clips
    from strokebench.sim.engine.inprocess import InProcessPort

    port: Any = bench.link.port
    if not isinstance(port, InProcessPort):
        raise UsageError("The simulated pin finder runs in process only.", "Leave --engine and --plant out.")
    return Clips(port.board, [each.pin for each in drawn(profile)])
