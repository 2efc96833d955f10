"""The instrument view in a real browser: zoom, cursors, a finding's stretch, segments, limits, pause."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from strokebench.book.book import Book
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Mark
from strokebench.data.samples import empty
from strokebench.parts import load_part

from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import reach_bench
from tests.panel.stage import PanelProcess

pytestmark = pytest.mark.slow

Stage = tuple[Witness, PanelProcess]
SPIKE_A = 12.0
SEEN = (4.0, 5.0)
MARKS = [
    Mark("rest", 0.0, 2.0, 0, "pause"),
    Mark("sweep", 2.0, 6.0, 1, "ramp"),
    Mark("rest", 6.0, 8.0, 2, "pause"),
]


def put_run(panel: PanelProcess, spike_s: float = 4.5) -> int:
    """Put a run of eight seconds with a spike of 20 ms and two findings into the book; return its number."""
    rows = empty(8000)
    rows["time_s"] = np.arange(8000) * 1e-3
    rows["current_a"], rows["supply_v"], rows["sensor_b_v"] = 1.0, 12.5, 2.5
    rows["drive"] = np.clip((rows["time_s"] - 2) / 8, 0, 0.5)
    rows["sensor_a_v"] = 0.5 + 8 * rows["drive"]
    at = round(1000 * spike_s)
    rows["current_a"][at : at + 20] = SPIKE_A
    profile = load_part("throttle-body").model_dump(mode="json", exclude_none=True)
    findings = [
        Finding("travel", "Travel", 99.0, 0.5, "%", 92, 108, Verdict.PASS, span_s=(2.0, 6.0)),
        Finding("stall_current", "Stall current", 0.5, 0.1, "A", 1.0, None, Verdict.FAIL, span_s=SEEN),
    ]
    with Book(panel.book) as book:
        with book.new_run("throttle-body", "throttle", customer="A shop", profile=profile) as writer:
            for start in range(0, 8000, 100):
                writer.samples(rows[start : start + 100])
            for mark in MARKS:
                writer.mark(mark)
            writer.finish("done")
        book.judged(writer.run_id, findings, "fail")
    return int(writer.run_id)


@pytest.fixture
def looking(context: Any, stage: Stage) -> Iterator[Any]:
    """A page that shows such a run."""
    page = context.new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.on("console", lambda said: said.type == "error" and page.errors.append(said.text))
    page.goto(f"{stage[1].url}/run/{put_run(stage[1])}")
    page.wait_for_selector("[data-drawn]")
    yield page
    assert page.errors == []
    page.close()


def _window(page: Any) -> tuple[float, float]:
    start, end = page.evaluate("() => [document.view.start, document.view.end]")
    return float(start), float(end)


def _numbers(page: Any, name: str) -> list[str]:
    page.wait_for_selector("[data-numbers] tbody tr")
    return list(page.locator("[data-numbers] tr", has_text=name).locator("td").all_inner_texts())


def _drawn(page: Any) -> int:
    return int(page.get_attribute("[data-strips]", "data-drawn"))


def _drawn_again(page: Any, before: int) -> None:
    page.wait_for_function(
        "(before) => Number(document.querySelector('[data-strips]').dataset.drawn) > before", arg=before
    )


def test_a_finding_shows_its_stretch_and_its_numbers(looking: Any) -> None:
    assert looking.locator(".findings tbody th").first.inner_text() == "Stall current", (
        "what fails comes first"
    )
    looking.click('.findings tr:has-text("Stall current") button')
    assert _numbers(looking, "Current, A") == ["1", "1", "0", "1", "12", "1.2198"]
    start, end = _window(looking)
    assert 3.5 < start < SEEN[0] and SEEN[1] < end < 5.5
    assert (looking.input_value("#c-a"), looking.input_value("#c-b")) == ("4.000", "5.000")


def test_segments_and_limits_are_drawn_and_a_segment_can_be_chosen(looking: Any) -> None:
    marks = looking.evaluate(
        """() => { const series = document.view.chart.getOption().series;
            const levels = series[1].markLine.data.map((mark) => mark.yAxis);
            return [series[0].markArea.data.map((pair) => pair[0].name), levels]; }"""
    )
    assert [name for name in marks[0] if name in ("rest", "sweep")] == ["rest", "sweep", "rest"]
    assert 14 in marks[1] and -14 in marks[1], "the current limit"
    looking.select_option("#f-segment", index=2)
    assert _numbers(looking, "Drive, %")[:2] == ["0", "50"]
    start, end = _window(looking)
    assert start < 2.0 and end > 6.0


def test_two_clicks_set_two_cursors(looking: Any) -> None:
    box = looking.locator("[data-strips]").bounding_box()
    for share in (0.3, 0.6):
        looking.mouse.click(box["x"] + share * box["width"], box["y"] + 0.1 * box["height"])
    looking.wait_for_function("() => document.querySelector('#c-b').value !== ''")
    first, second = (float(looking.input_value(f"#c-{name}")) for name in ("a", "b"))
    assert 1.0 < first < 3.0 < second < 6.0
    difference = _numbers(looking, "Drive, %")[2]
    assert float(difference) == pytest.approx(12.5 * (second - max(first, 2.0)), abs=0.2)


def test_the_wheel_zooms_a_drag_moves_and_a_dragged_stretch_is_measured(looking: Any) -> None:
    box = looking.locator("[data-strips]").bounding_box()
    across, up = box["x"] + box["width"] / 2, box["y"] + 0.1 * box["height"]
    looking.mouse.move(across, up)
    before = _drawn(looking)
    for _ in range(4):
        looking.mouse.wheel(0, -300)
    _drawn_again(looking, before)
    start, end = _window(looking)
    assert end - start < 7.0
    before = _drawn(looking)
    looking.mouse.down()
    looking.mouse.move(across + 100, up, steps=4)
    looking.mouse.up()
    _drawn_again(looking, before)
    moved, _ = _window(looking)
    assert moved < start
    looking.click('[data-view="whole"]')
    looking.click('[data-view="select"]')
    looking.mouse.move(box["x"] + 0.3 * box["width"], up)
    looking.mouse.down()
    looking.mouse.move(box["x"] + 0.7 * box["width"], up, steps=5)
    looking.mouse.up()
    assert float(_numbers(looking, "Current, A")[4]) == SPIKE_A
    assert float(looking.input_value("#c-a")) < 4.0 < 5.0 < float(looking.input_value("#c-b"))


def test_a_spike_of_twenty_milliseconds_is_in_the_drawn_curve_of_both_views(
    looking: Any, stage: Stage
) -> None:
    """Every n-th row made 5.5 A of 12 A."""
    highest = "() => Math.max(...document.view.chart.getOption().series[1].data.map((p) => p[1]))"
    assert looking.evaluate(highest) == SPIKE_A
    first, second = put_run(stage[1]), put_run(stage[1], 5.0)
    looking.goto(f"{stage[1].url}/compare?a={first}&b={second}")
    looking.wait_for_selector("[data-drawn]")
    apart = looking.evaluate(
        """() => document.view.chart.getOption().series.find((s) => s.name.includes('B \\u2212 A current'))
            .data.map((p) => p[1])"""
    )
    assert (max(apart), min(apart)) == (SPIKE_A - 1, 1 - SPIKE_A)
    assert looking.locator("#f-segment option").count() == 4


def test_a_paused_view_stays_while_the_bench_goes_on(page: Any) -> None:
    page.wait_for_function("() => document.view.follows && document.view.end > 2")
    page.click('[data-view="pause"]')
    before = _window(page)
    page.wait_for_function("(end) => document.view.extent[1] > end + 0.5", arg=before[1])
    assert _window(page) == before
    page.click('[data-view="pause"]')
    page.wait_for_function("(end) => document.view.end > end + 0.5", arg=before[1])
    page.click('[data-window="60"]')
    page.wait_for_function("() => Math.abs(document.view.end - document.view.start - 60) < 0.01")
    page.click('[data-window="10"]')


VALUE_AXES = """(onZero) => {
    const { view } = document;
    const { charts } = view.rolling;
    const options = { xAxis: { min: -6, max: 4 }, yAxis: { axisLine: { onZero } } };
    for (const chart of charts) chart.setOption(options);
    const shapes = charts.flatMap((chart) => chart.getZr().storage.getDisplayList());
    const boxes = shapes.filter((shape) => shape.anid === "line").map((line) => {
        const box = line.getBoundingRect().clone();
        if (line.transform) box.applyTransform(line.transform);
        return box;
    });
    return boxes.filter((box) => box.height > box.width).map((box) => box.x + box.width / 2);
}"""


def test_the_value_axes_stand_at_the_left_also_in_the_first_seconds(page: Any) -> None:
    """Before: in the middle of the strips, where the time axis has its zero, for the first ten seconds."""
    page.wait_for_function("() => document.view.follows")
    try:
        places = page.evaluate(VALUE_AXES, False)
        assert len(places) == 6 and max(places) - min(places) < 2 and min(places) < 70
        assert max(page.evaluate(VALUE_AXES, True)) > 200, "the check can fail"
    finally:
        page.reload()
        reach_bench(page)


TURNS = """() => {
    const charts = [...document.view.rolling.charts, document.view.chart];
    window.turns = [];
    window.turn = 0;
    const next = new MessageChannel();
    next.port1.onmessage = () => { window.turn += 1; next.port2.postMessage(0); };
    next.port2.postMessage(0);
    charts.forEach((chart, i) => {
        const set = chart.setOption.bind(chart);
        chart.setOption = (...all) => { window.turns.push([window.turn, i]); return set(...all); };
    });
}"""


def test_a_view_that_follows_draws_one_strip_in_a_turn_so_that_a_key_gets_in_between(page: Any) -> None:
    """Before: all strips in one piece, 0.1 s on a slow computer, and a STOP waited for it."""
    page.wait_for_function("() => document.view.follows")
    try:
        page.evaluate(TURNS)
        before = _drawn(page)
        _drawn_again(page, before + 2)
        turns = page.evaluate("() => window.turns")
        assert {chart for _, chart in turns} == set(range(6)), "the chart that rests is drawn as well"
        assert len({turn for turn, _ in turns}) == len(turns) >= 12
    finally:
        page.reload()
        reach_bench(page)
