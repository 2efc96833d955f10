"""The notebook of the sweep: run again with eight parts, its kept outputs with all 200 agree."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.process import environment

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "sweep"
PAGE = FOLDER.parent / "sweep.md"
ROW = re.compile(r"^(L7-\d{3}) +(pass|fail|inconclusive) +(.*)$", re.MULTILINE)


def _cells() -> list[dict[str, Any]]:
    notebook = json.loads((FOLDER / "sweep.ipynb").read_text(encoding="utf-8"))
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def _kept() -> str:
    """What the notebook printed when it was run with all its parts."""
    texts = [output.get("text", ()) for cell in _cells() for output in cell["outputs"]]
    return "\n".join("".join(text) for text in texts)


def _numbers(text: str) -> list[tuple[str, str, list[float]]]:
    """Serial, verdict and values of each row of the table of the first eight."""
    table = re.split(r"^pass \d+, fail", text[text.index("pull-in ms") :], flags=re.MULTILINE)[0]
    return [(row[0], row[1], [float(number) for number in row[2].split()]) for row in ROW.findall(table)]


@pytest.fixture(scope="module")
def short_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The notebook's code, cell after cell, with eight parts."""
    folder = tmp_path_factory.mktemp("sweep")
    script = folder / "sweep.py"
    code = "\n\n".join("".join(cell["source"]) for cell in _cells())
    body = code.replace("\n", "\n    ")  # other processes import the script where they are not forked
    script.write_text(f"def main():\n    {body}\n\nif __name__ == '__main__':\n    main()\n", "utf-8")
    env = environment() | {"PARTS": "8", "BOOK": str(folder / "lot.book"), "MPLBACKEND": "agg"}
    env["PYTHONPATH"] = os.pathsep.join((str(FOLDER), env["PYTHONPATH"]))
    done = subprocess.run(
        [sys.executable, str(script)], cwd=folder, env=env, capture_output=True, text=True, timeout=240
    )
    assert done.returncode == 0, done.stderr
    return folder, done.stdout


@pytest.mark.slow
def test_it_runs_and_the_first_eight_are_those_that_are_kept(short_run: tuple[Path, str]) -> None:
    folder, shown = short_run
    fresh, kept = _numbers(shown), _numbers(_kept())
    assert len(fresh) == len(kept) == 8
    for mine, theirs in zip(fresh, kept, strict=True):
        assert mine[:2] == theirs[:2]
        assert mine[2] == pytest.approx(theirs[2], rel=0.02, nan_ok=True)
    assert {verdict for _, verdict, _ in fresh} == {"pass", "fail"}, "a short run meets good and bad parts"
    assert (folder / "lot.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.slow
def test_every_part_that_was_driven_is_in_the_book(short_run: tuple[Path, str]) -> None:
    from strokebench.book.book import Book

    with Book(short_run[0] / "lot.book", read_only=True) as book:
        runs = book.runs()
    refused = short_run[1].count("not driven")
    assert refused >= 1 and len(runs) == 8 - refused
    assert all(run.outcome == "done" and run.verdict for run in runs)


def test_what_is_kept_is_of_two_hundred_parts_with_a_picture() -> None:
    kept = _kept()
    assert "200 parts, the first" in kept and "200 of 200" in kept
    good, bad, inconclusive = map(int, re.findall(r"pass (\d+), fail (\d+), inconclusive (\d+)", kept)[0])
    assert good + bad + inconclusive == 200
    assert any("image/png" in output.get("data", {}) for cell in _cells() for output in cell["outputs"])


def test_the_page_quotes_what_the_notebook_printed() -> None:
    quoted = re.findall(r"^```text\n(.*?)^```", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    kept = _kept()
    lines = next(block for block in quoted if "yield" in block).splitlines()
    assert len(lines) > 3 and [line for line in lines if line not in kept] == []


def test_only_the_documented_library_is_used() -> None:
    """No private module: every import of ours is on the page of the library."""
    page = (FOLDER.parents[1] / "reference" / "library.md").read_text(encoding="utf-8")
    code = "\n".join("".join(cell["source"]) for cell in _cells())
    code += "\n" + (FOLDER / "one_part.py").read_text(encoding="utf-8")
    modules = set(re.findall(r"^\s*from (strokebench[\w.]*) import", code, re.MULTILINE))
    assert modules
    assert [name for name in modules - {"strokebench"} if f"::: {name}" not in page] == []
