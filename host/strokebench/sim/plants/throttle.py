"""Electronic throttle body: DC motor, gear, two-sided spring with limp-home rest, two complementary tracks.

The named plant "throttle-loh2013" is the identified one of Loh, Thanom, Pyko, Lee, "Electronic Throttle
Control System", Engineering 5, 2013, 587-600, with no spread and an ideal sensor (numbers by a third-party
transcription). "throttle-body" draws ordinary good specimens around the same set; its Coulomb friction,
closing-side spring, travel, rest and all spreads are engineering judgement, chosen so that every good
specimen returns to rest by itself.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.sim.faults import Fault, FaultKind, parse_all
from strokebench.sim.plants import canonical
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.friction import bump, level_along
from strokebench.sim.plants.positioner import Mover, Positioner, grid
from strokebench.sim.plants.spring import Spring
from strokebench.sim.plants.tracks import Track, TrackShape
from strokebench.sim.spec import SimSpec

FAULTS = (
    FaultKind(
        "binding", "something rubs at one place", "friction added there, in the specimen's own", 0.6, 1.5,
        "share of travel", 0.45,
    ),
    FaultKind("sticky", "dirt everywhere", "friction added, in the specimen's own", 0.8, 1.8),
    FaultKind(
        "weak_spring", "the return spring is weak", "share lost on the opening side", 0.35, 0.7, largest=1.0
    ),
    FaultKind(
        "worn_track", "sensor track A is worn at a place", "share of the signal lost at worst", 0.4, 0.9,
        "share of travel", 0.3, largest=1.0,
    ),
    FaultKind("track_dead", "a sensor track gives nothing", "no matter", 1, 1, "track", "a", ("a", "b")),
    FaultKind("track_shorted", "a track is shorted to its feed", "no matter", 1, 1, "track", "a", ("a", "b")),
    FaultKind("open_winding", "no current can flow", "no matter", 1, 1),
    FaultKind("shorted_turns", "some turns are shorted", "share of the turns", 0.25, 0.45, largest=0.9),
    FaultKind("lead_resistance", "a bad lead or contact to the part", "extra ohms", 0.5, 1.5),
    FaultKind(
        "weak_battery", "a flat, worn battery", "1: at most 11.85 V, 0.18 ohm more; 2: 11.2 V, 0.36 ohm",
        1.0, 2.0, largest=8.0,
    ),
)  # fmt: skip

LOH = Mover(
    resistance_ohm=1.5, inductance_h=1.5e-3, k_si=0.383, inertia_kgm2=0.0021, viscous_nms=0.0088,
    spring=Spring(0.396, 0.087, 0.396, 0.087, rest_rad=0.14), travel_rad=1.5, stiction=1.0,
)  # fmt: skip
LOH_COULOMB_NM = 0.284
COULOMB_NM = 0.18
NOMINAL = replace(LOH, spring=Spring(0.396, 0.087, 0.30, 0.30, rest_rad=0.14))
IDEAL = TrackShape(0.1, 0.9, 0.0, 0.0, 0.0)
TRACKS = (TrackShape(0.1, 0.9), TrackShape(0.9, 0.1))


def specimen(rng: np.random.Generator) -> tuple[Mover, float]:
    """Return one ordinary good part: its parameters and its Coulomb friction in N m."""

    def about(nominal: float, share: float) -> float:
        return nominal * (1 + share * float(np.clip(rng.normal(0, 0.4), -1, 1)))

    spring = Spring(
        about(0.396, 0.10),
        about(0.087, 0.12),
        about(0.30, 0.12),
        about(0.30, 0.12),
        rest_rad=about(0.14, 0.10),
    )
    mover = replace(
        NOMINAL, resistance_ohm=about(1.5, 0.07), inductance_h=about(1.5e-3, 0.12), k_si=about(0.383, 0.06),
        inertia_kgm2=about(0.0021, 0.1), viscous_nms=about(0.0088, 0.3), spring=spring,
        travel_rad=about(1.5, 0.02), stiction=float(rng.uniform(1.05, 1.2)),
    )  # fmt: skip
    return mover, about(COULOMB_NM, 0.2)


def build(spec: SimSpec) -> Positioner:
    """Return the throttle that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part)
    rng = np.random.default_rng((spec.seed, 1))
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    named = canonical(spec.part) == "throttle-loh2013"
    mover, coulomb = (LOH, LOH_COULOMB_NM) if named else specimen(rng)
    nominal_nm = coulomb
    mover, coulomb = _worn(mover, coulomb, faults)
    angle = grid(mover.travel_rad)
    share = angle / mover.travel_rad
    level = level_along(share, coulomb, 0.0 if named else 0.05, rng)
    for fault in faults:
        if fault.name == "binding":
            level = level + fault.size * nominal_nm * bump(share, float(fault.place))
    teeth_nm = np.zeros_like(angle) if named else 0.004 * np.sin(angle * 17 * 10 + rng.uniform(0, 6))
    tracks = [_track(n, IDEAL_PAIR[n] if named else TRACKS[n], share, spec.seed, faults) for n in (0, 1)]
    plant = Positioner(conditions, mover, level, teeth_nm, tracks)
    plant.connected = not any(fault.name == "open_winding" for fault in faults)
    return plant


IDEAL_PAIR = (IDEAL, replace(IDEAL, closed=0.9, open=0.1))


def _worn(mover: Mover, coulomb: float, faults: list[Fault]) -> tuple[Mover, float]:
    for fault in faults:
        left = 1 - fault.size
        if fault.name == "sticky":
            coulomb *= 1 + fault.size
            mover = replace(mover, stiction=mover.stiction + 0.15 * fault.size)
        elif fault.name == "weak_spring":
            spring = mover.spring
            weak = replace(
                spring, open_preload_nm=left * spring.open_preload_nm, open_rate_nm=left * spring.open_rate_nm
            )
            mover = replace(mover, spring=weak)
        elif fault.name == "shorted_turns":
            # a shorted part of the winding: fewer turns carry current, make torque and flux
            mover = replace(
                mover, resistance_ohm=left * mover.resistance_ohm, k_si=left * mover.k_si,
                inductance_h=left * left * mover.inductance_h,
            )  # fmt: skip
    return mover, coulomb


def _track(
    index: int,
    shape: TrackShape,
    share: np.ndarray[tuple[int], np.dtype[np.float64]],
    seed: int,
    faults: list[Fault],
) -> Track:
    stuck, wear, place = None, 0.0, 0.3
    for fault in faults:
        if fault.name == "worn_track" and index == 0:
            wear, place = fault.size, float(fault.place)
        elif fault.name in ("track_dead", "track_shorted") and fault.place == "ab"[index]:
            stuck = 0.0 if fault.name == "track_dead" else 1.0
    return Track(shape, share, np.random.default_rng((seed, 3 + index)), wear, place, stuck)
