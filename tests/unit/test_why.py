"""Each step of the reasoning can be read: in the report's annex, in a terminal, as data."""

from __future__ import annotations

import io

from strokebench.data.findings import Finding
from strokebench.report.reasoning import Step, steps
from strokebench.terminal.console import console
from strokebench.terminal.reasoning import show_steps
from strokebench.verdict import judge
from strokebench.verdict.bench_fit import without_bench
from strokebench.verdict.why import reasoning

from tests.unit.test_hypotheses import pump


def judged(load_rise: float) -> list[Finding]:
    loop = Finding("loop_resistance", "Loop", 0.62, 0.01, "ohm", 0.38, 0.585, fault="lead_resistance")
    return judge([*pump(load_rise, 95.0), loop], kind="fuel_pump")


def by_title(found: list[Step]) -> dict[str, Step]:
    return {step.title: step for step in found}


def test_the_annex_names_what_was_seen_what_was_tried_and_what_follows() -> None:
    found = by_title(steps(judged(22.9), "fuel_pump"))
    seen = found["Findings out of their limits"]
    assert [row[0] for row in seen.rows] == ["Segment", "Load", "Loop"]
    tried = found["Which defects explain it"]
    assert "bad commutator segment" in tried.rows[0][0] and "clogged" in tried.rows[0][0]
    assert tried.rows[0][2].endswith("%")
    became = "\n".join(found["Conclusion for each"].lines)
    assert "Loop: follows from bad commutator segment or coil." in became
    assert "Load: shows outlet, filter or impeller clogged." in became


def test_the_reasoning_comes_to_the_same_from_stored_findings() -> None:
    """Judged findings are taken back to what was read, so nothing has to be measured or kept besides."""
    once = reasoning(judged(22.9), "fuel_pump")
    again = reasoning(judge(judged(22.9), kind="fuel_pump"), "fuel_pump")
    assert once is not None and again is not None
    assert once.ranked == again.ranked
    assert [each.title for each in once.pointed] == [each.title for each in again.pointed]


def test_a_finding_that_decides_says_for_what() -> None:
    found = reasoning(judged(22.9), "fuel_pump")
    assert found is not None
    segment = next(each for each in found.predictions if each.finding.key == "segment_passes")
    assert segment.against_good > 10 and abs(segment.leading[0] - 38) < abs(segment.good[0] - 38)


def test_a_defect_that_contradicts_a_failure_is_left_out_with_the_reason() -> None:
    """A pump that drags and is worn (a tuning trial): clogged would leave its low-speed loss over."""
    found = judge(
        [
            Finding("load_rise", "Load", 29.1, 1.1, "mN m", upper=18.0, fault="clogged"),
            Finding("low_speed_loss", "Slow", 32.2, 3.6, "%", upper=20.0, fault="worn"),
            Finding("load_torque", "Torque", 118.5, 1.8, "mN m", lower=58.0, fault="dry"),
            Finding("drag", "Drag", 67.0, 1.3, "mN m", upper=79.0, fault="dragging"),
        ],
        kind="fuel_pump",
    )
    tried = by_title(steps(found, "fuel_pump"))["Which defects explain it"]
    (line,) = [line for line in tried.lines if "left out" in line]
    assert line.startswith("Outlet, filter or impeller clogged, by itself, was left out")
    assert "it does not move the finding 'Slow'" in line
    assert "worn" in tried.rows[0][0] and "clogged" not in tried.rows[0][0]


def test_what_does_not_add_up_is_said() -> None:
    lines = by_title(steps(judged(22.9), "fuel_pump"))["How well each finding fits"].lines
    (line,) = [line for line in lines if "do not simply add up" in line]
    assert "Load" in line and "Brushes" not in line


def test_a_good_part_has_nothing_to_explain() -> None:
    fine = judge([Finding("drag", "Drag", 62.0, 1.0, "mN m", upper=79.0, fault="dragging")], kind="fuel_pump")
    assert [step.title for step in steps(fine, "fuel_pump")] == ["Nothing to explain"]


def test_an_unfit_bench_ends_the_reasoning() -> None:
    weak = Finding("source_resistance", "Source", 300, 5, "mohm", upper=100, fault="weak_battery")
    found = without_bench(judge([weak, *pump(22.9)], kind="fuel_pump"), "fuel_pump")
    assert [step.title for step in steps(found, "fuel_pump")] == ["The bench"]


def test_a_kind_that_no_table_knows_is_reasoned_by_word() -> None:
    found = judge([Finding("flow", "Flow", 0.0, 0.01, "A", lower=1.0, fault="open_winding")], kind="guided")
    titles = [step.title for step in steps(found, "guided")]
    assert titles[:2] == ["Findings out of their limits", "Which defects explain it"]


def test_what_a_weak_supply_hides_is_said_where_the_supply_is_the_job() -> None:
    weak = Finding("source_resistance", "Source", 300, 5, "mohm", upper=100, fault="weak_battery")
    slow = Finding("start_time", "Start", 900, 5, "ms", upper=250, fault="slow_start")
    found = by_title(steps(judge([weak, slow], kind="wiring"), "wiring"))
    assert list(found) == [
        "Findings out of their limits",
        "Findings explained by a rule, because no simulated part has such a defect",
        "Conclusion for each",
    ]
    assert "Start: follows from weak supply." in found["Conclusion for each"].lines


def test_the_terminal_shows_every_step() -> None:
    out = io.StringIO()
    found = steps(judged(22.9), "fuel_pump")
    show_steps("Run 1: FAIL", found, console(file=out, width=120))
    assert all(f"{number}. {step.title}" in out.getvalue() for number, step in enumerate(found, 1))
