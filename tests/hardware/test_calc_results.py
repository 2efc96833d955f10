"""The generated page is current and complete."""

from pathlib import Path

from hardware.calc import results
from hardware.calc.rows import Row, markdown

PAGE = Path(results.__file__).with_name("RESULTS.md")


def test_committed_page_is_what_the_code_says():
    assert PAGE.read_text(encoding="utf-8") == results.page(), "run: python -m hardware.calc"


def test_every_row_has_formula_and_source():
    for title, module in results.SECTIONS:
        for row in module.rows():
            assert row.formula and row.source and row.unit, (title, row.name)


def test_markdown_row():
    text = markdown("T", [Row("name", 1.23456, "A", "f", "s")])
    assert "## T" in text
    assert "| name | 1.235 | A | f | s |" in text
