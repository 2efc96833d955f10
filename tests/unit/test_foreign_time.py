"""Time of foreign recordings, and where a part was switched on and off in their current."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import Samples, empty
from strokebench.diagnose import labels
from strokebench.diagnose.turning.commutation import Motor
from strokebench.diagnose.turning.mains import without_mains
from strokebench.diagnose.turning.octaves import turn_rates
from strokebench.foreign.grid import at_tick_rate, fast_current
from strokebench.foreign.switched import mark_by_current, on_stretches


def rows_at(time_s: np.ndarray, current_a: np.ndarray) -> Samples:
    """Samples of a current alone."""
    rows = empty(len(time_s))
    rows["time_s"], rows["current_a"] = time_s, current_a
    return rows


@pytest.mark.parametrize("rate_hz", [1500, 1700, 2500, 10_000, 48_000, 500_000])
def test_faster_rows_become_means_over_a_millisecond(rate_hz: int) -> None:
    time_s = np.arange(rate_hz // 2) / rate_hz
    slow = at_tick_rate(rows_at(time_s, 3 + 7 * time_s))
    assert np.diff(slow["time_s"]) == pytest.approx(0.001)
    assert len(slow) in (499, 500)
    # a row that holds until the next one lags by half its period, which the time of the mean allows for
    assert slow["current_a"] == pytest.approx(3 + 7 * slow["time_s"], abs=7 * 0.5 / rate_hz)
    assert np.isnan(slow["drive"]).all()


def test_a_gap_stays_a_gap_at_any_rate() -> None:
    for rate_hz in (400, 1000, 20_000):
        time_s = np.arange(rate_hz) / rate_hz
        keep = (time_s < 0.4) | (time_s >= 0.45)
        slow = at_tick_rate(rows_at(time_s[keep], np.ones(int(keep.sum()))))
        steps_s = np.diff(slow["time_s"])
        assert steps_s.max() == pytest.approx(0.05, abs=1.5 / min(rate_hz, 1000))
        assert np.sort(steps_s)[-2] < 1.5 * max(0.001, 1 / rate_hz), "one gap only"
        assert slow["current_a"] == pytest.approx(1.0)


def test_uneven_time_is_put_on_a_grid() -> None:
    rng = np.random.default_rng(1)
    for rate_hz in (200, 1000):
        time_s = (np.arange(rate_hz) + rng.uniform(-0.3, 0.3, rate_hz)) / rate_hz
        even = at_tick_rate(rows_at(time_s, np.sin(2 * math.pi * 3 * time_s)))
        assert np.ptp(np.diff(even["time_s"])) < 1e-9
        assert even["current_a"] == pytest.approx(np.sin(2 * math.pi * 3 * even["time_s"]), abs=0.01)


def test_the_current_is_kept_as_captured_piece_by_piece() -> None:
    time_s = np.arange(20_000) / 20_000
    keep = (time_s < 0.25) | (time_s >= 0.3)
    pieces = fast_current(rows_at(time_s[keep], time_s[keep]))
    assert [len(part.values) for part in pieces] == [5000, 14_000]
    assert [part.start_s for part in pieces] == pytest.approx([0.0, 0.3])
    assert {round(part.rate_hz) for part in pieces} == {20_000}
    assert fast_current(rows_at(time_s[::20], time_s[::20])) == [], "no faster than the rows themselves"
    fast = np.arange(100_000) / 500_000
    (piece,) = fast_current(rows_at(fast, fast))
    assert piece.rate_hz == pytest.approx(50_000)
    assert piece.values[:2] == pytest.approx([9e-6, 29e-6])
    assert piece.start_s == pytest.approx(9e-6)


def pulses(zero_a: float, sign: float, noise_a: float) -> tuple[np.ndarray, np.ndarray]:
    """Two pulses of 2 A, 0.3..0.6 s and 0.8..1.4 s."""
    time_s = np.arange(2000) / 1000
    on = ((time_s >= 0.3) & (time_s < 0.6)) | ((time_s >= 0.8) & (time_s < 1.4))
    return time_s, zero_a + sign * 2.0 * on + np.random.default_rng(2).normal(0, noise_a, 2000)


@pytest.mark.parametrize("zero_a", [0.0, -0.4, 0.3])
@pytest.mark.parametrize("sign", [1, -1])
def test_on_and_off_whatever_zero_and_direction(zero_a: float, sign: float) -> None:
    run = RunData(rows_at(*pulses(zero_a, sign, 0.02)))
    marks = mark_by_current(run).marks
    assert [mark.label for mark in marks] == [
        labels.REST, labels.SWITCHED_ON, labels.SWITCHED_OFF, labels.SWITCHED_ON, labels.STEADY,
        labels.SWITCHED_OFF,
    ]  # fmt: skip
    on = [mark for mark in marks if mark.label == labels.SWITCHED_ON]
    assert [(mark.start_s, mark.end_s) for mark in on] == [pytest.approx((0.3, 0.6), abs=0.002),
                                                        pytest.approx((0.8, 1.4), abs=0.002)]  # fmt: skip
    assert {mark.kind for mark in on} == {labels.START}
    steady = next(mark for mark in marks if mark.label == labels.STEADY)
    assert 0.8 <= steady.start_s < 0.85
    assert 1.35 < steady.end_s <= 1.4
    accuracy = mark_by_current(run).accuracy["current_a"]
    assert accuracy["noise"] == pytest.approx(0.02, rel=0.2)


def test_what_has_no_beginning_is_running_and_what_has_no_change_is_nothing() -> None:
    assert on_stretches(np.full(500, 5.0), 0.001) == [(0, 500)]
    assert on_stretches(np.random.default_rng(3).normal(0, 0.05, 500), 0.001) == []
    run = RunData(rows_at(np.arange(500) / 1000, np.full(500, 5.0)))
    assert [mark.kind for mark in mark_by_current(run).labelled(labels.SWITCHED_ON)] == [labels.RUNNING]
    nothing = RunData(rows_at(np.arange(500) / 1000, np.full(500, np.nan)))
    assert mark_by_current(nothing).marks == []


def test_marks_of_a_procedure_stay_and_its_rest_counts() -> None:
    time_s, current_a = pulses(0.1, 1, 0.0)
    ours = Mark("rest", 0.0, 0.25, 0, "pause")
    marks = mark_by_current(RunData(rows_at(time_s, current_a), [ours])).marks
    assert marks[0] == ours
    assert sum(mark.label == "rest" for mark in marks) == 1


@pytest.mark.parametrize("guess", [0.62, 0.8, 1.0, 1.25, 1.6])
@pytest.mark.parametrize("orders", [{8: 0.05, 16: 0.02}, {2: 0.2, 4: 0.15, 6: 0.1, 8: 0.1, 10: 0.04}])
def test_the_turn_rate_whatever_the_guess(guess: float, orders: dict[int, float]) -> None:
    """A sound motor's ripple, and a bad segment's dips, made from sines: neither half nor double the rate."""
    motor, turn_hz, rate_hz = Motor(8, 2), 87.0, 20_000.0
    time_s = np.arange(20_000) / rate_hz
    values = 6 + sum(a * np.sin(2 * math.pi * n * turn_hz * time_s + n) for n, a in orders.items())
    values = values + np.random.default_rng(4).normal(0, 0.05, len(time_s))
    found = turn_rates(values, rate_hz, motor, [guess * turn_hz]).rates
    assert [rotor.hz for rotor in found] == [pytest.approx(turn_hz, rel=1e-3)]


SOUND = {8: 0.05, 16: 0.02}
BESIDE = {
    "slight unbalance": {1: 0.03, 3: 0.004, 5: 0.003},
    "brushes that differ by 2 %": {4: 0.001, 12: 0.0005},
    "both": {1: 0.03, 3: 0.004, 4: 0.001, 5: 0.003},
}


@pytest.mark.parametrize("guesses", [[79.0], [67.0], [95.0], [66.0, 79.0, 93.0]])
@pytest.mark.parametrize("beside", BESIDE.values(), ids=BESIDE)
def test_small_lines_of_a_good_pump_make_no_octave(beside: dict[int, float], guesses: list[float]) -> None:
    """A good pump at 4761 rpm with 4 mA of noise: it was read as four times, and as half of that."""
    time_s = np.arange(20_000) / 20_000.0
    lines = {**SOUND, **beside}
    values = 6 + sum(a * np.sin(2 * math.pi * n * 79.35 * time_s + n) for n, a in lines.items())
    values = values + np.random.default_rng(4).normal(0, 0.004, len(time_s))
    found = turn_rates(values, 20_000.0, Motor(8, 2), guesses).rates
    assert [60 * rate.hz for rate in found] == [pytest.approx(4761, rel=1e-3)]


@pytest.mark.parametrize("asymmetry", [0.006, 0.01, 0.02])
def test_brushes_that_differ_much_leave_two_speeds_unless_the_volts_part_them(asymmetry: float) -> None:
    """Then a ripple's half looks as a ripple with a tall harmonic does: no line of the two settles it."""
    time_s = np.arange(20_000) / 20_000.0
    lines = {8: 0.05, 16: 0.02, 4: asymmetry, 12: asymmetry / 2}
    values = 6 + sum(a * np.sin(2 * math.pi * n * 79.35 * time_s + n) for n, a in lines.items())
    values = values + np.random.default_rng(4).normal(0, 0.004, len(time_s))
    open_ = turn_rates(values, 20_000.0, Motor(8, 2), [60.0, 79.0]).rates
    assert [60 * rate.hz for rate in open_] == pytest.approx([2380.5, 4761], rel=1e-3)
    known = turn_rates(values, 20_000.0, Motor(8, 2), [79.35]).rates
    assert [60 * rate.hz for rate in known] == [pytest.approx(4761, rel=1e-3)]


def test_noise_has_no_turn_rate() -> None:
    values = np.random.default_rng(6).normal(6, 0.1, 20_000)
    assert turn_rates(values, 20_000.0, Motor(8, 2), [70.0, 90.0, 110.0]) == ([], [])


@pytest.mark.parametrize("mains_hz", [49.9, 60.1])
def test_a_chargers_ripple_is_no_turn(mains_hz: float) -> None:
    """A good pump at 7050 rpm whose battery hangs on a charger: it was read as 6004 rpm, the mains' own."""
    time_s = np.arange(18_000) / 20_000.0
    lines = {8: 0.19, 16: 0.03, 24: 0.009}
    values = 6 + sum(a * np.sin(2 * math.pi * n * 117.5 * time_s + n) for n, a in lines.items())
    values = values + sum(
        a * np.sin(2 * math.pi * n * 2 * mains_hz * time_s + n) for n, a in {1: 0.28, 2: 0.1}.items()
    )
    values = values + np.random.default_rng(4).normal(0, 0.01, len(time_s))
    clean = without_mains(values, 20_000.0)
    found = turn_rates(clean, 20_000.0, Motor(8, 2), [112.7]).rates
    assert [60 * rate.hz for rate in found] == [pytest.approx(7050, rel=1e-3)]
    assert np.std(clean - clean.mean()) < 0.6 * np.std(values - values.mean())
