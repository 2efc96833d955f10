"""Move a part by hand with the keyboard.

Right (or l) opens, left (or h) closes, up and down (or k, j) change the strength, space stops, q or Escape
leaves. A terminal does not report when a key is let go, so each press moves the part for 0.7 s: hold the key
(it repeats) or press again to go on. Left alone the part stops by itself; should this program or the line
hang, the bench stops it within 0.5 s. Works over ssh.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, TextIO

from strokebench.commands.shared.common import (
    add_json,
    add_plant,
    add_sim,
    open_chosen,
    print_json,
    say,
    sim_spec,
)
from strokebench.terminal.cautions import acknowledged, add_acknowledge

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.link.conversion import Status
    from strokebench.parts.profile import Profile
    from strokebench.terminal.jog_keys import Hand

EVERY_S = 0.1
HELP = "right/left move, up/down strength, space stop, q leave"


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("part", metavar="PART|FILE.toml", help="the part, for its limits")
    parser.add_argument("--port", metavar="NAME", help="port or URL of the bench")
    parser.add_argument("--sim", action="store_true", help="use a simulated bench and part")
    parser.add_argument(
        "--strength", type=float, default=0.2, metavar="X", help="drive at first (default: 0.2)"
    )
    add_sim(parser)
    add_plant(parser)
    add_acknowledge(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the part is off when this returns, for whatever reason."""
    from strokebench.parts import load_part
    from strokebench.parts.on_bench import on_bench
    from strokebench.terminal.jog_keys import STEP, Hand
    from strokebench.terminal.keys import keys

    profile = load_part(args.part)
    simulated = sim_spec(args, profile.simulated) is not None
    acknowledged(profile, given=args.acknowledge, simulated=simulated, quiet=args.json)
    screen = sys.stderr if args.json else sys.stdout
    with keys() as pressed, open_chosen(args, profile.simulated) as bench:
        profile = on_bench(profile, bench.identity.board)
        limits = profile.limits
        most = max(limits.drive_max, -limits.drive_min)
        hand = Hand(limits.drive_min, limits.drive_max, min(max(args.strength, STEP), most))
        for line in (*profile.part.every_caution, HELP):
            say(line, screen)
        bench.set_limits(limits)
        bench.arm()
        try:
            last = _live(bench, hand, pressed, screen, profile)
        finally:
            print(file=screen)
    if args.json:
        print_json(asdict(last))
    return 0


def _live(bench: Bench, hand: Hand, pressed: Callable[[], str], screen: TextIO, profile: Profile) -> Status:
    """Read keys, keep the bench told, show what it measures, until told to leave; return the last reading."""
    from strokebench.errors import ProtectionTripped
    from strokebench.link.link import fault_row
    from strokebench.terminal.jog_keys import meanings

    sent, status = 0.0, bench.status()
    while not hand.left:
        began_s = time.monotonic()
        for meaning in meanings(pressed()):
            hand.press(meaning, began_s)
        drive = hand.drive(began_s)
        if drive or sent:
            if drive:
                bench.jog(drive)
            else:
                bench.stop()
        else:
            bench.link.tell("heartbeat")
        sent = drive
        status = bench.status()
        _show(status, hand, screen, _position(bench, profile))
        if status.fault and status.state == "latched":
            _key, sentence, check = fault_row(status.fault)
            raise ProtectionTripped(f"The bench stopped the part: {sentence} (code {status.fault})", check)
        bench.link.poll(EVERY_S)  # on a simulated bench this is what lets time pass
        time.sleep(max(0.0, EVERY_S - (time.monotonic() - began_s)))
    return status


def _position(bench: Bench, profile: Profile) -> str:
    """Return place and both sensors' volts, nothing for a part without a sensor."""
    from strokebench.terminal.display import position_percent

    if not profile.tracks:
        return ""
    a_v, b_v = bench.sensors_v()
    return f" {position_percent(profile, a_v):4.0f} % a {a_v:4.2f} b {b_v:4.2f}"


def _show(status: Status, hand: Hand, screen: TextIO, position: str) -> None:
    """Write the live line over the last one, never wider than the terminal."""
    from strokebench.terminal.jog_keys import bar
    from strokebench.terminal.lines import columns

    width = columns() - 1
    pieces = (
        f"[{bar(status.drive, 9)}] {status.drive:+.2f} {status.current_a:+7.2f} A {status.supply_v:5.2f} V",
        position.rstrip(),
        f" strength {hand.strength:.2f}",
        f"  {status.state.lower()}",
    )
    text = ""
    for piece in pieces:  # whole pieces only: half a number is a wrong one
        text += piece if len(text) + len(piece) <= width else ""
    screen.write("\r" + text.ljust(min(width, 78)))
    screen.flush()
