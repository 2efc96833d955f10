"""Lesson texts: whole, answers hidden until asked, and the manual's pages are made of them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from strokebench.errors import UsageError
from strokebench.lessons import COUNT, MODULES, check_number, run, text
from strokebench.lessons.outcome import Number, Outcome

DOCS = Path(__file__).resolve().parents[2] / "docs" / "lessons"
ALL = range(1, COUNT + 1)
HEADINGS = ("What you learn", "Cautions", "Write down first", "Run", "Questions")


@pytest.mark.parametrize("number", ALL)
def test_each_has_its_sections_in_order_and_an_answer_to_each_question(number: int) -> None:
    raw = text.raw(number)
    places = [raw.index(f"\n## {heading}\n") for heading in HEADINGS]
    assert places == sorted(places) and raw.startswith(f"# Lesson {number}: ")
    questions = raw[places[-1] :]
    asked = len(re.findall(r"^\d\. ", questions, re.MULTILINE))
    assert asked >= 3 and asked == len(text.ANSWER.findall(raw)) == raw.count("<details")


@pytest.mark.parametrize("number", ALL)
def test_answers_are_hidden_until_asked(number: int) -> None:
    shown = text.without_answers(number)
    answers = text.ANSWER.findall(text.raw(number))
    assert not any(answer[:40] in shown for answer in answers)
    assert "{" not in shown and "details" not in shown


@pytest.mark.parametrize("number", ALL)
def test_page_of_the_manual_is_made_of_the_text(number: int) -> None:
    page = (DOCS / f"lesson-{number}.md").read_text("utf-8")
    outside = re.sub(r"\n{3,}", "\n\n", text.ANSWER.sub("", page)).partition("\n## What came out\n")[0]
    assert outside.rstrip() == text.without_answers(number).rstrip()
    said = text.ANSWER.findall(page)
    for written, shown in zip(text.ANSWER.findall(text.raw(number)), said, strict=True):
        pattern = re.sub(r"\\\{[^}]*\\\}", ".{1,12}", re.escape(written))
        assert re.fullmatch(pattern, shown, re.DOTALL), written
    assert (DOCS / f"lesson-{number}.svg").read_text("utf-8").count("<path") > 10


def test_index_lists_all() -> None:
    assert (DOCS / "index.md").read_text("utf-8") == text.index()
    assert len(MODULES) == COUNT == 8


def test_wrong_number_is_a_plain_error() -> None:
    for number in (0, 9, -1):
        with pytest.raises(UsageError, match="no lesson"):
            check_number(number)


def test_page_folds_answers_and_results_away() -> None:
    names = set(re.findall(r"\{(\w+)", text.raw(1)))
    outcome = Outcome("T", [Number(name, name, 1.25, "V") for name in names], lambda figure: None)
    page = text.page(1, outcome)
    assert "{" not in page and "1.25 V" in page and page.count("<details") == page.count("</details>") == 5
    assert "Answer: " in text.with_answers(1, outcome)


def test_plot_of_unknown_kind_is_refused(tmp_path: Path) -> None:
    outcome = Outcome("T", [], lambda figure: None)
    with pytest.raises(UsageError, match="plot"):
        outcome.save(tmp_path / "a.bmp")
    outcome.save(tmp_path / "a.png")
    assert (tmp_path / "a.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.parametrize("number", (1, 2, 3, 4, 5, 7))
def test_results_in_the_manual_are_those_of_the_program(number: int) -> None:
    """Renew the pages with ``python -m strokebench.lessons.text docs/lessons`` when this fails."""
    page = (DOCS / f"lesson-{number}.md").read_text("utf-8")
    rows = re.findall(r"^\| (.+) \| (-?\d[\d.e+-]*)[^|]*\|$", page, re.MULTILINE)
    numbers = run(number).numbers
    assert [title for title, _ in rows] == [number.title for number in numbers]
    for (title, value), figure in zip(rows, numbers, strict=True):
        assert float(value) == pytest.approx(figure.value, rel=0.02, abs=0.002), title
