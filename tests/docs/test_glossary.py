"""Pages link to the glossary where they use its words, and each of its words is linked from somewhere."""

from __future__ import annotations

import re
from pathlib import Path

from tools.pages import glossary

DOCS = Path(__file__).resolve().parents[2] / "docs"
TEXT = (DOCS / glossary.GLOSSARY).read_text(encoding="utf-8")
ANCHORS = re.findall(r"^### .+ \{ #([\w-]+) \}$", TEXT, re.MULTILINE)
MUST = {"specimen", "drive", "slew", "burst", "back-emf", "diffusion-time", "u", "guard-band"}


def test_words_are_there_once_in_order() -> None:
    titles = re.findall(r"^### (.+) \{", TEXT, re.MULTILINE)
    assert set(ANCHORS) >= MUST and len(ANCHORS) == len(set(ANCHORS)) > 30
    assert titles == sorted(titles, key=lambda title: title.lower().replace("-", " "))
    assert set(glossary.WORDS) <= set(ANCHORS)


def test_each_page_links_the_words_that_it_uses() -> None:
    lacking = {
        page.name: sorted(glossary.missing(page.read_text(encoding="utf-8"))) for page in glossary.pages()
    }
    assert {name: words for name, words in lacking.items() if words} == {}, "python -m tools.pages.glossary"


def test_each_word_is_linked_from_a_page() -> None:
    others = [page for page in DOCS.rglob("*.md") if page != DOCS / glossary.GLOSSARY]
    texts = "".join(page.read_text(encoding="utf-8") for page in others)
    used = set(re.findall(r"glossary\.md#([\w-]+)\)", texts))
    assert [anchor for anchor in ANCHORS if anchor not in used] == []
    assert used <= set(ANCHORS)


def test_a_use_without_a_link_is_found_and_mended() -> None:
    text = "# A burst\n\n`burst` and the [bursts](x.md) aside, a burst is short.\n"
    assert glossary.missing(text) == {"burst": text.index("burst is")}
    mended = glossary.linked(text, DOCS / "how-to" / "a.md")
    assert "a [burst](../reference/glossary.md#burst) is" in mended and glossary.missing(mended) == {}
