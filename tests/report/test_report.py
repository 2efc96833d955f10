"""The report: complete, self-contained, escaped, the same for the same run."""

from __future__ import annotations

import html.parser
import re
from pathlib import Path

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Finding, Verdict, unknown
from strokebench.data.run import RunData
from strokebench.data.samples import empty
from strokebench.diagnose import case_of, diagnose, kinds
from strokebench.errors import BookError
from strokebench.parts import load_part
from strokebench.report import render, write_report
from strokebench.report.content import identity
from strokebench.report.gauge import gauge
from strokebench.report.numbers import fixed, limits_text, places, span_text, with_uncertainty
from strokebench.report.pictures.choice import BY_KIND
from strokebench.report.pictures.ink import BAD
from strokebench.report.pictures.moving import loops
from strokebench.report.pictures.solenoid import ramps
from strokebench.report.pictures.whole_run import whole_run
from strokebench.sim.trials import stroke
from strokebench.verdict import judge, overall

from tests.helpers.solved_throttle import Truth, record, stall_pieces, step_pieces, sweep_pieces

PROFILE = load_part("throttle-body")
NASTY = '<script>alert("x")</script> & Söhne'
VOID = {"meta", "link", "br", "img", "hr", "input"}


def test_every_kind_of_part_has_its_figures() -> None:
    assert set(BY_KIND) == set(kinds())


@pytest.fixture(scope="module")
def run() -> RunData:
    data = record(stall_pieces() + sweep_pieces() + step_pieces(), Truth(coulomb=0.34))
    data.info |= {"customer": NASTY, "note": NASTY, "part_serial": NASTY, "run_id": 3, "engine": "inprocess"}
    return data


@pytest.fixture(scope="module")
def findings(run: RunData) -> list[Finding]:
    return judge(diagnose(run, PROFILE))


@pytest.fixture(scope="module")
def page(run: RunData, findings: list[Finding]) -> str:
    return render(run, PROFILE, findings, overall(findings, PROFILE.required))


class Balance(html.parser.HTMLParser):
    """Collects text, attributes that load something, ids, and complains about tags that do not match."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text: list[str] = []
        self.loads: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in ("src", "href", "xlink:href", "data") and value and not value.startswith("#"):
                self.loads.append(value)
            if name == "id" and value:
                self.ids.append(value)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, f"</{tag}> closes nothing"

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.fixture(scope="module")
def parsed(page: str) -> Balance:
    parser = Balance()
    parser.feed(page)
    parser.close()
    return parser


def test_it_is_well_formed_and_loads_nothing(parsed: Balance, page: str) -> None:
    assert parsed.open == []
    assert parsed.loads == []
    assert "@import" not in page and "url(http" not in page and "<script" not in page


def test_what_people_typed_is_shown_as_text(parsed: Balance, page: str) -> None:
    assert page.count("&lt;script&gt;") >= 3
    assert NASTY in "".join(parsed.text)


def test_verdict_defect_and_every_finding_are_there(parsed: Balance, findings: list[Finding]) -> None:
    text = " ".join(" ".join(parsed.text).split())
    assert "FAIL" in text and "Sticky over the whole travel" in text
    for finding in findings:
        assert finding.title in text, finding.key
    assert "Simulated bench" in text
    for caution in PROFILE.part.every_caution:
        assert caution in text


def test_all_figures_are_there_with_axes_named(page: str) -> None:
    for title in ("Current against position", "The whole run", "Sensor tracks", "Resistance", "Supply"):
        assert f'aria-label="{title}"' in page
    for label in ("position, % of travel", "current, A", "time, s", "sensor, V"):
        assert label in page


def test_the_two_figures_never_share_an_id_that_is_referred_to(parsed: Balance, page: str) -> None:
    referred = set(re.findall(r'(?:url\(#|href="#)([^)"]+)', page))
    assert referred
    for name in referred:
        assert parsed.ids.count(name) == 1, name


def test_the_same_run_gives_the_same_page(run: RunData, findings: list[Finding], page: str) -> None:
    assert render(run, PROFILE, findings, overall(findings, PROFILE.required)) == page


def test_a_run_without_samples_still_has_a_report() -> None:
    data = RunData(empty(0))
    found = judge(diagnose(data, PROFILE))
    text = render(data, PROFILE, found, overall(found, PROFILE.required))
    assert "INCONCLUSIVE" in text and "<svg role" not in text


def test_writing_is_whole_or_not_at_all(run: RunData, findings: list[Finding], tmp_path: Path) -> None:
    path = write_report(run, PROFILE, findings, Verdict.FAIL, tmp_path / "r.html")
    assert path.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(BookError, match="cannot be written"):
        write_report(run, PROFILE, findings, Verdict.FAIL, tmp_path / "no" / "such" / "r.html")


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (1.49849, 0.0454, "1.498 \u00b1 0.045"), (12.6, 0.358, "12.60 \u00b1 0.36"),
        (212.1, 21.2, "212 \u00b1 21"), (-0.2, 0.17, "\u22120.20 \u00b1 0.17"), (0.0, 0.0, "0"),
        (2.5, 0.0, "2.50"), (float("nan"), 1, "\u2013"), (1234.5, 230.0, "1234 \u00b1 230"),
        (12.55, 0.0998, "12.55 \u00b1 0.10"),
    ],
)  # fmt: skip
def test_values_are_rounded_to_their_uncertainty(value: float, u: float, text: str) -> None:
    # Two digits of the uncertainty, the value to the same place: JCGM 100:2008, 7.2.6.
    assert with_uncertainty(value, u) == text


def test_small_texts() -> None:
    assert fixed(-0.001, 2) == "0.00"
    assert places(0.0) == 2 and places(1e-9) == 6
    assert limits_text(None, None) == "none"
    assert limits_text(-4.0, 4.0) == "\u22124 to 4"
    assert limits_text(None, 0.7) == "at most 0.7" and limits_text(1.0, None) == "at least 1"
    assert (
        span_text(None) == ""
        and span_text((1.0, 1.05)) == "1.00 s"
        and span_text((1.0, 3.0)) == "1.0\u20133.0 s"
    )


def test_gauge_puts_the_dot_inside_or_outside_the_zone() -> None:
    def parts(value: float) -> tuple[float, float, float]:
        text = gauge(Finding("x", "X", value, 0.1, "A", 1.0, 2.0, Verdict.PASS), 2)
        zone = re.search(r'<rect x="([\d.]+)" y="5" width="([\d.]+)"', text)
        dot = re.search(r'cx="([\d.]+)"', text)
        assert zone and dot
        return float(zone[1]), float(zone[1]) + float(zone[2]), float(dot[1])

    low, high, dot = parts(1.5)
    assert low < dot < high and dot == pytest.approx((low + high) / 2, abs=0.2)
    assert parts(0.5)[2] < low
    assert parts(99.0)[2] > high
    assert gauge(unknown("x", "X", "A", "why", lower=1.0), 2) == ""


@pytest.mark.parametrize(("span_s", "bars"), [((1.0, 1.5), 3), ((1.0, 9.0), 3), (None, 0)])
def test_where_a_failing_value_was_read_shows_on_the_whole_run(
    run: RunData, span_s: tuple[float, float] | None, bars: int
) -> None:
    """Short or long: one red patch on each of the three axes, and the caption speaks of it only then."""
    failing = {"x": Finding("x", "X", 1.0, 0.1, "A", 2.0, None, Verdict.FAIL, span_s=span_s)}
    picture = whole_run(case_of(run, PROFILE), failing)
    assert picture is not None
    assert len(re.findall(rf"<path[^>]*fill: {BAD}", picture.svg)) == bars
    assert ("Red:" in picture.caption) == (bars > 0)


def test_a_part_without_a_spring_is_told_of_no_spring() -> None:
    run, profile, _ = stroke(SimSpec("idle-actuator", 7))
    picture = loops(case_of(run, profile), {})
    assert picture is not None
    assert "Without a spring" in picture.caption and "is the spring" not in picture.caption


def test_out_of_limits_shows_as_red_dots_where_the_plunger_moves() -> None:
    run, profile, _ = stroke(SimSpec("solenoid", 7))
    case = case_of(run, profile)
    late = Finding("drop_out_current", "X", 0.01, 0.001, "A", 0.09, None, Verdict.FAIL)

    def red(failing: dict[str, Finding]) -> int:
        picture = ramps(case, failing)
        assert picture is not None
        return len(re.findall(rf"<use[^>]*fill: {BAD}", picture.svg))

    assert red({}) == 0
    assert red({"drop_out_current": late}) == 3, "one dot for each of three ramps"


@pytest.mark.parametrize(
    ("told", "shown"), [("2026-03-01T07:08:09.123+00:00", "2026-03-01 07:08:09 +0000"), ("in May", "in May")]
)
def test_the_start_is_told_to_the_second(told: str, shown: str) -> None:
    assert dict(identity(RunData(info={"started_at": told}), PROFILE))["Started"] == shown
