"""Every picture is shown somewhere, and those of the terminal say what the program says now."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from tools.pages.terminal_pictures import picture
from tools.pages.terminal_tour import tour

DOCS = Path(__file__).resolve().parents[2] / "docs"


def test_one_page_shows_all_of_panel_report_and_terminal() -> None:
    page = (DOCS / "screenshots.md").read_text(encoding="utf-8")
    pictures = [
        picture.name
        for kind in ("panel-*", "report-*", "terminal-*")
        for picture in (DOCS / "img").glob(kind)
    ]
    assert len(pictures) > 20
    assert [name for name in pictures if name not in page] == []


def test_no_picture_lies_about_unused() -> None:
    places = [DOCS.parent / "README.md", *DOCS.rglob("*.md"), DOCS.parent / "hardware" / "README.md"]
    texts = "\n".join(place.read_text(encoding="utf-8") for place in places if place.exists())
    unused = [picture.name for picture in (DOCS / "img").rglob("*.*") if picture.name not in texts]
    assert unused == []


@pytest.mark.parametrize(
    "name",
    [
        "terminal-run",
        "terminal-connect",
        "terminal-find",
        "terminal-watch",
        pytest.param("terminal-measure", marks=pytest.mark.slow),
        pytest.param("terminal-exercise", marks=pytest.mark.slow),
        pytest.param("terminal-first", marks=pytest.mark.long),
        pytest.param("terminal-binding", marks=pytest.mark.long),
        pytest.param("terminal-book", marks=pytest.mark.long),
    ],
)
def test_terminal_pictures_say_what_the_program_says(name: str) -> None:
    """Renew them with ``python -m tools.pages.terminal_pictures`` when this fails."""

    committed = (DOCS / "img" / f"{name}.svg").read_text(encoding="utf-8")
    says_the_same(picture(name), committed)


@pytest.mark.slow
def test_recording_on_the_readme_says_what_the_program_says() -> None:
    """Renew it with ``python -m tools.pages.terminal_tour`` when this fails."""
    committed = (DOCS / "img" / "terminal-tour.svg").read_text(encoding="utf-8")
    says_the_same(tour(), committed)
    assert len(committed) < 60_000
    whole_s = float(re.findall(r"animation-duration: ([\d.]+)s", committed)[0])
    assert 20 < whole_s <= 120


def says_the_same(fresh_svg: str, committed: str) -> None:
    """Hold a committed picture of a terminal to what the commands print now."""
    fresh, kept = words(fresh_svg), words(committed)
    number = re.compile(r"-?\d+(\.\d+)?")
    assert len(fresh) == len(kept) > 20
    for mine, theirs in zip(fresh, kept, strict=True):
        if number.fullmatch(mine) and number.fullmatch(theirs):
            assert float(mine) == pytest.approx(float(theirs), rel=0.05, abs=0.02)
        else:
            assert mine == theirs
    assert "url(http" not in committed and "@import" not in committed, "fetches something"


def words(svg: str) -> list[str]:
    """Return the words of a picture's lines, in order."""
    lines = re.findall(r"<text[^>]*>(.*?)</text>", svg)
    texts = [re.sub(r"<[^>]*>", "", line) for line in lines]
    return html.unescape(" ".join(texts)).replace("\xa0", " ").split()
