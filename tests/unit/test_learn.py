"""Limits learned from good parts: counted parts, refusals, and a profile that `run` and `judge` take."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from strokebench.data.findings import Finding
from strokebench.errors import DataError, UsageError
from strokebench.parts import load_part
from strokebench.parts.toml import parse
from strokebench.parts.write import toml_text
from strokebench.verdict.learn import LearntLimit, Specimen, learn, note

OHM = Finding("winding_resistance", "Winding resistance at 20 C", 19.6, 0.05, "ohm")
LEAK = Finding("leak", "Leak", 1.0, 0.1, "mS")
SUPPLY = Finding("supply_lowest", "Supply", 12.0, 0.1, "V")


def specimens(count: int, repeats: int = 1) -> list[Specimen]:
    values = np.random.default_rng(3).normal(19.6, 0.3, count)
    profile = load_part("solenoid").model_dump(mode="json")
    return [
        Specimen(n * repeats + again + 1, f"S{n}", "solenoid", "solenoid", profile,
                 [OHM.with_(value=float(value)), LEAK.with_(value=float(value) / 20), SUPPLY])
        for n, value in enumerate(values) for again in range(repeats)
    ]  # fmt: skip


def learned(given: list[Specimen], fewest: int = 8) -> dict[str, LearntLimit]:
    return {limit.key: limit for limit in learn(given, load_part("solenoid"), fewest).limits}


def test_median_spread_and_sides() -> None:
    told = learned(specimens(12))
    ohm, leak = told["winding_resistance"], told["leak"]
    assert ohm.parts == 12
    assert ohm.centre == pytest.approx(19.6, abs=0.3)
    assert ohm.lower is not None
    assert ohm.upper is not None
    assert (ohm.upper - ohm.lower) / 2 > 1.96 * ohm.spread + 2 * 0.05
    assert (leak.lower, leak.upper is None) == (None, False), "one-sided stays one-sided"
    assert "supply_lowest" not in told
    assert "12 good parts" in note(ohm, "shop.book")


def test_repeats_of_one_part_count_once() -> None:
    few, more = learned(specimens(10)), learned(specimens(10, repeats=3))
    assert more["winding_resistance"].parts == 10
    assert more["winding_resistance"].runs == 30
    assert more["winding_resistance"].lower == few["winding_resistance"].lower


def test_one_bad_part_is_pointed_out_and_hardly_moves_the_limits() -> None:
    given = specimens(12)
    clean = learned(given)["winding_resistance"]
    given[4].findings[0:1] = [OHM.with_(value=35.0)]  # type: ignore[index]
    spoilt = learned(given)["winding_resistance"]
    assert spoilt.far_out == ("S4",)
    assert clean.far_out == ()
    assert spoilt.upper is not None
    assert spoilt.upper < 22.5


def test_refusals() -> None:
    base, good = load_part("solenoid"), specimens(8)
    with pytest.raises(DataError, match=r"7 different good parts in 14 runs, 8 are needed"):
        learn(specimens(7, repeats=2), base, 8)
    with pytest.raises(DataError, match="0 different good parts"):
        learn([], base, 8)
    with pytest.raises(UsageError, match="at least 5"):
        learn(good, base, 4)
    nameless = [*good, Specimen(99, "", "solenoid", "solenoid", good[0].profile, [OHM])]
    with pytest.raises(DataError, match=r"serial number.*99"):
        learn(nameless, base, 8)
    other = [*good, Specimen(99, "X", "fuel-pump", "fuel_pump", good[0].profile, [OHM])]
    with pytest.raises(DataError, match="Runs 1 and 99 are of different parts"):
        learn(other, base, 8)
    otherwise = [*good, Specimen(99, "X", "solenoid", "solenoid", {"procedure": {}}, [OHM])]
    with pytest.raises(DataError, match="different procedures"):
        learn(otherwise, base, 8)


def test_a_finding_unknown_in_too_many_parts_is_left() -> None:
    given = specimens(8)
    given[0].findings[0:1] = [OHM.with_(value=float("nan"))]  # type: ignore[index]
    lesson = learn(given, load_part("solenoid"), 8)
    assert lesson.left["winding_resistance"] == "known of 7 parts only, 8 are needed"


@pytest.mark.parametrize("part", ["solenoid", "throttle-body", "wiring"])
def test_a_profile_survives_being_written(part: str, tmp_path: Path) -> None:
    table = load_part(part).model_dump(mode="json", exclude_none=True)
    text = toml_text(table, "made by\na test")
    assert text.startswith("# made by\n# a test\n")
    assert parse(text, "x.toml") == table
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")
    assert load_part(tmp_path / "x.toml") == load_part(part)
