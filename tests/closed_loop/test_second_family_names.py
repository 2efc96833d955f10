"""Names that parts of another build once got wrong; each specimen is one on which the old code was wrong."""

from __future__ import annotations

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.trials import Trial, conditions, examine


@pytest.mark.slow
def test_a_fan_that_takes_all_current_for_weak_magnets_is_not_called_blocked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its run ends before any release. The slope of the holds at standstill, 0.3 to 1.2 A with brushes whose
    drop still comes up there, was carried on to 25 A, where it left no back-EMF."""
    monkeypatch.setenv("STROKEBENCH_FAST", "0")  # one trial is not worth compiling
    spec = conditions("cooling-fan", 448, ("weak_magnet=0.4",), SimSpec(family="second", as_built=True))
    found = examine(Trial("weak_magnet", "severe", spec, 0.4))
    assert found["named"] == ["weak_magnet"]


@pytest.mark.slow
@pytest.mark.parametrize("part", ["water-pump", "cooling-fan"])
def test_weak_magnets_on_a_charger_are_seen(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The charger's ripple, taller in the current than that of the commutator, was read as the turn:
    the pump's constant was a third too high, and the fan's leads seemed bad as well."""
    monkeypatch.setenv("STROKEBENCH_FAST", "0")
    spec = conditions(part, 803, ("weak_magnet=0.4",), SimSpec(family="second"))
    found = examine(Trial("weak_magnet", "severe", spec, 0.4))
    assert found["named"] == ["weak_magnet"]
    value, _, true = found["found"]["motor_constant"]
    assert value == pytest.approx(true, rel=0.02)


@pytest.mark.slow
def test_speeds_that_differ_by_less_than_the_uncertainty_of_the_volts_do_not_contradict(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its run ends before any release, and what resistance leaves of the volts is good to a half: three right
    speeds were thrown away, and nothing failed."""
    monkeypatch.setenv("STROKEBENCH_FAST", "0")
    defects = ("weak_magnet=0.4", "obstructed=0.8")
    spec = conditions("cooling-fan", 3705, defects, SimSpec(family="second"))
    found = examine(Trial("weak_magnet+obstructed", "severe", spec))
    assert found["named"] == ["weak_magnet", "obstructed"]
