"""A drawn fleet: its spreads are found, its strange benches named, limits from it hold on other parts."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.errors import DataError
from strokebench.lake.limits import bench_u, fleet_limits, sums_of_fleet
from strokebench.lake.place import open_place
from strokebench.lake.readings import Good, good_readings
from strokebench.lake.spreads import Spreads, by_model, by_moments, tallies
from strokebench.parts import load_part
from strokebench.verdict.learning.limits import FAMILY
from tools.evidence.fleet.made import Fleet, Kind, columns_of, kinds_of, put_fleet
from tools.evidence.fleet.tried import false_alarms

pytestmark = pytest.mark.extras
BASE = load_part("solenoid")
FLEET = Fleet(benches=30, parts=12, repeats=2, seed=5, shops=3)
SMALL = Fleet(benches=12, parts=4, repeats=2, seed=5, shops=3)
STRANGE = Fleet(benches=12, parts=12, repeats=1, seed=5, shops=3, drifts={3: 0.3}, apart={8: 0.2})


@pytest.fixture(scope="module")
def kinds(shop: Path) -> dict[str, Kind]:
    with Book(shop, read_only=True) as book:
        return kinds_of(BASE, book.findings(1))


@pytest.fixture(scope="module")
def good(kinds: dict[str, Kind]) -> Good:
    return Good(columns_of(kinds, FLEET), ["shop"], True, 720)


def test_a_fleet_goes_through_a_lake_as_it_is(kinds: dict[str, Kind]) -> None:
    lake, small = open_place("memory://fleet/good", there=False), Fleet(benches=4, parts=3, repeats=2, seed=2)
    assert put_fleet(lake, BASE, kinds, small) == 24
    there, straight = good_readings(lake, "solenoid", BASE), columns_of(kinds, small)
    assert there.runs == 24 and there.simulated and there.left == []
    for key, column in there.columns.items():
        ours, theirs = by_moments(tallies(column)), by_moments(tallies(straight[key]))
        if column.scale.kind != "zero":
            assert list(vars(ours).values()) == pytest.approx(
                list(vars(theirs).values()), rel=1e-6, abs=1e-9
            ), key


def quick(good: Good) -> dict[str, Spreads]:
    return {key: by_moments(tallies(each)) for key, each in good.columns.items()}


def test_bench_part_and_repeat_are_told_apart(good: Good, kinds: dict[str, Kind]) -> None:
    """Within four standard errors of a standard deviation, each about 1 / sqrt(2 n) of it: 24 of them."""
    for key, found in quick(good).items():
        kind = kinds[key]
        if kind.scale.kind == "zero":
            continue
        assert (found.benches, found.parts, found.runs) == (30, 360, 720)
        assert found.part == pytest.approx(kind.part, rel=4 / np.sqrt(2 * 330)), key
        assert found.repeat == pytest.approx(kind.u / 3, rel=4 / np.sqrt(2 * 360)), key
        alone = np.sqrt((kind.part**2 + (kind.u / 3) ** 2 / 2) / 12)
        assert abs(np.hypot(found.bench, alone) / np.hypot(kind.bench, alone) - 1) < 4 / np.sqrt(2 * 29), key


def test_the_mixed_model_and_the_moments_agree(kinds: dict[str, Kind]) -> None:
    pytest.importorskip("statsmodels")
    column = columns_of(kinds, Fleet(benches=15, parts=8, repeats=2, seed=6))["winding_resistance"]
    model, moments = by_model(column), by_moments(tallies(column))
    for name in ("bench", "part", "repeat", "mean"):
        assert getattr(model, name) == pytest.approx(getattr(moments, name), rel=2e-3), name


def test_limits_fail_hardly_any_good_part_on_an_unknown_bench(good: Good, kinds: dict[str, Kind]) -> None:
    """20 000 other parts on 1000 other benches; all limits together may fail one in a hundred."""
    found = fleet_limits(quick(good), BASE, good.shops, good.runs)
    others = Fleet(benches=1000, parts=20, repeats=1, seed=77)
    share = false_alarms(found.learnt, kinds, others)
    assert share <= FAMILY
    assert len(found.learnt.limits) > 5 and found.learnt.fleet is not None
    assert (found.learnt.fleet.benches, found.learnt.fleet.parts) == (30, 360)


def test_what_a_bench_adds_widens_the_limits() -> None:
    alone = Spreads(3.0, 0.0, 0.02, 0.003, 30, 360, 720, 0.003)
    worse = Spreads(3.0, 0.03, 0.02, 0.003, 30, 360, 720, 0.003)
    assert sums_of_fleet(alone).bench2 == 0 and sums_of_fleet(worse).bench2 > 0.02**2
    assert bench_u(worse) > 0.02 > bench_u(alone)


def test_strange_benches_stop_it_by_name(
    kinds: dict[str, Kind], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lake = open_place(str(tmp_path / "lake"), there=False)
    put_fleet(lake, BASE, kinds, STRANGE)
    command = ["lake", "limits", lake.url, "--part", "solenoid", "--quick"]
    assert main(command) == 7
    said = capsys.readouterr().err.replace("\n", " ")
    assert "bench3 drifts" in said and "bench8 is apart" in said and said.count("; bench") == 1
    assert not (tmp_path / "new.toml").exists()
    out = ["--without", "bench3,bench8", "-o", str(tmp_path / "new.toml"), "--json"]
    assert main([*command, *out]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["remarks"] == ["Left out: 24 runs of benches left out."]
    profile = load_part(tmp_path / "new.toml")
    assert profile.learnt is not None and profile.learnt.fleet is not None
    assert profile.learnt.fleet.benches == 10
    assert profile.findings["winding_resistance"].learnt is not None
    with pytest.raises(DataError, match="does not list its parts"):
        from strokebench.verdict.learning.merging import merge

        merge(profile, profile)


def test_workshops_that_exchange_summaries_get_the_same_limits(
    kinds: dict[str, Kind], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Counts, means and variances are enough for the moments: the limits are equal."""
    files = []
    whole = open_place(str(tmp_path / "all"), there=False)
    put_fleet(whole, BASE, kinds, SMALL)
    for shop in range(3):
        lake = open_place(str(tmp_path / f"shop{shop}"), there=False)
        put_fleet(lake, BASE, kinds, SMALL, shop)
        files.append(str(tmp_path / f"{shop}.json"))
        assert main(["lake", "summary", lake.url, "--part", "solenoid", "-o", files[-1]]) == 0
        assert "No sketches" in capsys.readouterr().out
    assert main(["lake", "together", *files, "--part", "solenoid", "--json"]) == 0
    together = json.loads(capsys.readouterr().out)
    assert main(["lake", "limits", whole.url, "--part", "solenoid", "--quick", "--json"]) == 0
    pooled = json.loads(capsys.readouterr().out)
    assert len(together["limits"]) == len(pooled["limits"]) > 5
    for ours, theirs in zip(together["limits"], pooled["limits"], strict=True):
        for side in ("lower", "upper"):
            assert ours[side] == (None if theirs[side] is None else pytest.approx(theirs[side], rel=1e-9))
    assert main(["lake", "together", files[0], files[0], "--part", "solenoid"]) == 7
    Path(files[1]).write_text("{}", encoding="utf-8")
    assert main(["lake", "together", *files, "--part", "solenoid"]) == 7
    assert "no summary" in capsys.readouterr().err
