"""Defects to inject: the grammar, the catalogue, the errors a user meets."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strokebench.bench.spec import SimSpec
from strokebench.errors import UsageError
from strokebench.sim.faults import Fault, parse, parse_all
from strokebench.sim.plants import PARTS, available, make_plant

PART = "throttle-body"
KNOWN = available(PART)


@pytest.mark.parametrize(
    "text, fault",
    [
        ("binding=0.6@0.45", Fault("binding", 0.6, 0.45)),
        ("binding:severe", Fault("binding", 1.5, 0.45)),
        ("binding:severe@0.2", Fault("binding", 1.5, 0.2)),
        ("BINDING", Fault("binding", 0.6, 0.45)),
        ("weak-spring=0.5", Fault("weak_spring", 0.5, 0.0)),
        ("track_dead@b", Fault("track_dead", 1.0, "b")),
    ],
)
def test_parse(text: str, fault: Fault) -> None:
    assert parse(text, PART, KNOWN) == fault


@pytest.mark.parametrize(
    "text, says",
    [
        ("bindng", "no fault called 'bindng'"),
        ("binding=", "empty size"),
        ("binding=-1", "above 0"),
        ("binding=nan", "above 0"),
        ("binding:huge", "not understood"),
        ("binding:severe=2", "not understood"),
        ("binding@1.2", "not between 0 and 1"),
        ("binding@mid", "not between 0 and 1"),
        ("weak_spring@0.4", "no place"),
        ("weak_spring=1.5", "at most 1"),
        ("track_dead@c", "cannot be at 'c'"),
        ("", "no fault called ''"),
    ],
)
def test_bad_faults_say_what_is_wrong(text: str, says: str) -> None:
    with pytest.raises(UsageError, match="(?s)" + says) as caught:
        parse(text, PART, KNOWN)
    assert caught.value.exit_code == 2
    assert caught.value.hint


def test_unknown_fault_lists_the_known() -> None:
    with pytest.raises(UsageError) as caught:
        parse("gremlin", PART, KNOWN)
    assert all(kind.name in caught.value.hint for kind in KNOWN)


def test_unknown_part_lists_the_known() -> None:
    with pytest.raises(UsageError) as caught:
        make_plant(SimSpec(part="warp-core"))
    assert PART in caught.value.hint


def test_same_fault_twice_at_one_place_is_refused() -> None:
    assert len(parse_all(["binding@0.2", "binding@0.7"], PART, KNOWN)) == 2
    with pytest.raises(UsageError, match="twice"):
        parse_all(["binding@0.2", "binding=2@0.2"], PART, KNOWN)


@given(st.text(max_size=30))
def test_no_text_gives_another_kind_of_error(text: str) -> None:
    try:
        fault = parse(text, PART, KNOWN)
    except UsageError:
        return
    assert fault.name in {kind.name for kind in KNOWN}


@pytest.mark.parametrize("part", sorted(PARTS))
def test_every_fault_changes_the_plant(part: str) -> None:
    """Each defect, at both its sizes, must show in what the bench can measure within a rough stroke."""
    good = rough_stroke(SimSpec(part=part, seed=4))
    for kind in available(part):
        for word in ("moderate", "severe"):
            assert rough_stroke(SimSpec(part=part, seed=4, faults=(f"{kind.name}:{word}",))) != good, (
                kind.name
            )


def rough_stroke(spec: SimSpec) -> list[float]:
    """Charge the bus, go one way, the other way, let go; every 20th reading."""
    plant = make_plant(spec)
    seen: list[float] = []
    for n in range(1500):
        drive = -0.5 if 300 < n < 600 else 0.9 * min(n - 600, 400) / 400 if 600 < n < 1200 else 0.0
        plant.advance(drive, 300 < n < 1200, 1 if n < 300 else 2)
        if n % 20 == 0:
            seen += [plant.current_a, plant.bus_v, plant.sensor_a_v, plant.sensor_b_v, plant.leg_a_v]
    return seen


@pytest.mark.parametrize("part", sorted(PARTS))
def test_same_seed_same_plant_other_seed_another(part: str) -> None:
    assert rough_stroke(SimSpec(part=part, seed=7)) == rough_stroke(SimSpec(part=part, seed=7))
    if part != "throttle-loh2013":
        assert rough_stroke(SimSpec(part=part, seed=7)) != rough_stroke(SimSpec(part=part, seed=8))


@pytest.mark.parametrize(
    "field, value", [("seed", -1), ("supply_v", float("nan")), ("ambient_c", 500.0), ("lead_ohm", -0.1)]
)
def test_impossible_conditions_are_refused(field: str, value: float) -> None:
    with pytest.raises(UsageError, match=field):
        SimSpec(**{field: value})  # type: ignore[arg-type]
