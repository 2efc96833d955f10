"""Each page under Evidence begins with three sentences that say what it shows, as its maker writes them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CONFIG = (ROOT / "mkdocs.yml").read_text(encoding="utf-8")
PAGES = re.findall(r"[\w/-]+\.md$", CONFIG[CONFIG.index("\n  - Evidence:") :], re.MULTILINE)
MAKERS = {
    path: path.read_text(encoding="utf-8")
    for folder in ("host/tools", "hardware", "tests/bench", "tests/panel")
    for path in (ROOT / folder).rglob("*.py")
}
BY_HAND = {"spice.md"}


@pytest.mark.parametrize("page", PAGES)
def test_page_begins_with_three_sentences(page: str) -> None:
    title, head, *_ = (ROOT / "docs" / page).read_text(encoding="utf-8").split("\n\n")
    assert title.startswith("# ")
    assert len(re.findall(r"[.?](?:\s|$)", head)) == 3, head
    if page not in BY_HAND:
        assert any(f"{title}\n\n{head}\n" in text for text in MAKERS.values()), (
            f"no maker writes the head of {page}"
        )


def test_evidence_is_the_last_tab_with_all_its_pages() -> None:
    assert len(PAGES) == 14 and "fault-matrix.md" in PAGES and "accuracy.md" in PAGES
