"""The page about the simulation lists what there is."""

from __future__ import annotations

from pathlib import Path

import pytest
from strokebench.errors import DataError
from strokebench.sim.plants import PARTS
from tools.evidence.catalogue import lists, page_with_lists

PAGE = Path(__file__).parents[2] / "docs" / "simulation.md"


def test_the_page_is_up_to_date() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert page_with_lists(page) == page, "run: python -m tools.evidence.catalogue"


def test_every_part_and_defect_is_listed() -> None:
    from strokebench.sim.plants import available

    text = lists()
    for part in PARTS:
        assert f"`{part}`" in text
        assert all(f"| `{kind.name}` | {kind.sentence}" in text for kind in available(part))


def test_a_page_without_markers_is_refused() -> None:
    with pytest.raises(DataError, match="marker"):
        page_with_lists("# nothing\n")
