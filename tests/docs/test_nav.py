"""Every page of the manual is in the navigation, once, and the site loads nothing from elsewhere."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
CONFIG = (ROOT / "mkdocs.yml").read_text(encoding="utf-8")
NAV = re.findall(r"[\w/-]+\.md$", CONFIG[CONFIG.index("\nnav:") :], re.MULTILINE)


def test_every_page_is_in_the_navigation_once() -> None:
    pages = sorted(page.relative_to(DOCS).as_posix() for page in DOCS.rglob("*.md"))
    assert sorted(NAV) == pages
    assert [page for page, times in Counter(NAV).items() if times > 1] == []


def test_every_tab_is_there() -> None:
    tabs = re.findall(r"^  - ([\w-]+):", CONFIG[CONFIG.index("\nnav:") :], re.MULTILINE)
    assert tabs == [
        "Home", "Safety", "Tutorial", "How-to", "Lessons", "Explanation", "Reference", "Evidence"
    ]  # fmt: skip


def test_nothing_comes_from_a_network_of_others() -> None:
    assert re.search(r"^  font: false", CONFIG, re.MULTILINE)
    assert not re.search(r"https?://", CONFIG)
    for page in DOCS.rglob("*.md"):
        text = page.read_text(encoding="utf-8")
        assert not re.search(r"!\[[^]]*\]\(https?:|src=\"https?:", text), page
