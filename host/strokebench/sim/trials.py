"""One trial: stroke a simulated part with a known defect, diagnose it blind, and note whether that was right.

The diagnosis sees the recording and the profile only; the truth is laid beside its answer afterwards.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from strokefw import faults

from strokebench.errors import ProtectionTripped, Refused
from strokebench.findings import Finding, Verdict
from strokebench.sim.spec import SimSpec

FIRST_TUNING_SEED, FIRST_REPORTING_SEED = 1, 10_001
"""Limits and estimators were tuned on seeds below the second; reported figures come from seeds above it."""
REFUSALS = {faults.OPEN_LOAD: "open_winding", faults.SHORTED_LOAD: "shorted_winding"}
"""What the self-test's refusals say about the part, in the words of the diagnosis."""
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
        return f"{self.spec.part}/{self.name}/{self.grade}/{self.spec.seed}/{self.size:.4g}/{self.place}"


def conditions(part: str, seed: int, faults: tuple[str, ...]) -> SimSpec:
    """Return a bench under conditions drawn from the seed: battery 11.8-14.5 V, 0-45 C; leads and source
    too."""
    rng = np.random.default_rng((seed, 99))
    supply_v, ambient_c = float(rng.uniform(11.8, 14.5)), float(rng.uniform(0, 45))
    return SimSpec(part, seed, faults, supply_v=round(supply_v, 2), ambient_c=round(ambient_c, 1))


def plan(part: str, good: int, each: int, first_seed: int) -> Iterator[Trial]:
    """Yield ``good`` trials without a defect, then ``each`` of every defect in three grades."""
    from strokebench.sim.faults import available

    for seed in range(first_seed, first_seed + good):
        yield Trial("good", "good", conditions(part, seed, ()))
    for kind in available(part):
        sized = kind.moderate != kind.severe
        for grade in ("moderate", "severe", "spread") if sized else ("severe",):
            for seed in range(first_seed, first_seed + each):
                yield _faulty(part, kind, grade, seed)


def _faulty(part: str, kind: Any, grade: str, seed: int) -> Trial:
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
    return Trial(kind.name, grade, conditions(part, seed, (text,)), round(size, 4), place)


def stroke(spec: SimSpec) -> tuple[Any, Any, Any]:
    """Run the built-in procedure of ``spec.part`` in process; return the run, its profile, and the plant."""
    from strokebench.bench import Bench
    from strokebench.parts import load_part
    from strokebench.sim.inprocess import InProcessPort

    profile = load_part(spec.part)
    port = InProcessPort(spec)
    with Bench(port, f"simulated {spec.part}", spec.engine) as bench:
        bench.set_limits(profile.limits)
        bench.arm()
        run, chunks = bench.run(profile.procedure), []
        try:
            for chunk in run:
                chunks.append(chunk)
        except ProtectionTripped:
            pass  # told by the run's events, and a defect may well trip it
        return run.data(np.concatenate(chunks)), profile, port.board.plant


_simulator: Any = None


def use_simulator(command: str) -> None:
    """Let another interpreter simulate this process's trials; empty: this one does."""
    global _simulator
    from strokebench.sim.trial_worker import Simulator

    _simulator = Simulator(command) if command else None


def _stroked(spec: SimSpec) -> tuple[Any, Any, Any]:
    from strokebench.parts import load_part

    if _simulator is None:
        return stroke(spec)
    run, plant = _simulator.stroke(spec)
    return run, load_part(spec.part), plant


def examine(trial: Trial) -> dict[str, Any]:
    """Run one trial and return its record: what was injected, what was found, how far off the estimates were.

    A bench that refuses to arm because its self-test found the defect has found it: ``refused`` is the code.
    """
    from strokebench.judge import named_faults
    from strokebench.session import examine as judged

    injected = {
        "key": trial.key, "name": trial.name, "grade": trial.grade, "size": trial.size, "place": trial.place,
        "spec": asdict(trial.spec),
    }  # fmt: skip
    try:
        run, profile, plant = _stroked(trial.spec)
    except Refused as refusal:
        named = [REFUSALS.get(refusal.code, f"code_{refusal.code}")]
        answer = {"verdict": "fail", "named": named, "failing": [], "unsure": [], "errors": {}}
        return injected | answer | {"refused": refusal.code}
    findings, verdict = judged(run, profile)
    return injected | {
        "verdict": verdict.value,
        "named": named_faults(findings),
        "failing": [one.key for one in findings if one.verdict is Verdict.FAIL],
        "unsure": [one.key for one in findings if one.verdict is Verdict.INCONCLUSIVE],
        "errors": errors(findings, plant, trial),
    }


def true_winding(plant: Any) -> tuple[float, float] | None:
    """Ohm at 25 C and henry of a plant's winding; a plunger's at rest; None for parts that turn."""
    mover, coil = getattr(plant, "mover", None), getattr(plant, "coil", None)
    if mover is not None:
        return mover.resistance_ohm, mover.inductance_h
    if coil is not None:
        return coil.resistance_ohm, coil.base_h + coil.a_hm / (coil.gap_m + coil.stroke_m)
    return None


def errors(findings: list[Finding], plant: Any, trial: Trial) -> dict[str, float]:
    """Return relative errors of R and L, and the distance of a found place from the true one (% of
    travel)."""
    from strokebench.physics.copper import resistance_at

    found = {one.key: one for one in findings if one.known}
    winding, out = true_winding(plant), {}
    if winding is not None:
        ohm, henry = winding
        leads_ohm = plant.conditions.lead_ohm
        for key, true in (
            ("winding_resistance", resistance_at(ohm, 25.0, 20.0)),
            ("inductance", henry * 1e3),
        ):
            if key in found and trial.name not in ("lead_resistance",):
                out[key] = found[key].value / true - 1
        out["lead_ohm"] = leads_ohm
    if trial.name == "binding" and "binding" in found and found["binding"].place is not None:
        out["place"] = found["binding"].place - 100 * float(trial.place)
    return out
