"""The teacher's pages are made of the lessons: sheets without answers, answers apart."""

from __future__ import annotations

from pathlib import Path

from strokebench.lessons import COUNT, text
from tools.pages import teacher

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "teacher"
HOW = "run: python -m tools.pages.teacher"


def test_committed_pages_are_the_generated_ones() -> None:
    assert (FOLDER / "sheets.md").read_text(encoding="utf-8") == teacher.sheets(), HOW
    assert (FOLDER / "answers.md").read_text(encoding="utf-8") == teacher.answers(), HOW


def test_sheets_hold_every_question_and_no_answer() -> None:
    sheets = teacher.sheets()
    for number in range(1, COUNT + 1):
        assert f"## {text.title(number)}" in sheets
        for answer in text.ANSWER.findall(text.raw(number)):
            assert answer[:40] not in sheets
    questions = sum(len(text.ANSWER.findall(text.raw(number))) for number in range(1, COUNT + 1))
    assert sheets.count(teacher.RULE * teacher.LINES) > questions


def test_answers_hold_every_answer_with_its_numbers() -> None:
    answers = teacher.answers()
    for number in range(1, COUNT + 1):
        page = (FOLDER.parent / "lessons" / f"lesson-{number}.md").read_text(encoding="utf-8")
        for answer in text.ANSWER.findall(page):
            assert " ".join(answer.split()) in answers
    assert "{" not in answers and "details" not in answers
