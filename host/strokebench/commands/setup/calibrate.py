"""Calibrate the bench against reference readings and store it on the chip."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_bench, add_json, print_json, say, sim_spec

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.calibrate.quantities import Quantity
    from strokebench.calibrate.unfinished import State
    from strokebench.sim.laboratory import Laboratory


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser, plant=False)
    parser.add_argument(
        "--channel", action="append", metavar="NAME", help="only this one (may be repeated; default: all)"
    )
    parser.add_argument("--person", metavar="NAME", help="who calibrates")
    parser.add_argument("--reference", metavar="FILE.toml", help="the reference instruments")
    parser.add_argument(
        "--readings", metavar="FILE", help="readings already taken (TOML or CSV): ask for nothing"
    )
    parser.add_argument(
        "--read", metavar="NAME", help="only print the counts of this channel now, for scripts"
    )
    parser.add_argument("--state", metavar="FILE", help="where a calibration under way is kept")
    parser.add_argument("--fresh", action="store_true", help="forget one under way")
    parser.add_argument("--dry-run", action="store_true", help="show the certificate, store nothing")
    parser.add_argument("--yes", action="store_true", help="store without asking")
    parser.add_argument("--folder", metavar="DIR", help="where certificates are kept")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; the chip is written at the very end, after everything was found plausible."""
    bench, laboratory = _open(args)
    with bench:
        if args.read:
            return _read(args, bench)
        from strokebench.calibrate.dialogue import Quit

        known, channels = _channels(args, bench)
        state = _state(args, bench)
        try:
            _collect(args, bench, laboratory, state, [known[name] for name in channels])
        except Quit:
            print(f"Kept: {len(state.readings)} readings in {state.path}. Run it again to go on.")
            return 0
        return _finish(args, bench, state, known, channels)


def _open(args: argparse.Namespace) -> tuple[Bench, Laboratory | None]:
    from strokebench.bench.bench import Bench, open_bench

    spec = sim_spec(args, "throttle-body")
    if spec is None:
        return open_bench(args.port), None
    from strokebench.sim.laboratory import open_laboratory

    port, laboratory = open_laboratory(spec)
    return Bench(port, "simulated bench", spec.engine), laboratory


def _channels(args: argparse.Namespace, bench: Bench) -> tuple[dict[str, Quantity], list[str]]:
    from strokebench.bench.kinds import few_of
    from strokebench.calibrate.quantities import quantities
    from strokebench.errors import UsageError

    known = quantities(bench.identity.finer, few_of(bench.identity.board))
    for name in args.channel or ():
        if name not in known:
            raise UsageError(f"There is no channel {name!r}.", f"Channels: {', '.join(known)}.")
    return known, list(args.channel or known)


def _read(args: argparse.Namespace, bench: Bench) -> int:
    from strokebench.calibrate.points import read_counts

    args.channel = [args.read]
    known, _ = _channels(args, bench)
    mean, u = read_counts(bench, known[args.read].index)
    shown = {"channel": args.read, "counts": mean, "u_counts": u, "nominal": known[args.read].nominal(mean)}
    if args.json:
        print_json(shown)
    else:
        print(f"{args.read}: {mean:.2f} counts, standard uncertainty {u:.2f}, nominal {shown['nominal']:.5f}")
    return 0


def _state(args: argparse.Namespace, bench: Bench) -> State:
    from strokebench.calibrate.unfinished import DEFAULT_STATE, State, open_state

    uid = bench.identity.uid
    if args.readings:
        return State(uid)
    return open_state(Path(args.state or DEFAULT_STATE), uid, args.fresh)


def _collect(
    args: argparse.Namespace,
    bench: Bench,
    laboratory: Laboratory | None,
    state: State,
    wanted: list[Quantity],
) -> None:
    from strokebench.calibrate.readings import load

    for path in (args.reference, args.readings):
        if path:
            bundle, rows = load(path, {quantity.name: quantity for quantity in wanted})
            state.person = bundle.person or state.person
            state.instruments = bundle.instrument or state.instruments
            state.readings += rows
    state.person = args.person or state.person
    if args.readings:
        return
    if laboratory is not None:
        _automatic(args, bench, laboratory, state, wanted)
    else:
        _by_hand(bench, state, wanted)


def _automatic(
    args: argparse.Namespace, bench: Bench, laboratory: Laboratory, state: State, wanted: list[Quantity]
) -> None:
    from strokebench.calibrate.laboratory_source import LaboratorySource, instruments
    from strokebench.calibrate.points import take

    state.person = state.person or "simulation"
    state.instruments = instruments()
    source = LaboratorySource(bench, laboratory)
    for quantity in wanted:
        for target in quantity.points[len(state.of(quantity.name)) :]:
            reading = take(bench, quantity, target, source)
            state.add(reading)
            if not args.json:
                reference = f"reference {reading.reference:g} {quantity.unit}"
                print(f"{quantity.name}: {reference}, {reading.counts:.1f} counts")


def _by_hand(bench: Bench, state: State, wanted: list[Quantity]) -> None:
    from strokebench.calibrate.dialogue import answer, ask_instruments, guide
    from strokebench.calibrate.instrument import instrument_for

    state.person = state.person or answer(input, "Who calibrates: ")
    missing = [quantity for quantity in wanted if instrument_for(quantity.name, state.instruments) is None]
    by_unit: dict[str, list[str]] = {}
    for quantity in missing:
        by_unit.setdefault(quantity.unit, []).append(quantity.name)
    state.instruments += ask_instruments(list(by_unit), by_unit, input, print)
    state.save()
    guide(bench, state, wanted, input, print)


def _finish(
    args: argparse.Namespace, bench: Bench, state: State, known: dict[str, Quantity], channels: list[str]
) -> int:
    import datetime

    from strokebench.calibrate import finish, page

    where = Path(args.folder) if args.folder else None
    found = finish.corrections(state, known, channels)
    made = finish.make(bench, found, state.person, datetime.date.today(), where)
    if not args.json:
        say(page.text(made))
    if args.dry_run or not _agreed(args):
        return _told(args, made, None)
    path = finish.store(bench, made, where)
    _pages(path, made)
    state.done()
    return _told(args, made, path)


def _agreed(args: argparse.Namespace) -> bool:
    if args.yes or args.readings or args.json or args.sim:
        return True
    try:
        return input("Store this on the chip (yes/no)? ").strip().lower() in ("y", "yes")
    except EOFError:
        return False


def _pages(path: Path, made: dict[str, Any]) -> None:
    from strokebench.calibrate import page
    from strokebench.data.output import write_whole

    write_whole(path.with_suffix(".html"), page.html(made), replace=True)
    write_whole(path.with_suffix(".txt"), page.text(made), replace=True)


def _told(args: argparse.Namespace, made: dict[str, Any], path: Path | None) -> int:
    if args.json:
        print_json({**made, "stored": path is not None, "file": str(path) if path else None})
    elif path is None:
        print("Nothing was stored.")
    else:
        print(
            f"Stored on the chip: calibration {made['number']:08x}. Certificate: {path.with_suffix('.html')}"
        )
    return 0
