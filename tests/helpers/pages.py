"""Looking at report pages: as PDF, and in a browser of a given width."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
INK = 200
"""What is darker than this (0 to 255) is printed."""
HEAD = 0.045
"""Share of a page's height that is its upper margin."""
FOOT = 0.945
"""Share of a page's height above the page number."""


def printed(path: Path) -> list[Any]:
    """Return the pages of a PDF as Pillow images of 0.8 pixels a point."""
    pdfium = pytest.importorskip("pypdfium2")
    document = pdfium.PdfDocument(path)
    try:
        return [page.render(scale=0.8).to_pil().convert("L") for page in document]
    finally:
        document.close()


def words(path: Path) -> list[str]:
    """Return the text of each page of a PDF."""
    pdfium = pytest.importorskip("pypdfium2")
    document = pdfium.PdfDocument(path)
    try:
        return [page.get_textpage().get_text_bounded() for page in document]
    finally:
        document.close()


def largest_hole(image: Any) -> float:
    """Return the highest empty band of a page as a share of it, at its foot or anywhere within."""
    rows = np.asarray(image)[int(HEAD * image.height) : int(FOOT * image.height)]
    inked = np.nonzero((rows < INK).any(axis=1))[0]
    edges = np.concatenate(([-1], inked, [len(rows)]))
    return float(np.diff(edges).max() - 1) / image.height


@contextmanager
def browser_page(path: Path, width: int) -> Iterator[Any]:
    """Give a page in a browser ``width`` pixels wide; skipped without Chromium."""
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.goto(path.resolve().as_uri())
        yield page
        browser.close()
