"""A golden part in the job book: what the command, the report and the panel say when the bench moves."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.data.findings import Finding
from strokebench.errors import BookError
from strokebench.panel.pages.golden import golden_box
from strokebench.panel.tags import Element
from strokebench.verdict.control import golden

FOUND = ("winding_resistance", "inductance", "pull_in_current", "drop_out_current", "stall_current")


@pytest.fixture(scope="module")
def stroked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with a golden part and its first run, made by the command line."""
    path = tmp_path_factory.mktemp("golden") / "shop.book"
    assert main(["golden", "keep", "solenoid", "G1", "--reference", "12", "--book", str(path)]) == 0
    command = ["run", "solenoid", "--sim", "--serial", "G1", "--no-report", "--book", str(path)]
    assert main(command) == 0
    return path


@pytest.fixture
def book_file(stroked: Path, tmp_path: Path) -> Path:
    return Path(shutil.copyfile(stroked, tmp_path / "shop.book"))


def repeat(file: Path, shares: list[float], seed: int = 1) -> None:
    """Add runs of the golden part like the first; a bench whose current reads ``share`` of u too high."""
    chance = np.random.default_rng(seed)
    with Book(file) as book:
        data, findings, profile = book.load(1), book.findings(1), book.profile(1)
        for share in shares:
            changed = [_read(each, share, chance) for each in findings if each.known]
            new = book.new_run("solenoid", "solenoid", part_serial="G1", profile=profile,
                               info={"identity": data.info["identity"]})  # fmt: skip
            with new as writer:
                writer.samples(data.samples[:400])
                writer.finish("done")
            book.judged(writer.run_id, changed, "pass")
        golden.remember(book, writer.run_id)


def _read(finding: Finding, share: float, chance: np.random.Generator) -> Finding:
    if finding.key not in FOUND:
        return finding
    sign = -1 if finding.unit in ("ohm", "mH") else 1
    return finding.with_(value=finding.value + finding.u * (chance.normal() / 4 + sign * share))


def show(file: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, list[dict[str, object]]]:
    capsys.readouterr()
    code = main(["golden", "show", "--json", "--book", str(file)])
    return code, json.loads(capsys.readouterr().out)


def test_the_first_run_says_that_it_is_too_few(stroked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, (found,) = show(stroked, capsys)
    assert (code, found["state"], found["runs"]) == (3, "too few", 1)
    with Book(stroked, read_only=True) as book:
        (kept,) = golden.remembered_all(book)
    assert kept.state == "too few" and kept.bench == found["bench"] and not kept.warns


def test_a_bench_that_stays_is_left_in_peace(book_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    repeat(book_file, [0.0] * 20)
    code, (found,) = show(book_file, capsys)
    assert (code, found["state"], found["runs"]) == (0, "as before", 21)
    assert set(found["charts"]) >= set(FOUND)  # type: ignore[call-overload]


def test_a_bench_that_drifts_is_warned_of_everywhere(
    book_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the command, beside a result, in the report, and in the panel; verdicts have not changed yet."""
    repeat(book_file, [0.0] * 14 + [0.15 * n for n in range(1, 9)])
    code, (found,) = show(book_file, capsys)
    assert (code, found["state"]) == (1, "warning")
    assert all(0 < share < 1 for share in found["moved"].values())  # type: ignore[attr-defined]
    report = book_file.with_name("report.html")
    assert main(["report", "1", "--book", str(book_file), "--report", str(report)]) == 0
    text = report.read_text(encoding="utf-8")
    assert text.count("the bench has moved") >= 2 and "due for a check" in text
    page = Element("main")
    with page:
        golden_box(book_file)
    assert "the bench has moved" in page.html and 'role="alert"' in page.html
    assert main(["golden", "show", "--book", str(book_file)]) == 1
    assert "warns" in capsys.readouterr().out
    repeat(book_file, [6.0] * 6, seed=2)
    code, (found,) = show(book_file, capsys)
    assert (code, found["state"]) == (1, "recalibrate")


def test_declared_and_dropped(tmp_path: Path, stroked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(shutil.copyfile(stroked, tmp_path / "a.book"))
    assert main(["golden", "keep", "solenoid", "G2", "--reference", "5", "--book", file]) == 2
    assert main(["golden", "drop", "solenoid", "G2", "--book", file]) == 2
    assert main(["golden", "drop", "solenoid", "G1", "--book", file]) == 0
    assert main(["golden", "show", "--book", file]) == 2
    assert "golden keep" in capsys.readouterr().err


def test_what_a_stranger_wrote_in_its_place_does_no_harm(book_file: Path) -> None:
    with Book(book_file) as book:
        for junk in ([1], [{"state": "x"}], "x", [{"part": 1, "moved": 3, "state": "warning"}]):
            book.keep_fact("golden standings", junk)
            assert golden.remembered_all(book) == []
        book._connection.execute("UPDATE facts SET value = 'x' WHERE name LIKE 'golden%'")
        assert golden.remembered_all(book) == []
        with pytest.raises(BookError, match="damaged"):
            book.golden_parts()
