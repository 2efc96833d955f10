"""What the terminal shows: numbers to their uncertainty, a table that fits, verdicts as words."""

from __future__ import annotations

import io
import math

import pytest
from rich.console import Console
from strokebench.data.findings import Finding, Verdict, unknown
from strokebench.parts import load_part
from strokebench.terminal import display


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (1.49912, 0.0361, "1.499 ± 0.072"),
        (148.37, 0.55, "148.4 ± 1.1"),
        (12345.6, 170.0, "12346 ± 340"),
        (0.0, 0.0, "0.000 ± 0.000"),
        (2.5, math.nan, "2.500"),
        (math.nan, math.nan, "-"),
    ],
)
def test_values_are_shown_to_two_digits_of_their_uncertainty(value: float, u: float, text: str) -> None:
    """Two significant digits of the expanded uncertainty: JCGM 100:2008, 7.2.6."""
    assert display.value_text(Finding("k", "t", value, u, "V")) == text


@pytest.mark.parametrize(
    ("lower", "upper", "text"),
    [(1.25, 1.72, "1.25..1.72"), (None, 5, "<= 5"), (0.5, None, ">= 0.5"), (None, None, "")],
)
def test_limits(lower: float | None, upper: float | None, text: str) -> None:
    assert display.limits_text(Finding("k", "t", 1, 1, "V", lower, upper)) == text


def test_where() -> None:
    spot = Finding("k", "t", 1, 1, "V", place=45.2, span_s=(9.21, 9.34))
    assert display.where_text(spot) == "45 %, 9.2-9.3 s"
    assert display.where_text(spot, short=True) == "45 %, 9 s"
    assert display.where_text(Finding("k", "t", 1, 1, "V")) == ""


FINDINGS = [
    Finding("a", "Winding [resistance] at 20 C", 1.5, 0.03, "ohm", 1.0, 2.0, Verdict.PASS, span_s=(1.0, 2.0)),
    Finding("b", "Binding: largest excess at one place", 80, 2, "% of friction", None, 16, Verdict.FAIL,
            place=45, span_s=(9.0, 9.4), fault="binding"),
    unknown("c", "Inductance", "mH", "no burst was captured", lower=1.1),
    Finding("d", "Supply without load", 12.6, 0.1, "V"),
]  # fmt: skip


def shown(width: int) -> str:
    file = io.StringIO()
    display.show_result("Throttle body", FINDINGS, Verdict.FAIL, Console(file=file, width=width))
    return file.getvalue()


@pytest.mark.parametrize("width", [80, 120])
def test_the_result_fits_and_says_every_verdict_in_words(width: int) -> None:
    lines = shown(width).splitlines()
    assert max(map(len, lines)) <= width
    text = " ".join(shown(width).split())
    assert "Winding [resistance]" in text
    for words in ("1.500 ± 0.060 ohm 1..2 pass", "80.0 ± 4.0 % of friction <= 16 fail 45 %, 9"):
        assert words in text
    assert "Inductance: no burst was captured" in text
    assert lines[-1] == "FAIL Throttle body (binding)"


def test_the_end_of_a_run_is_what_fails_and_why() -> None:
    """Thirty passes came before the finding that failed."""
    file = io.StringIO()
    display.show_result("Throttle body", FINDINGS, Verdict.FAIL, Console(file=file, width=80), whole=False)
    lines = file.getvalue().splitlines()
    assert "Winding" not in file.getvalue() and lines[1].startswith("Binding")
    assert "4 findings: 1 fail, 1 inconclusive, 1 pass, 1 without limits (all: --all)" in lines
    assert lines[-2:] == ["Inductance: no burst was captured", "FAIL Throttle body (binding)"]


def test_a_reason_that_many_have_is_said_once() -> None:
    many = [unknown(f"k{n}", f"Quantity {n}", "A", "the bench did not drive the part") for n in range(5)]
    assert display.reasons(many) == ["5 findings: the bench did not drive the part"]
    assert display.reasons(many[:2]) == [
        "Quantity 0: the bench did not drive the part", "Quantity 1: the bench did not drive the part",
    ]  # fmt: skip


def test_a_verdict_is_told_by_its_own_word(capsys: pytest.CaptureFixture[str]) -> None:
    Console(width=120).print(display.findings_table(FINDINGS, 120))
    rows = capsys.readouterr().out.splitlines()[1:]
    verdicts = ["pass", "fail", "inconclusive", "info"]
    assert [finding.verdict.value for finding in FINDINGS] == verdicts
    assert [[word for word in verdicts if word in row.split()] for row in rows] == [
        [word] for word in verdicts
    ]


def test_position_in_percent_of_nominal_travel() -> None:
    profile = load_part("throttle-body")
    assert display.position_percent(profile, 0.5) == 0
    assert display.position_percent(profile, 4.5) == 100
    blind = profile.model_copy(update={"tracks": {}})
    assert math.isnan(display.position_percent(blind, 1.0))
