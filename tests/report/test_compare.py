"""Comparing two recordings: what counts as a difference, shared errors of a bench, page and command."""

from __future__ import annotations

import dataclasses
import json
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.commands.results.compare import split
from strokebench.data.findings import Verdict
from strokebench.errors import UsageError
from strokebench.parts import load_part
from strokebench.report.comparison import content, headline, line, render
from strokebench.report.pdf import print_page
from strokebench.report.pictures.beside_limits import scale
from strokebench.report.pictures.two_runs import Curves, most_different
from strokebench.report.workshop import Workshop
from strokebench.verdict.compare import (
    Difference,
    Side,
    aligned_s,
    compare,
    same_bench,
    side,
    with_shared_errors_out,
)

from tests.helpers.pages import CHROMIUM, largest_hole, printed
from tests.helpers.process import strokebench


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with shop.book: a solenoid, the same one again, the same with shorted turns."""
    folder = tmp_path_factory.mktemp("shop")
    base = ("run", "solenoid", "--sim", "--book", "shop.book", "--no-report", "--customer", "<b>Müller</b>")
    for extra in ((), (), ("--inject", "shorted_turns:severe")):
        assert strokebench(*base, *extra, cwd=folder).returncode in (0, 1)
    return folder


@cache
def load(shop: Path, run_id: int) -> Side:
    with Book(shop / "shop.book", read_only=True) as book:
        return side(book.load(run_id), load_part("solenoid"), str(run_id))


def test_beyond_means_two_sigma_of_the_difference() -> None:
    u = math.hypot(0.03, 0.04)
    assert Difference("k", "t", "A", 1.0, 1.101, u).real
    assert not Difference("k", "t", "A", 1.0, 1.099, u).real
    assert Difference("k", "t", "A", 1.2, 1.0, u).score == pytest.approx(-2.0)


def test_the_same_part_twice_differs_in_nothing(shop: Path) -> None:
    found = compare(load(shop, 1), load(shop, 2))
    assert len(found.differences) >= 8
    assert found.real == []
    assert "differs by more" in headline(found)


def test_shorted_turns_are_named(shop: Path) -> None:
    found = compare(load(shop, 1), load(shop, 3))
    real = {difference.key: difference for difference in found.real}
    assert {"winding_resistance", "inductance"} <= set(real)
    assert real["winding_resistance"].change < 0
    assert "supply_open" not in real


def test_errors_that_one_bench_shares_are_left_out(shop: Path) -> None:
    a, b = load(shop, 1), load(shop, 3)
    assert same_bench(a.run, b.run)
    together = {difference.key: difference.u for difference in compare(a, b).differences}
    identity = {**b.run.info["identity"], "uid": "another"}
    elsewhere = dataclasses.replace(
        b, run=dataclasses.replace(b.run, info={**b.run.info, "identity": identity})
    )
    apart = {difference.key: difference.u for difference in compare(a, elsewhere).differences}
    assert together["winding_resistance"] < 0.9 * apart["winding_resistance"]
    assert all(together[key] <= apart[key] * 1.0001 for key in apart)
    assert "Different benches" in compare(a, elsewhere).remarks[0]
    exact = with_shared_errors_out(a.run).accuracy["current_a"]
    own = a.run.accuracy["current_a"]
    assert exact["gain"] == pytest.approx(0.2 * own["gain"])
    assert exact["noise"] == own["noise"]


def test_a_file_without_identity_is_no_shared_bench(shop: Path) -> None:
    a = load(shop, 1)
    bare = dataclasses.replace(a.run, info={})
    assert not same_bench(bare, bare)


def test_different_kinds_are_refused(shop: Path) -> None:
    a = load(shop, 1)
    other = dataclasses.replace(a, profile=load_part("fuel-pump"))
    with pytest.raises(UsageError, match=r"'solenoid'.*'fuel_pump'"):
        compare(a, other)


def test_clocks_are_laid_over_each_other_segment_by_segment(shop: Path) -> None:
    a, b = load(shop, 1).run, load(shop, 2).run
    late = [
        dataclasses.replace(m, start_s=m.start_s + 1.0 * (n > 0), end_s=m.end_s + 1.0)
        for n, m in enumerate(b.marks)
    ]
    times = aligned_s(a, dataclasses.replace(b, marks=late))
    assert times is not None
    mark = late[5]
    inside = np.searchsorted(b.samples["time_s"], mark.start_s + 1e-6)
    assert times[inside] == pytest.approx(a.marks[5].start_s, abs=0.002)
    ended_early = aligned_s(a, dataclasses.replace(b, marks=b.marks[:6]))
    assert ended_early is not None
    last = np.searchsorted(b.samples["time_s"], b.marks[5].end_s + 1e-6)
    assert np.isfinite(ended_early[: last - 1]).all() and np.isnan(ended_early[last + 1 :]).all()
    other = [dataclasses.replace(b.marks[0], label="something else"), *b.marks[1:]]
    assert aligned_s(a, dataclasses.replace(b, marks=other)) is None


def test_the_page_is_whole_and_escaped(shop: Path) -> None:
    text = render(compare(load(shop, 1), load(shop, 3)), ("1", "<3>"))
    assert "&lt;b&gt;Müller" in text
    assert "<b>Müller" not in text
    assert "&lt;3&gt;" in text
    assert text.count("<svg") == 3, "limits, where they differ most, both whole"
    assert "Winding resistance" in text
    assert not any(word in text for word in ("<script", "src=", 'href="http', "url(http", "@import"))


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_no_printed_page_but_the_last_has_a_hole(shop: Path, tmp_path: Path, paper: str) -> None:
    """Figures cannot be broken: where one did not fit, up to 40 % of a page stayed empty."""
    page = tmp_path / "c.html"
    found = compare(load(shop, 1), load(shop, 3))
    page.write_text(render(found, ("1", "3"), Workshop(paper=paper)), encoding="utf-8")
    holes = [round(largest_hole(image), 2) for image in printed(print_page(page, "c"))]
    assert len(holes) >= 2 and max(holes[:-1]) <= 0.15, holes


@pytest.mark.parametrize(
    ("text", "meant"),
    [("3", ("s.book", 3)), ("a.book:12", ("a.book", 12)), ("C:\\x\\a.csv", ("C:\\x\\a.csv", None)),
     ("a.book", ("a.book", None)), (":3", (":3", None))],
)  # fmt: skip
def test_what_a_side_may_be(text: str, meant: tuple[str, int | None]) -> None:
    assert split(text, "s.book") == meant


def test_the_command(shop: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(shop)
    assert main(["compare", "1", "shop.book:3", "--book", "shop.book", "-o", "c.html"]) == 0
    shown = capsys.readouterr().out
    assert "by more than their uncertainty" in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert (shop / "c.html").stat().st_size > 10_000
    assert main(["compare", "1", "3", "--book", "shop.book", "--json", "--no-report"]) == 0
    told = json.loads(capsys.readouterr().out)
    real = {difference["key"] for difference in told["differences"] if difference["real"]}
    assert "winding_resistance" in real
    assert told["report"] is None
    assert main(["export", "--csv", "x.csv", "--book", "shop.book"]) == 0
    assert main(["judge", "x.csv"]) == main(["judge", "shop.book", "--run", "3"]), (
        "an export carries its part"
    )
    assert main(["compare", "x.csv", "3", "--book", "shop.book", "--no-report"]) == 0
    (shop / "x.about.json").unlink()
    capsys.readouterr()
    assert main(["compare", "x.csv", "3", "--book", "shop.book", "--no-report"]) == 2
    assert "--part" in capsys.readouterr().err
    command = ["compare", "x.csv", "3", "--book", "shop.book", "--part", "solenoid", "--no-report", "--json"]
    assert main(command) == 0
    told = json.loads(capsys.readouterr().out)
    assert not [difference["key"] for difference in told["differences"] if difference["real"]], (
        "a run and its own export"
    )
    assert main(["compare", "1", "2", "--book", "nowhere.book"]) == 2


def test_an_improvement_is_green_with_a_sign_and_a_failure_red() -> None:
    """Whatever changed was painted red, also the repaired value."""

    def changed(a: float, b: float, before: Verdict, after: Verdict) -> Difference:
        return Difference("friction", "Friction", "A", a, b, 0.01, None, 0.5, before, after)

    bad, good, unsure = Verdict.FAIL, Verdict.PASS, Verdict.INCONCLUSIVE
    shown = [
        line(changed(*each))
        for each in (
            (0.9, 0.3, bad, good), (0.9, 0.6, bad, bad), (0.6, 0.9, bad, bad), (0.3, 0.9, good, bad),
            (0.3, 0.4, good, good), (0.3, 0.301, good, good), (0.9, 0.5, bad, unsure),
            (0.49, 0.3, unsure, good),
        )
    ]  # fmt: skip
    assert [(row.word, row.state) for row in shown] == [
        ("✓ now passes", "pass"), ("✗ still fails", "fail"), ("✗ worse", "fail"), ("✗ now fails", "fail"),
        ("higher", "info"), ("no difference seen", "info"),
        ("? no longer fails", "inconclusive"), ("✓ now passes", "pass"),
    ]  # fmt: skip
    assert "0.5" in shown[0].limits


def test_reasons_are_gathered_and_speak_of_before_and_after(shop: Path) -> None:
    found = dataclasses.replace(
        compare(load(shop, 1), load(shop, 2)),
        unknown={
            "Friction": "A: it stood still",
            "Spring": "A: it stood still",
            "Noise": "B does not have it",
        },
        remarks=["Run B did not end as planned (fault)."],
    )
    said = content(found, ("before", "after"))
    assert said["unknown"] == {
        "before: it stood still": ["Friction", "Spring"], "after does not have it": ["Noise"],
    }  # fmt: skip
    assert said["remarks"] == ["Run after did not end as planned (fault)."]
    assert content(found)["remarks"] == found.remarks


def test_where_two_curves_differ_most_is_found_and_a_spike_is_not() -> None:
    time_s = np.arange(0, 10, 0.001)
    drive, current = np.zeros(len(time_s)), np.sin(time_s)
    other = current.copy()
    other[2000:2003] += 3.0  # a spike of three rows
    other[7000:7400] -= 0.8  # the dip that lasts
    same = Curves(time_s, [drive, current, current])
    first_s, last_s = most_different((same, Curves(time_s, [drive, other, current])))
    assert first_s < 7.0 < 7.4 < last_s and last_s - first_s < 1.0
    driven = drive.copy()
    driven[7000:7400] = 40.0  # there the two were driven differently: the next place is shown
    other[4000:4300] += 0.4
    first_s, last_s = most_different((same, Curves(time_s, [driven, other, current])))
    assert first_s < 4.0 < 4.3 < last_s < 6.0


@pytest.mark.parametrize(
    ("lower", "upper", "a", "b"),
    [(1.0, 2.0, 5.0, 1.5), (None, 3.5, 14.8, 0.1), (0.6, None, 0.2, 0.9), (None, 0.0, 1.0, -1.0),
     (5.0, 5.0, 4.0, 5.0)],
)  # fmt: skip
def test_limits_are_drawn_where_they_are(
    lower: float | None, upper: float | None, a: float, b: float
) -> None:
    """0 and 1 are the limits, and an allowed value lies between where there are two."""
    difference = Difference("k", "T", "A", a, b, 0.01, lower, upper, Verdict.FAIL, Verdict.PASS)
    zero, unit = scale(difference)
    assert unit > zero
    if lower is not None and upper is not None and upper > lower:
        assert (zero, unit) == (lower, upper)
    elif lower is None:
        assert unit == upper and zero <= b
    else:
        assert zero == lower and b <= unit
