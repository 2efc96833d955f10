"""Limits learnt from good parts: counted parts, sums that merge, floors, strangers, and refusals."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.data.findings import Finding, Verdict
from strokebench.errors import DataError
from strokebench.parts import load_part, profile_of
from strokebench.parts.profile import Profile
from strokebench.parts.toml import parse
from strokebench.parts.write import toml_text
from strokebench.verdict.decision import verdict_of
from strokebench.verdict.learning.here import limits_here
from strokebench.verdict.learning.learn import Learnt, LearntLimit, Specimen, learn
from strokebench.verdict.learning.merging import merge
from strokebench.verdict.learning.surroundings import Surroundings
from strokebench.verdict.learning.writing import head, laid_into, note

OHM = Finding("winding_resistance", "Winding resistance at 20 °C", 19.6, 0.05, "ohm")
LEAK = Finding("leak", "Leak", 1.0, 0.1, "mS")
STALL = Finding("stall_current", "Stall current", 0.63, 0.01, "A")
SUPPLY = Finding("supply_lowest", "Supply", 12.0, 0.1, "V")
WORKSHOP = Surroundings(12.6, 20.0)


def specimens(count: int, repeats: int = 1, seed: int = 3, shop: str = "S") -> list[Specimen]:
    values = np.random.default_rng(seed).normal(19.6, 0.3, count)
    profile = load_part("solenoid").model_dump(mode="json", exclude_none=True)
    return [
        Specimen(f"{shop}{n}", f"run {n * repeats + again + 1} of shop.book", "solenoid", "solenoid", profile,
                 readings(float(value)), WORKSHOP, f"2026-11-0{n % 9 + 1}", "E66", "0badcafe")
        for n, value in enumerate(values) for again in range(repeats)
    ]  # fmt: skip


def readings(ohm: float) -> list[Finding]:
    return [OHM.with_(value=ohm), LEAK.with_(value=0.0), STALL.with_(value=12.5 / ohm), SUPPLY]


def learned(given: list[Specimen], part: str = "solenoid") -> dict[str, LearntLimit]:
    return {limit.key: limit for limit in learn(given, load_part(part)).limits}


def written(learnt: Learnt, part: str = "solenoid") -> Profile:
    """The profile as it is after being written and read again."""
    base = load_part(part).model_dump(mode="json", exclude_none=True)
    return profile_of(parse(toml_text(laid_into(base, learnt, {}), head(learnt)), "x.toml"), "x.toml")


def test_three_parts_are_enough_and_limits_come_closer_with_more() -> None:
    few, more = learned(specimens(3))["winding_resistance"], learned(specimens(20))["winding_resistance"]
    assert few.lower is not None and few.upper is not None
    assert more.lower is not None and more.upper is not None
    assert 0.75 * 19.6 < few.lower < more.lower < 19.6 < more.upper < few.upper < 1.3 * 19.6
    assert few.more is not None
    assert few.more[0] <= 4, "the first parts are worth most"


def test_a_limit_says_how_many_more_parts_bring_it_a_tenth_closer_and_it_is_so() -> None:
    limit = learned(specimens(5))["winding_resistance"]
    assert limit.more is not None
    more, share = limit.more
    from strokebench.verdict.learning.limits import Spread, share_each

    each = share_each(4)
    freedom = limit.scale.freedom + 4
    reaches = [Spread(limit.spread, freedom + n, 5 + n).reach(each, limit.u) for n in (0, more - 1, more)]
    assert share == pytest.approx(1 - reaches[2] / reaches[0])
    assert share >= 0.1 > 1 - reaches[1] / reaches[0]


def test_sides_stay_as_the_profile_has_them_and_the_bench_is_not_learnt() -> None:
    lesson = learn(specimens(5), load_part("solenoid"))
    limits = {limit.key: limit for limit in lesson.limits}
    assert (limits["leak"].lower, limits["leak"].upper is None) == (None, False)
    assert (limits["stall_current"].upper, limits["stall_current"].lower is None) == (None, False)
    assert "belongs to bench and supply" in lesson.left["supply_lowest"]
    assert lesson.left["inductance"] == "known of 0 parts only, 3 are needed"


def test_repeats_of_a_part_count_once() -> None:
    few, more = (learned(specimens(5, again))["winding_resistance"].sums for again in (1, 3))
    assert more.parts == 5
    assert math.isclose(more.squares, few.squares, rel_tol=1e-9)


def test_readings_that_all_end_at_zero_have_a_floor() -> None:
    """Findings clipped at 0 had spread 0, and a limit of twice their uncertainty."""
    limit = learned(specimens(20))["leak"]
    assert limit.sums.squares == 0
    assert limit.upper is not None
    assert limit.upper >= limit.scale.floor > 4 * 0.1
    assert "no closer than" in note(limit, "mS")


def test_a_part_that_does_not_belong_is_named_even_among_three() -> None:
    for count in (3, 5, 12):
        given = specimens(count)
        assert not learn(given, load_part("solenoid")).strangers
        given[1].findings[0:1] = [OHM.with_(value=35.0)]  # type: ignore[index]
        found = learn(given, load_part("solenoid")).strangers
        assert [stranger.serial for stranger in found] == ["S1"], count
        assert found[0].value == pytest.approx(35.0)
        assert not learn(given, load_part("solenoid"), keep=["S1"]).strangers


def test_two_strangers_do_not_hide_each_other() -> None:
    given = specimens(9)
    for at in (2, 5):
        given[at].findings[0:1] = [OHM.with_(value=40.0)]  # type: ignore[index]
    found = learn(given, load_part("solenoid")).strangers
    assert {stranger.serial for stranger in found} == {"S2", "S5"}


def test_two_shops_profiles_merge_as_if_learnt_together() -> None:
    mine, other = specimens(4, seed=3, shop="A"), specimens(7, seed=4, shop="B")
    base = load_part("solenoid")
    apart = merge(written(learn(mine, base)), written(learn(other, base)))
    together = learn([*mine, *other], base)
    assert [part.serial for part in apart.parts] == [part.serial for part in together.parts]
    _same(apart, together)


def test_learning_on_is_as_learning_at_once() -> None:
    """Also of a finding that was known of too few parts at first."""
    given, base = specimens(9), load_part("solenoid")
    for at in (0, 1, 2, 5):
        given[at].findings[0:1] = [OHM.with_(value=float("nan"))]  # type: ignore[index]
    first = learn(given[:4], base)
    assert first.left["winding_resistance"] == "known of 1 parts only, 3 are needed"
    assert written(first).findings["winding_resistance"].lower == base.findings["winding_resistance"].lower
    _same(learn(given[4:], written(first)), learn(given, base))


def _same(first: Learnt, second: Learnt) -> None:
    assert [limit.key for limit in first.limits] == [limit.key for limit in second.limits]
    for mine, other in zip(first.limits, second.limits, strict=True):
        for a, b in ((mine.lower, other.lower), (mine.upper, other.upper)):
            assert (a is None) == (b is None)
            assert a is None or b is None or math.isclose(a, b, rel_tol=1e-9), mine.key


def test_a_part_counts_once_over_profiles_and_later_recordings() -> None:
    base = load_part("solenoid")
    before = written(learn(specimens(4), base))
    with pytest.raises(DataError, match=r"learnt from S0, S1, S2, S3 before"):
        learn(specimens(4), before)
    with pytest.raises(DataError, match=r"Both profiles count a part S0, S1, S2, S3") as caught:
        merge(before, before)
    assert "--keep S0,S1,S2,S3" in caught.value.hint
    assert len(merge(before, before, keep=["S0", "S1", "S2", "S3"]).parts) == 8


def test_what_does_not_belong_together_is_not_merged() -> None:
    learnt = written(learn(specimens(4), load_part("solenoid")))
    with pytest.raises(DataError, match="was not learnt from good parts"):
        merge(learnt, load_part("solenoid"))
    with pytest.raises(DataError, match="different kinds of part"):
        merge(learnt, load_part("wiring").model_copy(update={"learnt": learnt.learnt}))
    table = learnt.model_dump(mode="json", exclude_none=True)
    table["findings"]["leak"]["learnt"]["unit"] = 7.0
    with pytest.raises(DataError, match="another scale of leak"):
        merge(learnt, profile_of(table, "other"), keep=["S0", "S1", "S2", "S3"])


def test_the_profile_says_what_each_limit_rests_on() -> None:
    profile = written(learn(specimens(5, repeats=2), load_part("solenoid")))
    assert profile.learnt is not None
    first = profile.learnt.parts[0]
    assert (first.serial, first.runs) == ("S0", ["run 1 of shop.book", "run 2 of shop.book"])
    assert (first.measured, first.bench, first.calibration) == ("2026-11-01", "E66", "0badcafe")
    limit = profile.findings["winding_resistance"]
    assert limit.parts == 5
    assert "learnt from 5 good parts: middle 19." in limit.note
    assert "worth 8 parts" in limit.note
    assert limit.required, "what the part requires stays required"
    assert "at 12.6 V and 20 C" in profile.findings["stall_current"].note


def test_limits_move_to_the_supply_and_temperature_of_the_run() -> None:
    profile = written(learn(specimens(8), load_part("solenoid")))
    limit = profile.findings["stall_current"].lower
    assert limit is not None

    def judged(value: float, at: Surroundings) -> Verdict:
        finding = STALL.with_(value=value, lower=limit)
        return verdict_of(limits_here([finding], profile, at)[0]).verdict

    usual = 12.5 / 19.6
    assert judged(usual, WORKSHOP) is Verdict.PASS
    assert judged(usual * 11.0 / 12.6, Surroundings(11.0, 20.0)) is Verdict.PASS
    assert judged(usual * 11.0 / 12.6 * 254.5 / 279.5, Surroundings(11.0, 45.0)) is Verdict.PASS
    assert judged(usual * 11.0 / 12.6 * 254.5 / 279.5, WORKSHOP) is Verdict.FAIL, (
        "there it would be too little"
    )
    assert judged(usual, Surroundings(14.5, 0.0)) is Verdict.FAIL, "and here this is too little"
    moved = limits_here([STALL.with_(lower=limit)], profile, Surroundings(14.5, 0.0))[0]
    assert moved.evidence["limits_at"]["lower"] == limit


def test_refusals() -> None:
    base, good = load_part("solenoid"), specimens(4)
    with pytest.raises(DataError, match=r"2 different good parts, 3 are needed"):
        learn(specimens(2, repeats=2), base)
    with pytest.raises(DataError, match="0 different good parts"):
        learn([], base)
    nameless: dict[str, Any] = {"part": "solenoid", "kind": "solenoid", "profile": {}, "findings": [OHM]}
    with pytest.raises(DataError, match=r"serial number.*run 99 of x"):
        learn([*good, Specimen("", "run 99 of x", **nameless)], base)
    with pytest.raises(DataError, match="run 99 of x is of another kind of part"):
        learn([*good, Specimen("X", "run 99 of x", **{**nameless, "kind": "fuel_pump"})], base)
    with pytest.raises(DataError, match="followed another procedure"):
        learn([*good, Specimen("X", "run 99 of x", **{**nameless, "profile": {"procedure": {}}})], base)


def test_a_finding_unknown_in_too_many_parts_is_left() -> None:
    given = specimens(3)
    given[0].findings[0:1] = [OHM.with_(value=float("nan"))]  # type: ignore[index]
    lesson = learn(given, load_part("solenoid"))
    assert lesson.left["winding_resistance"] == "known of 2 parts only, 3 are needed"


@pytest.mark.parametrize("part", ["solenoid", "throttle-body", "wiring"])
def test_a_profile_survives_being_written(part: str, tmp_path: Path) -> None:
    table = load_part(part).model_dump(mode="json", exclude_none=True)
    text = toml_text(table, "made by\na test")
    assert text.startswith("# made by\n# a test\n")
    assert parse(text, "x.toml") == table
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")
    assert load_part(tmp_path / "x.toml") == load_part(part)
