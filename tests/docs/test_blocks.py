"""Runs what the manual tells people to run: its ``sh`` and ``python`` blocks, in order, page by page.

A block fenced as ``sh`` is a list of commands; each must exit 0, or with the code that a comment
``# exits N`` on its line gives. A ``python`` block must run. What cannot run here is fenced as plain text.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.helpers.process import environment

DOCS = Path(__file__).resolve().parents[2] / "docs"
BLOCK = re.compile(r"^```(sh|python)\n(.*?)^```", re.MULTILINE | re.DOTALL)
FOLDERS = ("tutorial", "how-to", "explanation", "teacher")
EXTRAS = {"asammdf", "dask", "duckdb", "pyarrow"}
"""Packages of the extras that are installed for exports only."""
PAGES = [page for folder in FOLDERS for page in sorted((DOCS / folder).glob("*.md"))]


def blocks(page: Path) -> list[tuple[str, str]]:
    """Return (language, text) of each block of a page that runs."""
    return BLOCK.findall(page.read_text(encoding="utf-8"))


def wanted(page: Path) -> list[str]:
    """Return the packages that a page's Python blocks import."""
    code = "".join(text for language, text in blocks(page) if language == "python")
    imported = set(re.findall(r"^(?:import|from) (\w+)", code, re.MULTILINE))
    return sorted(imported - set(sys.stdlib_module_names))


def run_command(line: str, folder: Path) -> None:
    """Run one ``strokebench`` or ``python`` line in ``folder`` and hold it to its exit code."""
    told = re.search(r"#\s*exits (\d+)", line)
    words = shlex.split(line, comments=True)
    program = {"strokebench": [sys.executable, "-m", "strokebench"], "python": [sys.executable]}[words[0]]
    done = subprocess.run(
        [*program, *words[1:]], cwd=folder, env=environment(), capture_output=True, text=True, timeout=240
    )
    assert done.returncode == (int(told[1]) if told else 0), f"{line}\n{done.stdout[-2000:]}\n{done.stderr}"


def cases() -> Iterator[object]:
    """The short tutorial is always run, the other pages with the slow tests."""
    for page in filter(blocks, PAGES):
        marks = [] if page.stem == "first-real-part" else [pytest.mark.slow]
        marks += [pytest.mark.extras] if EXTRAS & {*wanted(page)} else []
        yield pytest.param(page, id=f"{page.parent.name}/{page.stem}", marks=marks)


@pytest.mark.parametrize("page", list(cases()))
def test_page_runs(page: Path, tmp_path: Path) -> None:
    for package in wanted(page):
        pytest.importorskip(package, reason=f"{page.name} is about {package}, which is not installed")
    for language, text in blocks(page):
        if language == "sh":
            for line in filter(None, (line.strip() for line in text.splitlines())):
                run_command(line, tmp_path)
        else:
            script = tmp_path / "block.py"
            script.write_text(text, encoding="utf-8")
            run_command("python block.py", tmp_path)


def test_the_tutorial_is_among_them() -> None:
    assert any(blocks(page) for page in PAGES if page.parent.name == "tutorial")
