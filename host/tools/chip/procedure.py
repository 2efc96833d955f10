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
from strokebench.sim import open_port
from strokebench.verdict.examine import examine

from tools.chip.drive import ready_bench

PART = "throttle-body"


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


def examined(bench: Bench, part: str = PART) -> Examined:
    """Run the part's own procedure and judge it."""
    profile = load_part(part)
    bench.set_limits(profile.limits)
    bench.arm()
    bench.status()  # its maxima begin anew with each
    run = bench.run(profile.procedure)
    samples = np.concatenate(list(run))
    counters = bench.status().counters
    findings, verdict = examine(run.data(samples), profile)
    by_key = {finding.key: finding for finding in findings}
    return Examined(by_key, verdict, len(samples) / 1000, run.lost_rows, counters)


def both(image: str | Path | None = None, part: str = PART) -> tuple[Examined, Examined]:
    """In process, and on the chip; half an hour."""
    with Bench(open_port(SimSpec(part)), "in process", "inprocess") as bench:
        here = examined(bench, part)
    return here, examined(ready_bench(image, part), part)


def differences(here: Examined, chip: Examined) -> list[Difference]:
    """All findings, side by side; KeyError when one run has one that the other lacks."""
    if here.findings.keys() != chip.findings.keys():
        raise KeyError(f"only one run has {sorted(here.findings.keys() ^ chip.findings.keys())}")
    return [Difference(here.findings[key], chip.findings[key]) for key in here.findings]


def rows(image: Path) -> Iterator[tuple[str, str]]:
    """Rows of the chip's report."""
    here, chip = both(image)
    what = f"the whole procedure of a {PART}, {chip.seconds:.1f} s"
    yield f"{what}: rows lost, ticks missed", f"{chip.lost_rows}, {chip.counters['overruns']}"
    tick = f"{chip.counters['tick_mean_us']}, {chip.counters['tick_max_us']} us"
    yield "the same: tick, mean and longest", tick
    yield "the same: verdict in process, on the chip", f"{here.verdict.value}, {chip.verdict.value}"
    found = differences(here, chip)
    judged_alike = sum(difference.here.verdict is difference.chip.verdict for difference in found)
    yield "the same: findings, of which judged alike", f"{len(found)}, {judged_alike}"
    for difference in sorted(found, key=lambda difference: -difference.share):
        unit = difference.here.unit
        values = f"{difference.here.value:.4g} and {difference.chip.value:.4g} {unit}"
        yield (
            f"the same: {difference.here.title}, in process and on the chip",
            f"{values}; {difference.share:.2f} of the expanded uncertainty of their difference",
        )
