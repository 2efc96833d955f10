"""Show what the bench reads, live; nothing is driven."""

from __future__ import annotations

import argparse
import math
import sys
import time
from dataclasses import asdict
from typing import TYPE_CHECKING

from strokebench.commands.shared.common import add_bench, add_json, open_chosen, print_json

if TYPE_CHECKING:
    from strokebench.link.conversion import Status


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser)
    parser.add_argument(
        "--part", metavar="PART", help="the part, for its position (simulated: throttle-body by default)"
    )
    parser.add_argument("--every", type=float, default=0.5, metavar="S", help="seconds between readings")
    parser.add_argument("--count", type=int, default=0, metavar="N", help="stop after N (default: at Ctrl-C)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; a line each time, overwritten on a terminal, one JSON object a line with ``--json``."""
    over = sys.stdout.isatty() and not args.json
    try:
        _watch(args, over)
    except KeyboardInterrupt:
        if not args.json:
            print(f"{chr(10) * over}Ended; nothing was driven, nothing recorded.")
        return 130
    if over:
        print()
    return 0


def _watch(args: argparse.Namespace, over: bool) -> None:
    from strokebench.parts import load_part
    from strokebench.terminal.display import position_percent

    profile = load_part(args.part or "throttle-body")
    shown = 0
    with open_chosen(args, profile.simulated) as bench:
        known = args.part is not None or bench.engine != "serial"  # else nobody said what is on the bench
        while True:
            status, sensors_v = bench.status(), bench.sensors_v()
            percent = position_percent(profile, sensors_v[0]) if known else math.nan
            if args.json:
                more = {"sensor_a_v": sensors_v[0], "sensor_b_v": sensors_v[1], "position_percent": percent}
                print_json({**asdict(status), **more})
            else:
                line = text(status, sensors_v, percent)
                print(f"\r{line:<79}" if over else line, end="" if over else "\n")
            sys.stdout.flush()
            shown += 1
            if shown == args.count:
                return
            began_s, every_s = time.monotonic(), min(max(args.every, 0.02), 60.0)
            bench.link.poll(every_s)  # on a simulated bench this is what lets time pass
            time.sleep(max(0.0, every_s - (time.monotonic() - began_s)))


def text(status: Status, sensors_v: tuple[float, float], percent: float) -> str:
    """Return the readings in one line of less than 80 characters."""
    part = "" if status.part_c != status.part_c else f"/{status.part_c:.0f}"
    fault = f" fault {status.fault}" if status.fault else ""
    place = "" if percent != percent else f"{percent:4.0f} % "
    supply_v = status.supply_v if math.isnan(status.terminals_v) else status.terminals_v
    second, feed = _if_known(" b {:4.2f}", sensors_v[1]), _if_known(" feed {:4.2f} V", status.sensor_feed_v)
    heat = _if_known(" {:.0f}" + part + " C", status.heatsink_c)
    return (
        f"{status.state.lower():<8} {status.current_a:+7.3f} A {supply_v:5.2f} V"
        f" {place}a {sensors_v[0]:4.2f}{second}{feed or ' V'}{heat}{fault}"
    )


def _if_known(form: str, value: float) -> str:
    """The value in this form; nothing of what the bench does not measure, or cannot read."""
    return "" if math.isnan(value) else form.format(value)
