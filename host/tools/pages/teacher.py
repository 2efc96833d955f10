"""Sheets to print and the teacher's answers, from the lessons: ``python -m tools.pages.teacher``."""

from __future__ import annotations

import re

from strokebench.lessons import COUNT, text

from tools import DOCS

SHEETS = """# Sheets to print

Made by `python -m tools.pages.teacher` from the lessons. A test compares the two. One sheet a lesson, without
answers. Print this page from the browser: each lesson begins on a new sheet. The [answers](answers.md) are on
another page.

"""
ANSWERS = """# Answers

Made by `python -m tools.pages.teacher` from the lessons. A test compares the two. **For the teacher.** The
numbers are those that the program finds. `strokebench lesson N --answers` shows them in a terminal.

"""
LINES = 3
NAME = "Name: ______________________  Date: ____________"
RULE = '<p class="line">&nbsp;</p>\n'
SECTION = r"^## {}\n(.*?)(?=^## |\Z)"


def section(page: str, heading: str) -> str:
    """Return what is below a heading of level 2, without blank lines around."""
    found = re.search(SECTION.format(re.escape(heading)), page, re.MULTILINE | re.DOTALL)
    assert found, heading
    return found[1].strip()


def with_lines(questions: str) -> str:
    """Return a numbered list with empty lines to write on below each item."""
    items = re.split(r"^(?=\d\. )", questions, flags=re.MULTILINE)
    below = {True: "\n" + RULE * LINES, False: ""}
    return "\n".join(f"{item.strip()}\n{below[item[:1].isdigit()]}" for item in items if item.strip())


def sheets() -> str:
    """Return the page of sheets."""
    parts = [SHEETS]
    for number in range(1, COUNT + 1):
        page = text.without_answers(number)
        parts.append(f'<div class="sheet" markdown="1">\n\n## {text.title(number)}\n\n{NAME}\n')
        for heading in ("Cautions", "Write down first", "Run", "Questions"):
            body = section(page, heading)
            asked = heading in ("Write down first", "Questions")
            parts.append(f"**{heading}**\n\n{with_lines(body) if asked else body}\n")
        parts.append("</div>\n")
    return "\n".join(parts)


def answers() -> str:
    """Return the page of answers: each question of a lesson with its answer."""
    parts = [ANSWERS]
    for number in range(1, COUNT + 1):
        page = (DOCS / "lessons" / f"lesson-{number}.md").read_text(encoding="utf-8")
        shown = text.ANSWER.sub(lambda found: f"> {' '.join(found[1].split())}", section(page, "Questions"))
        parts.append(f"## {text.title(number)}\n\n{shown}\n")
    return "\n".join(parts)


def main() -> None:
    """Write both pages."""
    for name, page in (("sheets", sheets()), ("answers", answers())):
        (DOCS / "teacher" / f"{name}.md").write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
