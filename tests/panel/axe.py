"""What axe-core (WCAG 2.1 AA and its own best practice) and a narrow screen have against a page."""

from __future__ import annotations

from typing import Any

import pytest

FITS = "(width) => document.scrollingElement.scrollWidth <= width && innerWidth === width"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]
ALL = {"type": "tag", "values": RULES}
COLOURS = {"type": "rule", "values": ["color-contrast"]}
"""For a page of which only the colours are others than those that were looked at already."""


def complaints(page: Any, rules: dict[str, Any] = ALL) -> list[str]:
    """Return what axe-core has against the page, one line per element."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    result = axe.run(page, options={"runOnly": rules})
    return [
        f"{rule['id']}: {rule['help']}: {node['html'][:120]}"
        for rule in result.response["violations"]
        for node in rule["nodes"]
    ]
