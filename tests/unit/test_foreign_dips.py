"""The dip of a plunger's pull-in in recordings from elsewhere: however short the part is on, and which of
two."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.data.findings import Finding
from strokebench.data.run import RunData
from strokebench.data.samples import empty
from strokebench.diagnose import diagnose
from strokebench.foreign.grid import at_tick_rate, fast_current
from strokebench.foreign.switched import mark_by_current
from strokebench.parts import load_part

RATE_HZ, OFF_S, RISE_S, FALL_S = 10_000.0, 0.05, 0.002, 0.012


def switched(on_s: float, dips: list[tuple[float, float]], noise_a: float = 0.002) -> RunData:
    """A coil of 1 A switched on at 0.05 s, with a dip of each (ms after switching, share); a freewheel
    diode."""
    time_s = np.arange(round((OFF_S + on_s + 0.1) * RATE_HZ)) / RATE_HZ
    since = time_s - OFF_S
    amps = np.where(since > 0, 1 - np.exp(-since / RISE_S), 0.0)
    for at_ms, share in dips:  # a corner down and back up, 3 ms before its bottom and 2 ms behind it
        amps *= 1 - share * np.interp(1e3 * since, [at_ms - 3, at_ms, at_ms + 2], [0, 1, 0])
    left = since > on_s
    amps[left] = amps[~left][-1] * np.exp(-(since[left] - on_s) / FALL_S)
    rows = empty(len(amps))
    rows["time_s"], rows["current_a"] = time_s, amps
    rows["current_a"] += np.random.default_rng(3).normal(0, noise_a, len(rows))
    info = {"engine": "import"}
    return mark_by_current(RunData(at_tick_rate(rows), bursts=fast_current(rows), info=info))


def found(run: RunData) -> dict[str, Finding]:
    return {finding.key: finding for finding in diagnose(run, load_part("solenoid"))}


@pytest.mark.parametrize("on_s", [0.03, 0.05, 0.1, 0.15, 0.19, 0.3, 1.0])
@pytest.mark.parametrize("share", [0.066, 0.3])
def test_a_dip_is_found_however_short_the_part_is_on(on_s: float, share: float) -> None:
    """The edge of switching off is a fall of 10 % and more: it hid a dip of less than that."""
    told = found(switched(on_s, [(14.0, share)]))
    assert told["pull_in_time"].value == pytest.approx(14.0, abs=0.5)
    assert told["pull_in_dip"].value == pytest.approx(100 * share, abs=2.5)


@pytest.mark.parametrize("on_s", [0.03, 0.1, 0.3])
def test_without_a_dip_the_plunger_did_not_move_however_short_the_part_is_on(on_s: float) -> None:
    told = found(switched(on_s, []))
    assert not told["pull_in_time"].known
    assert "showed no dip in 1 switch-ons" in told["pull_in_time"].reason


def test_two_dips_alike_are_both_named_and_neither_is_taken() -> None:
    told = found(switched(0.2, [(14.0, 0.2), (26.0, 0.19)]))
    for key in ("pull_in_time", "pull_in_dip", "pull_in_current"):
        assert not told[key].known
        assert "dips twice alike, at 14." in told[key].reason and " and 26." in told[key].reason


def test_a_small_dip_behind_the_pull_in_is_a_bounce_and_no_second_answer() -> None:
    told = found(switched(0.2, [(14.0, 0.3), (26.0, 0.1)]))
    assert told["pull_in_time"].value == pytest.approx(14.0, abs=0.5)
