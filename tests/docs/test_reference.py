"""The page of all commands is the program's own words."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from tools.pages import scpi
from tools.pages.commands import page

COMMITTED = Path(__file__).resolve().parents[2] / "docs" / "reference" / "commands.md"


def test_page_of_scpi_commands_is_the_generated_one() -> None:
    committed = COMMITTED.with_name("scpi.md").read_text(encoding="utf-8")
    assert committed == scpi.page(), "run python -m tools.pages.scpi"


@pytest.mark.skipif(sys.version_info[:2] != (3, 11), reason="argparse words its help differently by version")
def test_committed_page_is_the_generated_one() -> None:
    assert COMMITTED.read_text(encoding="utf-8") == page(), "run python -m tools.pages.commands"


def test_every_command_is_on_it() -> None:
    text = page()
    for name in ("run", "judge", "book trend", "faults", "sim"):
        assert f"strokebench {name}\n" in text
