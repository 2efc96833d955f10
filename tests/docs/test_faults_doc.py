"""The page of fault codes is the table, no more and no less."""

from pathlib import Path

from strokefw import faults
from tools.pages import faults as faults_doc

PAGE = Path(__file__).resolve().parents[2] / "docs" / "faults.md"


def test_committed_page_is_the_generated_one():
    how = "run: python -m tools.pages.faults"
    assert PAGE.read_text("utf-8") == faults_doc.page(), how


def test_every_code_has_one_row_with_its_sentence():
    lines = faults_doc.page().splitlines()
    for code, key, _severity, latched, sentence, check in faults.TABLE:
        rows = [line for line in lines if line.startswith(f"| {code} | `{key}` |")]
        assert len(rows) == 1
        assert sentence in rows[0] and check in rows[0] and ("| yes |" in rows[0]) == bool(latched)


def test_every_tens_has_a_title_and_every_severity_a_meaning():
    assert {row[0] // 10 for row in faults.TABLE} == set(faults_doc.TENS)
    assert set(faults_doc.SEVERITY_MEANS) == set(faults.SEVERITY_NAMES)
