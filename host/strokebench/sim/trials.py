"""One trial: stroke a simulated part with a known defect, diagnose it blind, and note whether that was right.

The diagnosis sees the recording and the profile only; the truth is laid beside its answer afterwards.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from strokefw import faults

from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Finding, Verdict
from strokebench.errors import ProtectionTripped, Refused
from strokebench.sim.plants import available
from strokebench.sim.truths import beside, errors, place_error

FIRST_REPORTING_SEED = 10_001
"""Limits and estimators were tuned on seeds below it; reported figures come from seeds above it."""
REFUSALS = {faults.OPEN_LOAD: "open_winding", faults.SHORTED_LOAD: "shorted_winding"}
"""What the self-test's refusals say about the part, in the words of the diagnosis."""
OPEN_WIRE_PART = "wiring"
"""Where the wire is what is looked at, an open circuit is an open wire: the bench cannot tell where it is."""
LEAST_RAD_S, LEAST_SHARE = 30.0, 0.03
"""A rotor that never turned faster, or a mover that never left its place by more of its travel, stood."""
GRADES = ("moderate", "severe", "spread")
SPREAD_SIZES = 0.5, 1.3
"""Sizes in between are drawn from this times moderate to this times severe, evenly in the logarithm."""


@dataclass(frozen=True)
class Trial:
    """``name`` and ``grade`` ("good", "moderate", "severe", "spread") of what is injected into ``spec``."""

    name: str
    grade: str
    spec: SimSpec
    size: float = 0.0
    place: float | str = 0.0

    @property
    def key(self) -> str:
        """Identity for resuming."""
        spec = self.spec
        how = "" if spec.family == "first" and not spec.as_built else f"/{spec.family}/{spec.as_built}"
        how += "" if spec.bench == "reference" else f"/{spec.bench}"
        return f"{spec.part}/{self.name}/{self.grade}/{spec.seed}/{self.size:.4g}/{self.place}{how}"


def conditions(part: str, seed: int, faults: tuple[str, ...], like: SimSpec | None = None) -> SimSpec:
    """Return a bench under conditions drawn from the seed: battery 11.0-14.5 V, 0-45 C; leads and source too.

    ``like`` gives the rest: the family of parts, and whether the bench is as built.
    """
    rng = np.random.default_rng((seed, 99))
    supply_v, ambient_c = float(rng.uniform(11.0, 14.5)), float(rng.uniform(0, 45))
    return replace(
        like or SimSpec(), part=part, seed=seed, faults=faults, supply_v=round(supply_v, 2),
        ambient_c=round(ambient_c, 1),
    )  # fmt: skip


def plan(
    part: str,
    good: int,
    each: int,
    first_seed: int,
    like: SimSpec | None = None,
    grades: tuple[str, ...] = GRADES,
) -> Iterator[Trial]:
    """Yield ``good`` trials without a defect, then ``each`` of every defect in its ``grades`` (as many in all
    of a defect that has no size).
    """
    for seed in range(first_seed, first_seed + good):
        yield Trial("good", "good", conditions(part, seed, (), like))
    for kind in available(part):
        sized = kind.moderate != kind.severe
        for grade in grades if sized else ("severe",):
            for seed in range(first_seed, first_seed + (each if sized else len(grades) * each)):
                yield _faulty(part, kind, grade, seed, like)


def _faulty(part: str, kind: Any, grade: str, seed: int, like: SimSpec | None) -> Trial:
    rng = np.random.default_rng((seed, 98))
    size = {"moderate": kind.moderate, "severe": kind.severe}.get(grade, 0.0)
    if grade == "spread":
        low, high = np.log(SPREAD_SIZES[0] * kind.moderate), np.log(SPREAD_SIZES[1] * kind.severe)
        size = float(np.exp(rng.uniform(low, high)))
        size = min(size, getattr(kind, "largest", size) or size)
    place: float | str = kind.place
    if kind.places:
        place = str(rng.choice(kind.places))
    elif kind.place_means:
        place = round(float(rng.uniform(0.2, 0.9)), 3)
    where = f"@{place}" if kind.place_means else ""
    text = f"{kind.name}={size:.4g}{where}"
    return Trial(kind.name, grade, conditions(part, seed, (text,), like), round(size, 4), place)


def stroke(spec: SimSpec) -> tuple[Any, Any, Any]:
    """Run the built-in procedure of ``spec.part`` in process; return the run, its profile, and the plant.

    ``plant.seen`` then holds, some ten times a second, the time in s and what the part truly did: speed in
    rad/s of what turns, else the place as a share of its travel.
    """
    from strokebench.bench.bench import Bench
    from strokebench.parts import load_part
    from strokebench.parts.on_bench import on_bench
    from strokebench.sim.engine.inprocess import InProcessPort

    profile = load_part(spec.part)
    port = InProcessPort(spec)
    with Bench(port, f"simulated {spec.part}", spec.engine) as bench:
        profile = on_bench(profile, bench.identity.board)
        bench.set_limits(profile.limits)
        bench.arm()
        run, chunks = bench.run(profile.procedure), []
        plant: Any = port.board.plant
        seen, behind_s = [], math.inf
        try:
            for chunk in run:
                chunks.append(chunk)
                now = plant.speed_rad_s if hasattr(plant, "turner") else getattr(plant, "position", 0.0)
                seen.append((port.now(), now))
                # the part is some ms further than the last sample that has come through the link
                behind_s = min(behind_s, port.now() - float(chunk["time_s"][-1]))
        except ProtectionTripped:
            pass  # told by the run's events, and a defect may well trip it
        plant.seen = [(time_s - behind_s, now) for time_s, now in seen]
        return run.data(np.concatenate(chunks)), profile, plant


Simulate = Callable[[SimSpec], tuple[Any, Any, Any]]
"""What strokes the part of a spec, as :func:`stroke` does."""


def refused_as(code: int, part: str) -> str:
    """Return what a refusal to arm says about the part."""
    if code == faults.OPEN_LOAD and part == OPEN_WIRE_PART:
        return "open_wire"
    return REFUSALS.get(code, f"code_{code}")


def examine(trial: Trial, simulate: Simulate = stroke) -> dict[str, Any]:
    """Run one trial and return its record: what was injected, what was found, how far off the estimates were.

    ``simulate`` strokes the part: :func:`stroke`, or a :class:`strokebench.sim.trial_worker.Simulator`'s.
    A bench that refuses to arm because its self-test found the defect has found it: ``refused`` is the code.
    """
    from strokebench.verdict import named_faults
    from strokebench.verdict.bench_fit import bench_troubles
    from strokebench.verdict.decision import suspects
    from strokebench.verdict.examine import examine as judged
    from strokebench.verdict.learning.surroundings import surroundings_of

    injected = {
        "key": trial.key, "name": trial.name, "grade": trial.grade, "size": trial.size, "place": trial.place,
        "spec": asdict(trial.spec),
    }  # fmt: skip
    try:
        run, profile, plant = simulate(trial.spec)
    except Refused as refusal:
        named = [refused_as(refusal.code, trial.spec.part)]
        answer = {"verdict": "fail", "named": named, "failing": [], "unsure": [], "errors": {}, "found": {}}
        return injected | answer | {"refused": refusal.code}
    findings, verdict = judged(run, profile)
    named = [*named_faults(findings), *suspects(findings), *bench_troubles(findings)]
    found = beside(findings, run, plant, profile, trial.name)
    off = errors(found) | (place_error(findings, trial.place) if trial.name == "binding" else {})
    return injected | {
        "verdict": verdict.value,
        "named": named,
        "failing": [finding.key for finding in findings if finding.verdict is Verdict.FAIL],
        "unsure": [finding.key for finding in findings if finding.verdict is Verdict.INCONCLUSIVE],
        "errors": off,
        "found": found,
        "moved": moved(plant),
        "readings": [_reading(finding) for finding in findings],
        "surroundings": asdict(surroundings_of(run)),
    }


def moved(plant: Any) -> bool | None:
    """Return whether the part truly moved at all in the run (see :func:`stroke`); None for what cannot."""
    if not (hasattr(plant, "turner") or hasattr(plant, "position")) or not plant.seen:
        return None
    where: list[float] = [now for _, now in plant.seen]
    least = LEAST_RAD_S if hasattr(plant, "turner") else LEAST_SHARE
    return max(where) - min(where) > least


def _reading(finding: Finding) -> dict[str, Any]:
    """A finding as it was read, so that it can be judged again without the recording."""
    return {
        "key": finding.key, "value": finding.value, "u": finding.u, "lower": finding.lower,
        "upper": finding.upper, "place": finding.place, "fault": finding.fault,
        "gate": bool(finding.evidence.get("gate")), "reason": finding.reason,
    }  # fmt: skip
