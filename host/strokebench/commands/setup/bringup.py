"""Bring a new bench up step by step, with a current-limited supply."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.commands.shared.common import add_bench, add_json, print_json, say, sim_spec

if TYPE_CHECKING:
    from strokebench.bringup.measures import Test
    from strokebench.bringup.record import Record
    from strokebench.bringup.steps import Step


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser, plant=False)
    parser.add_argument(
        "--record", metavar="FILE", help="where the results are kept (default: by the bench's id)"
    )
    parser.add_argument("--fresh", action="store_true", help="forget the results so far")
    parser.add_argument("--again", action="store_true", help="repeat what was well too")
    parser.add_argument("--only", metavar="STEP", action="append", help="only this step (may be repeated)")
    parser.add_argument("--list", action="store_true", help="show the steps and what to expect, do nothing")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; 0 all well, 1 a step differs, 3 steps were left out or are still to do."""
    from strokebench.bringup.steps import board_key, load_steps
    from strokebench.errors import UsageError

    steps = load_steps()
    if wrong := set(args.only or ()) - {step.id for step in steps}:
        raise UsageError(
            f"There is no step {sorted(wrong)[0]!r}.", "`strokebench bringup --list` shows them."
        )
    if args.list:
        return _list(args, steps)
    test = _open(args)
    board = board_key(test.bench.identity.board, test.bench.engine)
    wanted = [step.id for step in steps if step.expected(board) and (not args.only or step.id in args.only)]
    with test.bench as bench:
        from strokebench.bringup.record import default_path, open_record

        uid = bench.identity.uid
        path = Path(args.record) if args.record else default_path(uid)
        record = open_record(path, uid, bench.identity.board, args.fresh)
        well = _go(args, test, record, wanted)
    return _told(args, record, wanted, well, path)


def _list(args: argparse.Namespace, steps: tuple[Step, ...]) -> int:
    if args.json:
        print_json([step.model_dump(mode="json") for step in steps])
        return 0
    for step in steps:
        texts = ", ".join(f"{board} {expected.text}" for board, expected in step.expect.items())
        say(f"{step.id:<22} {step.title}: {texts} {step.unit}".rstrip())
    return 0


def _open(args: argparse.Namespace) -> Test:
    from strokebench.bench.bench import Bench, open_bench
    from strokebench.bringup.hands import LaboratoryHands, PersonHands
    from strokebench.bringup.measures import Test

    spec = sim_spec(args, "throttle-body")
    if spec is None:
        return Test(open_bench(args.port), PersonHands(input))
    from dataclasses import replace

    from strokebench.sim.laboratory import open_laboratory

    port, laboratory = open_laboratory(replace(spec, as_built=True))
    bench = Bench(port, "simulated bench", spec.engine)
    return Test(bench, LaboratoryHands(laboratory, bench))


def _go(args: argparse.Namespace, test: Test, record: Record, wanted: list[str]) -> bool:
    from strokebench.bringup.go import go
    from strokebench.bringup.hands import Quit
    from strokebench.bringup.steps import board_key, load_steps

    board = board_key(test.bench.identity.board, test.bench.engine)
    steps = [step for step in load_steps() if step.id in wanted]
    try:
        return go(test, record, steps, board, (lambda text: None) if args.json else print, args.again)
    except Quit:
        return True


def _told(args: argparse.Namespace, record: Record, wanted: list[str], well: bool, path: Path) -> int:
    done = [record.steps[name].status for name in wanted if name in record.steps]
    missing = len(wanted) - done.count("ok") - done.count("differs")
    code = 1 if not well or "differs" in done else 3 if missing else 0
    if args.json:
        steps = {name: asdict(outcome) for name, outcome in record.steps.items()}
        print_json({"uid": record.uid, "board": record.board, "steps": steps, "exit_code": code})
        return code
    print(f"\n{done.count('ok')} well, {done.count('differs')} differ, {missing} left out or still to do.")
    print(f"Record: {path}. Run it again to go on.")
    return code
