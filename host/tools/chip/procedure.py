"""A part's whole procedure on the emulated chip and in process: the same findings?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import COVERAGE, Finding, Verdict
from strokebench.parts import load_part
from strokebench.parts.on_bench import on_bench
from strokebench.sim import open_port
from strokebench.verdict.examine import examine

from tools.chip.drive import ready_bench

QUICKEST = ("solenoid", "small")
"""The part and the bench of the report's rows: 16 s, where a throttle body takes 51 s."""


@dataclass(frozen=True)
class Examined:
    """What came of one run."""

    findings: dict[str, Finding]
    verdict: Verdict
    seconds: float
    lost_rows: int
    counters: dict[str, int]


@dataclass(frozen=True)
class Difference:
    """One finding of both runs; ``share`` is their difference by the expanded uncertainty of it."""

    here: Finding
    chip: Finding

    @property
    def share(self) -> float:
        """0 same value, 1 as far apart as their uncertainties (k = 2) allow; inf when only one is known."""
        if not (self.here.known and self.chip.known):
            return 0.0 if self.here.known == self.chip.known else math.inf
        apart = abs(self.here.value - self.chip.value)
        return apart / (COVERAGE * math.hypot(self.here.u, self.chip.u)) if apart else 0.0


def examined(bench: Bench, part: str) -> Examined:
    """Run the part's own procedure, as it is on this bench, and judge it."""
    profile = on_bench(load_part(part), bench.identity.board)
    bench.set_limits(profile.limits)
    bench.arm()
    bench.status()  # its maxima begin anew with each
    run = bench.run(profile.procedure)
    samples = np.concatenate(list(run))
    counters = bench.status().counters
    findings, verdict = examine(run.data(samples), profile)
    by_key = {finding.key: finding for finding in findings}
    return Examined(by_key, verdict, len(samples) / 1000, run.lost_rows, counters)


def both(image: str | Path | None, part: str, kind: str) -> tuple[Examined, Examined]:
    """In process, and on the chip; ``kind`` of bench as in :class:`SimSpec`. Minutes to half an hour."""
    with Bench(open_port(SimSpec(part, bench=kind)), "in process", "inprocess") as bench:
        here = examined(bench, part)
    return here, examined(ready_bench(image, part, kind), part)


def differences(here: Examined, chip: Examined) -> list[Difference]:
    """All findings, side by side; KeyError when one run has one that the other lacks."""
    if here.findings.keys() != chip.findings.keys():
        raise KeyError(f"only one run has {sorted(here.findings.keys() ^ chip.findings.keys())}")
    return [Difference(here.findings[key], chip.findings[key]) for key in here.findings]


def rows(image: Path) -> Iterator[tuple[str, str]]:
    """Rows of the chip's report."""
    part, kind = QUICKEST
    here, chip = both(image, part, kind)
    what = f"whole procedure of a {part} on the {kind} bench"
    yield (
        f"{what}: length, rows lost, ticks missed",
        (f"{chip.seconds:.1f} s, {chip.lost_rows}, {chip.counters['overruns']}"),
    )
    tick = f"{chip.counters['tick_mean_us']}, {chip.counters['tick_max_us']} us"
    yield f"{what}: tick, mean and longest", tick
    yield f"{what}: verdict in process, on the chip", f"{here.verdict.value}, {chip.verdict.value}"
    found = differences(here, chip)
    judged_alike = sum(difference.here.verdict is difference.chip.verdict for difference in found)
    yield f"{what}: findings, of them judged alike", f"{len(found)}, {judged_alike}"
    for difference in sorted(found, key=lambda difference: -difference.share):
        unit = difference.here.unit
        values = f"{difference.here.value:.4g} and {difference.chip.value:.4g} {unit}".rstrip()
        yield (
            f"{what}: {difference.here.title}, in process and on the chip",
            f"{values}, apart by {difference.share:.2f} of the expanded uncertainty (k = 2)",
        )
