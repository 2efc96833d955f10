"""No command writes over a file of the user's: not a job book, not another report, not through a link."""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

import pytest
from strokebench.book.book import Book
from strokebench.cli import UNEXPECTED, main
from strokebench.data.output import check_output, free_path, is_book, output_file, write_whole
from strokebench.errors import BookError


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a book of two runs."""
    folder = tmp_path_factory.mktemp("shop")
    for _ in range(2):
        command = ["run", "solenoid", "--sim", "--no-report", "--book", str(folder / "shop.book")]
        assert main(command) == 0
    return folder


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


COMMANDS = {
    "run --report": ["run", "solenoid", "--sim", "--report", "OUT"],
    "report -o": ["report", "-o", "OUT"],
    "compare -o": ["compare", "1", "2", "-o", "OUT"],
    "export --csv": ["export", "--csv", "OUT"],
    "book export --csv": ["book", "export", "--csv", "OUT"],
    "book trend --plot": ["book", "trend", "resistance_ohm", "--plot", "OUT"],
    "lesson -o": ["lesson", "1", "--run", "-o", "OUT"],
    "judge --report": ["judge", "BOOK", "--report", "OUT"],
    "book backup": ["book", "backup", "OUT"],
    "book recover": ["book", "recover", "OUT"],
}


def carry_out(name: str, book: Path, out: Path, *more: str) -> int:
    words = [{"OUT": str(out), "BOOK": str(book)}.get(word, word) for word in COMMANDS[name]]
    needs_no_book = words[0] in ("judge", "lesson")
    return main([*words, *more, *([] if needs_no_book else ["--book", str(book)])])


HAVE_FORCE = [name for name in COMMANDS if name not in ("book backup", "book recover")]


@pytest.mark.parametrize(
    ("name", "force"), [*((name, False) for name in COMMANDS), *((name, True) for name in HAVE_FORCE)]
)
def test_no_output_replaces_a_job_book(recorded: Path, tmp_path: Path, name: str, force: bool) -> None:
    """After `run --report B`, `report -o B`, `compare -o B`, `export --csv B` the book B was HTML or CSV."""
    ending = ".svg" if name == "lesson -o" else ".book"
    book = tmp_path / f"other{ending}"
    with Book(book):
        pass
    before = digest(book)
    code = carry_out(name, recorded / "shop.book", book, *(["--force"] if force else []))
    assert code in (2, 6)
    assert digest(book) == before
    assert is_book(book)


@pytest.mark.parametrize(
    "name", ["report -o", "export --csv", "compare -o", "book trend --plot", "lesson -o"]
)
def test_an_output_that_exists_is_refused_without_force(recorded: Path, tmp_path: Path, name: str) -> None:
    out = tmp_path / "mine.svg"
    out.write_text("my own notes", encoding="utf-8")
    assert carry_out(name, recorded / "shop.book", out) in (2, 6)
    assert out.read_text(encoding="utf-8") == "my own notes"


def test_a_report_replaces_its_own_earlier_one(recorded: Path, tmp_path: Path) -> None:
    out = tmp_path / "r.html"
    for _ in range(2):
        assert main(["report", "1", "--book", str(recorded / "shop.book"), "-o", str(out)]) == 0
    assert main(["report", "2", "--book", str(recorded / "shop.book"), "-o", str(out)]) == 6


def test_the_default_report_leaves_the_users_file_and_another_books_report(
    recorded: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    command = ["run", "solenoid", "--sim", "--book"]
    (tmp_path / "a-run-1.html").write_text("mine", encoding="utf-8")
    assert main([*command, "a.book"]) == 0
    assert (tmp_path / "a-run-1.html").read_text(encoding="utf-8") == "mine"
    first = tmp_path / "a-run-1-2.html"
    assert "<html" in first.read_text(encoding="utf-8")
    (tmp_path / "a.book").rename(tmp_path / "old.book")  # another book, of the same name
    before = digest(first)
    assert main([*command, "a.book"]) == 0
    assert digest(first) == before
    assert (tmp_path / "a-run-1-3.html").exists()


def test_a_report_that_may_not_be_written_is_refused_before_anything_moves(tmp_path: Path) -> None:
    out, book = tmp_path / "r.html", tmp_path / "a.book"
    out.write_text("mine", encoding="utf-8")
    assert main(["run", "solenoid", "--sim", "--report", str(out), "--book", str(book)]) == 6
    assert not book.exists()


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_no_link_planted_beside_the_target_is_followed(tmp_path: Path) -> None:
    """The text went to `X.part`, through a link to a file of the user's."""
    victim, out = tmp_path / "victim", tmp_path / "out.html"
    victim.write_text("mine", encoding="utf-8")
    (tmp_path / "out.html.part").symlink_to(victim)
    write_whole(out, "report")
    assert victim.read_text(encoding="utf-8") == "mine"
    out.unlink()
    out.symlink_to(victim)
    with pytest.raises(BookError, match="link"):
        write_whole(out, "report")
    write_whole(out, "report", replace=True)
    assert victim.read_text(encoding="utf-8") == "mine"
    assert not out.is_symlink()


def test_what_fails_leaves_the_old_file_and_no_rest(tmp_path: Path) -> None:
    out = tmp_path / "a.csv"
    out.write_text("old", encoding="utf-8")
    with pytest.raises(ZeroDivisionError), output_file(out, replace=True) as partial:
        partial.write_text("half", encoding="utf-8")
        _ = 1 / 0
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]
    assert out.read_text(encoding="utf-8") == "old"


def test_devices_and_folders_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path, Path(os.devnull)):
        with pytest.raises(BookError, match="is not a file"):
            check_output(path, replace=True)


def test_free_names_are_counted_up(tmp_path: Path) -> None:
    for name in ("r.html", "r-2.html"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    assert free_path(tmp_path / "r.html").name == "r-3.html"


def test_an_error_of_our_own_is_no_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It exited 1, which means FAIL."""
    from strokebench.commands.setup import parts

    def broken(args: object) -> int:
        raise LookupError("a mistake of ours")

    monkeypatch.setattr(parts, "run", broken)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    assert main(["parts"]) == UNEXPECTED == 70
    shown = capsys.readouterr().err
    assert "Traceback" not in shown
    (kept,) = tmp_path.glob("strokebench-error-*.txt")
    assert kept.name in shown.replace("\n", "")
    assert "a mistake of ours" in kept.read_text(encoding="utf-8")
