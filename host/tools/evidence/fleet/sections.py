"""The sections of the fleet's page, each measured when it is asked for."""

from __future__ import annotations

import contextlib
import io
import shutil
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.lake.benches import apart, drifting
from strokebench.lake.limits import fleet_limits
from strokebench.lake.place import open_place
from strokebench.lake.readings import Column, Good
from strokebench.lake.spreads import Spreads, by_model, by_moments, tallies
from strokebench.parts import load_part

from tools.evidence.fleet import speed as large
from tools.evidence.fleet.made import Fleet, Kind, columns_of, kinds_of
from tools.evidence.fleet.tried import false_alarms, waits

PART = "solenoid"
SEED = 81_001
FINDINGS = 15_000_000
MORE = " or more"
MODELLED = ("winding_resistance", "stall_current", "drop_out_ratio")
"""Findings that the mixed model is fitted to here: the others take as long."""


def table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """Return a table of the page."""
    lines = [heads, tuple("---" for _ in heads), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


def stroke(seed: int, book: Path) -> None:
    """Run a simulated part into a book, and print nothing."""
    with contextlib.redirect_stdout(io.StringIO()):
        main(["run", PART, "--sim", "--seed", str(seed), "--no-report", "--json", "--book", str(book)])


def kinds() -> dict[str, Kind]:
    """Return what is drawn, from one simulated run."""
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "one.book"
        stroke(1, book)
        with Book(book, read_only=True) as opened:
            return kinds_of(load_part(PART), opened.findings(1))


def speed() -> str:
    """Exact quantiles of fifteen million findings."""
    folder = Path(tempfile.gettempdir()) / "strokebench-large-lake"
    found = large.measured(large.filled(folder, FINDINGS))
    shutil.rmtree(folder)
    assert found.busy_s < large.GOAL_S * found.cores, found
    assert found.worst < 1e-12, found
    rows = [
        ("findings", f"{found.findings:,}"),
        ("in files of", f"{found.size / 1e6:.0f} MB"),
        ("cores", str(found.cores)),
        ("groups (part and finding), five quantiles each", str(found.groups)),
        ("processor time until the answer, over the cores", f"{found.busy_s / found.cores:.2f} s"),
        ("goal", f"{large.GOAL_S:g} s"),
        ("time until the answer by the clock", f"{found.seconds:.2f} s"),
        ("largest difference from NumPy in the group looked at", f"{found.worst:.1g}"),
    ]
    text = "Five quantiles of each finding were found by `strokebench lake find`."
    return f"## Fifteen million findings\n\n{text}\n\n{table(('what', 'measured'), rows)}"


def spreads() -> str:
    """Bench, part and repeat told apart in 20 000 runs on 200 benches; limits from them on other parts."""
    found, base = kinds(), load_part(PART)
    wanted = Fleet(seed=SEED)
    columns, runs = columns_of(found, wanted), wanted.benches * wanted.parts * wanted.repeats
    began = time.process_time()
    model = {key: by_model(columns[key]) for key in MODELLED}
    model_s = (time.process_time() - began) / len(model)
    began = time.process_time()
    moments = {key: by_moments(tallies(column)) for key, column in columns.items()}
    moments_s = (time.process_time() - began) / len(moments)
    rows = [_spread_row(key, found[key], model[key], moments[key]) for key in model]
    heads = ("finding", *(f"{what}: true, model, moments" for what in ("bench", "part", "repeat")))
    by_all = fleet_limits(moments, base, [], runs).learnt
    mixed = fleet_limits({**moments, **model}, base, [], runs).learnt
    apart_ = max(_difference(a, b) for a, b in zip(mixed.limits, by_all.limits, strict=True))
    others = Fleet(benches=1000, parts=20, repeats=1, seed=SEED + 1)
    few = columns_of(found, Fleet(benches=10, parts=10, repeats=2, seed=SEED + 2))
    small = {key: by_moments(tallies(column)) for key, column in few.items()}
    shares = [
        false_alarms(each, found, others) for each in (by_all, fleet_limits(small, base, [], 200).learnt)
    ]
    return (
        f"\n## Spreads of bench, part and repeat\n\nThe spreads of {runs:,} runs on 200 benches, in"
        f" per cent of the value."
        f" The mixed model took {model_s:.1f} s of processor time for a finding, the moments"
        f" {moments_s:.2f} s."
        " Limits by the model and by moments differ by at most"
        f" {apart_:.2%} of their distance from the middle.\n\n{table(heads, rows)}\n"
        "20 000 other good parts on 1000 other benches were judged by the limits of all findings."
        f" {shares[0]:.2%} of them fail. With limits learned from only 10 benches with 10 parts each it is"
        f" {shares[1]:.2%}. One part in a hundred may fail.\n"
    )


def _spread_row(key: str, kind: Kind, model: Spreads, moments: Spreads) -> tuple[str, ...]:
    true = (kind.bench, kind.part, kind.u / 3)
    pairs = zip(
        true,
        (model.bench, model.part, model.repeat),
        (moments.bench, moments.part, moments.repeat),
        strict=True,
    )
    return (key, *(", ".join(f"{100 * value:.3f}" for value in three) for three in pairs))


def _suspects(columns: dict[str, Column]) -> tuple[set[str], set[str]]:
    counted = {key: tallies(column) for key, column in columns.items()}
    found = {key: by_moments(each) for key, each in counted.items()}
    scales = {key: column.scale for key, column in columns.items()}
    drifts = {each.bench for each in drifting(columns, found)}
    return drifts, {each.bench for each in apart(counted, found, scales)}


def benches() -> str:
    """How often strange benches are found, and good ones named."""
    found = kinds()
    rows, times = [], 20
    for by in (0.04, 0.07, 0.1):
        hits, wrong = [0, 0], [0, 0]
        for seed in range(times):
            fleet_ = Fleet(50, 50, 2, SEED + 100 + seed, drifts={3: by}, apart={8: by})
            drifts, off = _suspects(columns_of(found, fleet_))
            hits[0] += "bench3" in drifts
            hits[1] += "bench8" in off
            wrong[0] += bool(drifts - {"bench3"})
            wrong[1] += bool(off - {"bench8", "bench3"})
        rows.append((f"{by:.0%}", *(f"{n} of {times}" for n in (hits[0], hits[1], wrong[0], wrong[1]))))
    heads = (
        "error of the current's gain",
        "drift found",
        "apart found",
        "a good bench named as drifting",
        "a good bench named as apart",
    )
    return (
        "\n## Benches that do not measure as the fleet\n\nEach fleet has 50 benches with 50 parts"
        " each, measured twice. The gain of one bench's current drifts within the year by the error"
        " in the first"
        " column. The gain of another bench is off by it all the year. The parts' own spread (2 to 8 %)"
        " hides smaller errors. A golden part shows them sooner.\n\n"
        f"{table(heads, rows)}"
    )


def shops() -> str:
    """Limits from what workshops exchange against limits from the pooled readings; sketches."""
    from strokebench.lake import summary

    found, base = kinds(), load_part(PART)
    wanted = Fleet(seed=SEED)
    whole = Good(columns_of(found, wanted), runs=wanted.benches * wanted.parts * wanted.repeats)
    files = [
        summary.summary_of(Good(columns_of(found, wanted, shop), [f"shop{shop}"], True, 1), PART, base)
        for shop in range(wanted.shops)
    ]
    moments = {key: by_moments(each) for key, each in summary.together(files, base).items()}
    ours = fleet_limits(moments, base, [], whole.runs).learnt.limits
    exact = fleet_limits(
        {k: by_moments(tallies(c)) for k, c in whole.columns.items()}, base, [], 1
    ).learnt.limits
    same = max(_difference(a, b) for a, b in zip(ours, exact, strict=True))
    ranks = []
    for key, column in whole.columns.items():
        sketch = summary.pooled_sketch(files, key)
        assert sketch is not None
        means = np.sort(summary.part_means(column))
        for level in (0.05, 0.25, 0.5, 0.75, 0.95):
            low, high = (
                np.searchsorted(means, sketch.get_quantile(level), side) for side in ("left", "right")
            )
            ranks.append(max(low / len(means) - level, level - high / len(means), 0.0))
    size = sum(len(each.model_dump_json()) for each in files) / len(files)
    rows = [
        (
            "limits from the summaries and from all readings, both by moments: largest difference",
            f"{same:.1g}",
        ),
        (
            "rank of a quantile by the pooled sketch: largest error",
            f"{max(ranks):.2%} (stated: {summary.rank_error():.2%})",
        ),
        ("a workshop's file", f"{size / 1e3:.0f} kB"),
    ]
    return (
        "\n## Workshops that exchange summaries\n\nThere are ten workshops with 20 benches each. Differences"
        f" are shares of the distance from a limit to the middle.\n\n{table(('what', 'measured'), rows)}"
    )


def _difference(first: Any, second: Any) -> float:
    sides = [(first.lower, second.lower), (first.upper, second.upper)]
    return max(
        float(abs(a - b) / abs(b - second.centre)) for a, b in sides if a is not None and b is not None
    )


def cluster() -> str:
    """Recordings judged again on a cluster of this computer's cores, compared with the book."""
    from strokebench.lake.many import judged_again
    from strokebench.lake.names import load_key
    from strokebench.lake.put import Wish, put
    from strokebench.verdict.examine import examine

    count = 12
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for seed in range(1, count + 1):
            stroke(seed, folder / "a.book")
        place, profile = open_place(str(folder / "lake"), there=False), load_part(PART)
        with Book(folder / "a.book", read_only=True) as book:
            put(book, place, load_key(folder / "key"), Wish())
            began = time.perf_counter()
            expected = sorted(examine(book.load(n), profile)[1].value for n in book.run_numbers())
            alone_s = time.perf_counter() - began
        began = time.perf_counter()
        found = judged_again(place, PART, profile.model_dump(mode="json", exclude_none=True), "")
        cluster_s = time.perf_counter() - began
        assert sorted(each.now for each in found) == expected
    return (
        f"\n## Judging again\n\n{count} recordings of the valve were judged again. This took"
        f" {alone_s:.1f} s from the job"
        f" book in one process, and {cluster_s:.1f} s by `lake judge` with its own Dask cluster on two cores,"
        " with its start. The verdicts are equal.\n"
    )


def golden() -> str:
    """Run lengths of the golden part's charts, by Monte Carlo."""
    rows = []
    for reference in (10, 20, 40):
        for findings in (9, 20):
            still = waits(reference, findings, 0.0, 400, 2000, SEED + reference)
            moved = [
                waits(reference, findings, shift, 400, 500, SEED + reference) for shift in (1.0, 2.0, 3.0)
            ]
            rows.append((
                str(reference), str(findings), f"{np.mean(still):,.0f}{MORE if still.max() == 2000 else ''}",
                f"{np.mean(still <= 100):.1%}", *(f"{np.median(each):.0f}" for each in moved),
            ))  # fmt: skip
    heads = (
        "reference runs",
        "findings",
        "mean run length",
        "signal within 100 runs",
        "shift of 1 spread",
        "of 2",
        "of 3",
    )
    return (
        "\n## Golden part\n\nThe run length is the number of runs until one of the charts signals."
        " The table has its"
        " mean without a shift (runs were counted up to 2000), the share of benches with a false"
        " alarm within 100"
        " runs, and the median after a shift of all findings. A shift is given in spreads of the"
        " repeats. If middle"
        " and spread were known, the run length would be 500.\n\n"
        f"{table(heads, rows)}"
    )
