"""What a shop has set, or a terminal, reaches no test; what a test writes lands in its own folder."""

from __future__ import annotations

import os
from pathlib import Path

from tests.conftest import disturbing


def test_variables_of_program_and_terminal_are_told_from_others() -> None:
    variables = {
        "PATH": "/bin", "STROKEBENCH_BOOK": "shop.book", "STROKEBENCH_SOMETHING_NEW": "1", "COLUMNS": "40",
        "STROKEBENCH_PICO_IMAGE": "image.uf2", "MY_STROKEBENCH_BOOK": "mine",
    }  # fmt: skip
    assert disturbing(variables) == ["COLUMNS", "STROKEBENCH_BOOK", "STROKEBENCH_SOMETHING_NEW"]


def test_none_of_them_is_set_here() -> None:
    """Continuous integration sets some of them before it starts the tests."""
    assert disturbing(os.environ) == []


def test_a_test_stands_in_a_folder_of_its_own(tmp_path: Path) -> None:
    assert Path.cwd() == tmp_path
    assert list(tmp_path.iterdir()) == []
