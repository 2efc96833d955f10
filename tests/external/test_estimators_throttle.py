"""Estimators of the moving part against a throttle solved by scipy (LSODA), whose parameters are known.

The model and its parameters: Loh et al., Engineering 5, 2013 (tests/helpers/solved_throttle.py). Nothing of
our own simulation takes part.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from strokebench.bench.accuracy import accuracy
from strokebench.data.findings import Finding
from strokebench.data.run import RunData
from strokebench.diagnose import diagnose
from strokebench.parts import load_part

from tests.helpers.solved_throttle import (
    REST_RAD,
    SOURCE_OHM,
    TRAVEL_RAD,
    Truth,
    record,
    ripple_burst,
    stall_pieces,
    step_pieces,
    sweep_pieces,
)

LEAD_OHM = 0.05  # what the profile takes off for the bench's own leads


def findings(truth: Truth, *, seed: int = 1) -> dict[str, Finding]:
    run = record(stall_pieces() + sweep_pieces() + step_pieces(), truth, seed=seed)
    mark = next(stretch for stretch in run.marks if stretch.label == "stall_open")
    run.bursts.append(ripple_burst(truth, 0.4, mark.start_s + 0.1))
    return {finding.key: finding for finding in diagnose(run, load_part("throttle-body"))}


@pytest.fixture(scope="module")
def good() -> dict[str, Finding]:
    return findings(Truth())


def test_resistance_inductance_and_motor_constant_are_recovered(good: dict[str, Finding]) -> None:
    truth = Truth()
    assert good["winding_resistance"].value + LEAD_OHM == pytest.approx(truth.ohm, rel=0.005)
    assert good["inductance"].value == pytest.approx(truth.henry * 1e3, rel=0.01)
    assert good["motor_constant"].value == pytest.approx(truth.k_si, rel=0.01)
    assert good["source_resistance"].value == pytest.approx(SOURCE_OHM * 1e3, rel=0.02)


def test_friction_is_coulombs_without_the_viscous_share_of_the_sweep(good: dict[str, Finding]) -> None:
    # The plate moves at 1 to 2.5 rad/s here: 0.02 to 0.06 A of viscous friction, 5 to 12 % of the dry one.
    truth = Truth()
    assert good["friction"].value == pytest.approx(truth.coulomb / truth.k_si, rel=0.012)


def test_spring_is_recovered_apart_from_friction(good: dict[str, Finding]) -> None:
    truth = Truth()
    half_way_nm = truth.preload + truth.spring * REST_RAD / 2
    assert good["preload_open"].value == pytest.approx(truth.preload / truth.k_si, rel=0.005)
    assert good["preload_close"].value == pytest.approx(half_way_nm / truth.k_si, rel=0.01)
    assert good["spring_slope"].value == pytest.approx(truth.spring * TRAVEL_RAD / truth.k_si, rel=0.02)


def test_breakaway_is_preload_plus_friction(good: dict[str, Finding]) -> None:
    truth = Truth()
    expected_a = (truth.preload + truth.coulomb) / truth.k_si
    assert good["breakaway_open"].value == pytest.approx(expected_a, rel=0.04)
    assert good["breakaway_close"].value == pytest.approx(expected_a, rel=0.04)


def test_rest_and_travel_are_where_the_model_puts_them(good: dict[str, Finding]) -> None:
    assert good["rest_position"].value == pytest.approx(100 * REST_RAD / TRAVEL_RAD, abs=0.4)
    assert good["travel"].value == pytest.approx(100, abs=1.0)
    assert good["rest_spread"].value < 0.2


@pytest.mark.parametrize("place", [0.3, 0.7])
def test_a_tight_spot_is_found_where_it_is(place: float) -> None:
    def bump_nm(angle: float) -> float:
        return 0.15 * math.exp(-0.5 * ((angle / TRAVEL_RAD - place) / 0.02) ** 2)

    found = findings(Truth(extra_nm=bump_nm))["binding"]
    assert found.value > 25
    assert found.place == pytest.approx(100 * place, abs=2.0)


def test_more_friction_everywhere_is_not_a_spot(good: dict[str, Finding]) -> None:
    found = findings(Truth(coulomb=0.36))
    ratio = found["friction"].value / good["friction"].value
    assert ratio == pytest.approx(2.0, rel=0.08)
    assert found["binding"].value < 5
    assert found["preload_open"].value == pytest.approx(good["preload_open"].value, rel=0.03)


def test_a_weaker_spring_is_seen_as_such(good: dict[str, Finding]) -> None:
    found = findings(Truth(preload=0.24))
    assert found["preload_open"].value / good["preload_open"].value == pytest.approx(0.24 / 0.396, rel=0.05)
    assert found["friction"].value == pytest.approx(good["friction"].value, rel=0.06)


BENCHES = 12
SPECIMENS, BENCHES_EACH = 8, 4


def seen_by(run: RunData, seed: int) -> RunData:
    """The same recording by another bench as built: gains and offsets off as its stated accuracy allows."""
    rng, rows = np.random.default_rng((seed, 40)), run.samples.copy()
    for column, allowed in accuracy(calibrated=False).items():
        gain, offset = rng.normal(0, 1, 2) * (allowed["gain"], allowed["offset"])
        rows[column] = rows[column] * (1 + gain) + offset
        if column == "current_a":
            bursts = [replace(burst, values=burst.values * (1 + gain) + offset) for burst in run.bursts]
    return replace(run, samples=rows, bursts=bursts)


def whole(truth: Truth, seed: int = 1) -> RunData:
    """A recording of all pieces, with a burst of the ripple."""
    run = record(stall_pieces() + sweep_pieces() + step_pieces(), truth, seed=seed)
    mark = next(stretch for stretch in run.marks if stretch.label == "stall_open")
    run.bursts.append(ripple_burst(truth, 0.4, mark.start_s + 0.1))
    return run


def trues_of(truth: Truth) -> dict[str, float]:
    """What each finding estimates, by its docstring."""
    return {
        "winding_resistance": truth.ohm - LEAD_OHM,
        "inductance": truth.henry * 1e3,
        "motor_constant": truth.k_si,
        "source_resistance": SOURCE_OHM * 1e3,
        "friction": truth.coulomb / truth.k_si,
        "preload_open": truth.preload / truth.k_si,
        "preload_close": (truth.preload + truth.spring * REST_RAD / 2) / truth.k_si,
        "spring_slope": truth.spring * TRAVEL_RAD / truth.k_si,
    }


def errors(run: RunData, truth: Truth, benches: range) -> list[list[tuple[float, float]]]:
    """Error and u of each finding, on each of the benches.

    The angle of travel is nominal, so the profile's is another part's: 1 % off, standard.
    """
    profile, table = load_part("throttle-body"), []
    for seed in benches:
        degrees = math.degrees(TRAVEL_RAD) * (1 + 0.01 * np.random.default_rng((seed, 41)).normal())
        profile.nominal["travel_deg"] = degrees
        found = {finding.key: finding for finding in diagnose(seen_by(run, seed), profile)}
        table.append([(found[key].value - true, found[key].u) for key, true in trues_of(truth).items()])
    return table


def hold_and_are_not_wide(table: list[list[tuple[float, float]]], least: int, widest: float) -> None:
    """Each finding's 2 u holds the truth at least so often, and its median is so many rms errors at most."""
    off, u = np.moveaxis(np.array(table), 2, 0)
    keys = list(trues_of(Truth()))
    inside = dict(zip(keys, (np.abs(off) <= 2 * u).sum(axis=0).tolist(), strict=True))
    assert min(inside.values()) >= least, inside
    rms = np.sqrt(np.mean(off**2, axis=0))
    wide = dict(zip(keys, (np.median(2 * u, axis=0) / rms).tolist(), strict=True))
    assert max(wide.values()) < widest, wide


def test_stated_uncertainties_cover_the_errors_of_many_benches_and_are_not_much_wider() -> None:
    """k = 2 must hold the truth, else the guard bands mean nothing (JCGM 106): 95 of 100, so of 12 at least
    10 (binomial, 99.8 %); and a guard band many times as wide as the errors passes nothing. Widest is the
    inductance, which allows for eddy currents that this throttle has none of.
    """
    hold_and_are_not_wide(errors(whole(Truth()), Truth(), range(BENCHES)), 10, 8)


def specimen(seed: int) -> Truth:
    """Another throttle: spreads of an ordinary part's, brushes that drop up to 0.6 V."""
    rng, base = np.random.default_rng((seed, 42)), Truth()

    def about(value: float, spread: float) -> float:
        return float(value * (1 + spread * rng.uniform(-1, 1)))

    return Truth(
        ohm=about(base.ohm, 0.1), henry=about(base.henry, 0.1), k_si=about(base.k_si, 0.06),
        inertia=about(base.inertia, 0.2), viscous=about(base.viscous, 0.4), spring=about(base.spring, 0.2),
        preload=about(base.preload, 0.1), coulomb=about(base.coulomb, 0.25),
        drop_v=float(rng.uniform(0, 0.6)),
    )  # fmt: skip


@pytest.mark.slow
def test_stated_uncertainties_cover_the_errors_of_many_throttles() -> None:
    """The same over specimens, each on benches of its own: of 32 at least 26 (binomial, 99.8 % for 95 of
    100)."""
    table = []
    for seed in range(SPECIMENS):
        benches = range(100 + BENCHES_EACH * seed, 100 + BENCHES_EACH * (seed + 1))
        table += errors(whole(specimen(seed), seed), specimen(seed), benches)
    hold_and_are_not_wide(table, 26, 6)


def test_repeats_with_other_noise_agree_within_their_uncertainty() -> None:
    values = [findings(Truth(), seed=seed)["friction"] for seed in (2, 3)]
    assert np.ptp([finding.value for finding in values]) <= 2 * max(finding.u for finding in values)
