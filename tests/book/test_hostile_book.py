"""A damaged book, or a stranger's: a sentence, never a traceback, a hang or a change to a file."""

from __future__ import annotations

import contextlib
import random
import shutil
import sqlite3
import sys
import time
import tracemalloc
import zlib
from contextlib import closing
from pathlib import Path

import pytest
from strokebench.book import connect
from strokebench.book.book import Book
from strokebench.cli import UNEXPECTED, main
from strokebench.errors import BookError

from tests.book.test_evidence import written

MUTATIONS = {
    "writer with a huge pid": "UPDATE runs SET outcome = 'running', writer = 'HOST:99999999999999999999'",
    "writer that is no number": "UPDATE runs SET outcome = 'running', writer = 'HOST:abc'",
    "odd verdict of a run": "UPDATE runs SET verdict = 'maybe'",
    "odd verdict of a finding": "UPDATE findings SET verdict = 'maybe'",
    "broken profile": "UPDATE runs SET profile = '{\"a\":'",
    "broken info": "UPDATE runs SET info = 'x'",
    "info that is a list": "UPDATE runs SET info = '[1]'",
    "deep info": "UPDATE runs SET info = replace(hex(zeroblob(20000)), '0', '[')",
    "broken accuracy": "UPDATE runs SET accuracy = '{\"current_a\": 3}'",
    "broken evidence": "UPDATE findings SET evidence = 'null'",
    "text as blob": "UPDATE runs SET part = x'ff00ff'",
    "note as number": "UPDATE runs SET note = 5",
    "number as text": "UPDATE findings SET value = 'abc'",
    "endless number": "UPDATE findings SET value = 9e999",
    "time as text": "UPDATE marks SET start_s = 'x'",
    "event as blob": "UPDATE events SET text = x'00'",
    "rate of nothing": "UPDATE bursts SET rate_hz = 0",
    "rows as text": "UPDATE batches SET columns = 'abc'",
    "count as text": "UPDATE batches SET count = 'many'",
    "count beyond all": "UPDATE batches SET count = 4000000000",
    "count beyond all as a float": "UPDATE batches SET count = 1e300",
    "number of a batch as a float": "UPDATE batches SET number = number + 0.5",
    "count below nothing": "UPDATE batches SET count = -1",
    "seal as text": "UPDATE seals SET digest = 'x', link = 'y'",
    "unknown seal": "UPDATE seals SET what = 'nonsense'",
    "no such column of length": "UPDATE runs SET samples = 'x', last_s = 'y'",
}
READERS = (
    "book list", "book show 1", "book check", "report 1 --force -o R", "export --force --csv C",
    "book trend friction", "compare 1 2 --no-report",
)  # fmt: skip


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("good") / "good.book"
    written(path)
    return path


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two runs as the command records them, that can be judged and compared."""
    path = tmp_path_factory.mktemp("real") / "real.book"
    for seed in ("1", "2"):
        assert main(["run", "solenoid", "--sim", "--seed", seed, "--no-report", "--book", str(path)]) == 0
    return path


def mutated(good: Path, folder: Path, statement: str) -> Path:
    import socket

    path = folder / "a.book"
    shutil.copyfile(good, path)
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.executescript(statement.replace("HOST", socket.gethostname()))
    return path


def read_all(path: Path, folder: Path) -> list[int]:
    """Carry out every command that reads; return the exit codes."""
    places = {"R": str(folder / "r.html"), "C": str(folder / "c.csv")}
    return [
        main([*(places.get(word, word) for word in words.split()), "--book", str(path)]) for words in READERS
    ]


@pytest.mark.parametrize("name", MUTATIONS)
def test_every_mutation_ends_in_a_sentence(good: Path, tmp_path: Path, name: str) -> None:
    """Eleven of such ended in tracebacks, mostly unnoticed by `book check`."""
    path = mutated(good, tmp_path, MUTATIONS[name])
    before = path.read_bytes()
    codes = read_all(path, tmp_path)
    assert UNEXPECTED not in codes
    assert codes[2] == 6  # book check
    assert path.read_bytes() == before


def test_one_damaged_batch_costs_that_batch(good: Path, tmp_path: Path) -> None:
    """It made export and report refuse the whole run."""
    statement = "UPDATE batches SET columns = zeroblob(20) WHERE run_id = 1 AND number = 1"
    path = mutated(good, tmp_path, statement)
    with Book(path, read_only=True) as book:
        run = book.load(1)
    assert len(run.samples) == 200
    assert run.info["damaged"] == ["batch 1"]
    assert main(["export", "1", "--csv", str(tmp_path / "c.csv"), "--book", str(path)]) == 0
    assert (tmp_path / "c.csv").read_text(encoding="utf-8").count("\n") == 201


def test_a_damaged_batch_still_gives_a_report(real: Path, tmp_path: Path) -> None:
    """Where all rows of a segment were lost, report and verdict ended in a traceback."""
    path = tmp_path / "d.book"
    shutil.copyfile(real, path)
    with closing(sqlite3.connect(path)) as raw, raw:
        (start_s,) = raw.execute(
            "SELECT start_s FROM marks WHERE run_id = 1 AND label = 'pull_in'"
        ).fetchone()
        damage = "UPDATE batches SET columns = x'02' WHERE run_id = 1 AND first_s > ?"
        raw.execute(damage, (start_s - 0.2,))
    assert main(["report", "1", "-o", str(tmp_path / "r.html"), "--book", str(path)]) == 0
    assert "Damaged" in (tmp_path / "r.html").read_text(encoding="utf-8")
    assert main(["judge", str(path), "--run", "1", "--no-report"]) == 3  # inconclusive, for want of rows


ACTORS = {
    "trigger": "CREATE TRIGGER t AFTER INSERT ON runs BEGIN DELETE FROM runs WHERE id = 1; END",
    "view": "CREATE VIEW v AS SELECT 1",
    "table": "CREATE TABLE more (a)",
    "index": "CREATE INDEX more ON runs(note)",
    "changed table": "ALTER TABLE marks RENAME COLUMN label TO name",
    "recursive view for a table": "DROP TABLE findings; CREATE VIEW findings AS WITH RECURSIVE c(x) AS"
    " (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x AS id, x AS run_id FROM c",
}


@pytest.mark.parametrize("name", ACTORS)
def test_a_book_that_would_act_by_itself_is_refused(good: Path, tmp_path: Path, name: str) -> None:
    """A trigger deleted run 1 at the next recording; a recursive view hung `book show`."""
    path = mutated(good, tmp_path, ACTORS[name])
    began_s = time.monotonic()
    for read_only in (True, False):
        with pytest.raises(BookError, match=r"did not make|was changed|is missing"):
            Book(path, read_only=read_only)
    assert time.monotonic() - began_s < 20
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("SELECT count(*) FROM runs").fetchone() == (2,)


def test_a_question_without_end_is_given_up(good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And what a file declares is not trusted to act, whatever it is."""
    monkeypatch.setattr(connect, "SLOWEST_S", 0.2)
    with Book(good, read_only=True) as book:
        raw = book._connection
        assert raw.execute("PRAGMA trusted_schema").fetchone() == (0,)
        endless = "WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT count(*) FROM c"
        began_s = time.monotonic()
        with pytest.raises(BookError, match="kept SQLite busy"), connect.plain_errors(good):
            raw.execute(endless).fetchone()
        assert time.monotonic() - began_s < 20
        assert len(book.runs()) == 2


def test_a_link_that_is_a_number_is_no_link(good: Path, tmp_path: Path) -> None:
    """A seal's link of -1 ended in a traceback; one of 2**31 would have become as many bytes."""
    for value in ("-1", "2147483648", "'x'", "NULL"):
        statement = f"UPDATE batches SET link = {value} WHERE run_id = 1"
        path = mutated(good, tmp_path, f"{statement}; DELETE FROM seals WHERE what = 'end'")
        assert main(["book", "check", "--book", str(path)]) == 6
        assert main(["book", "note", "1", "word", "--book", str(path)]) == 0


def test_a_small_blob_cannot_become_a_large_one(good: Path, tmp_path: Path) -> None:
    """4 MB became 4 GiB; now no more is inflated than the rows can need."""
    path = tmp_path / "a.book"
    shutil.copyfile(good, path)
    packer = zlib.compressobj(9)
    head = packer.compress(bytes(1 << 20)) + packer.flush(zlib.Z_FULL_FLUSH)
    again = packer.compress(bytes(1 << 20)) + packer.flush(zlib.Z_FULL_FLUSH)  # the same for every further MB
    bomb = b"\x02" + head + 1023 * again + packer.flush()
    assert len(bomb) < 2_000_000
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("UPDATE batches SET columns = ?", (bomb,))
        raw.execute("UPDATE bursts SET numbers = ?", (bomb[1:],))
    with Book(path, read_only=True) as book:
        tracemalloc.start()
        run = book.load(1)
        most_bytes = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert most_bytes < 200_000_000  # inflated, it would be 1 GiB
    assert len(run.samples) == 0
    assert "fast capture 0" in run.info["damaged"]


def test_random_bytes_and_random_cells(
    good: Path, real: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Books with bytes altered anywhere in the file, or odd values put in by SQL: a sentence each time."""
    assert fuzz(good, real, tmp_path, range(16)) == []
    assert "Traceback" not in "".join(capsys.readouterr())


@pytest.mark.long
@pytest.mark.parametrize("part", range(5))
def test_random_books_by_the_thousand(good: Path, real: Path, tmp_path: Path, part: int) -> None:
    assert fuzz(good, real, tmp_path, range(1000 * (part + 1), 1000 * (part + 2))) == []


ODD: tuple[object, ...] = (
    None, 0, -1, 1, 2**31, 2**63 - 1, -(2**63), 0.5, 1e308, -1e308, 1e-320, "", "x", "pass", "fail",
    "running", "9" * 400, "nan", "\x1b[2J", "\0", "\ud7ff", "{}", "[]", "null", "1", '{"identity": 5}',
    '{"identity": {}}', '{"identity": {"board": "x", "firmware": 1, "calibration_id": "x"}}',
    '{"identity": {"uid": [1], "board": null}, "engine": 7}', '{"damaged": 3, "lost_rows": "many"}',
    '{"fault": "x", "cautions": {}, "answers": 5}', '{"answers": [1]}', '{"answers": [{"step": []}]}',
    '{"current_a": {"offset": "x"}}', '{"current_a": {"offset": 1e999}}', '{"limits": 5}',
    '{"procedure": []}', '{"run_id": "x", "seal": 4, "uid": 5}', b"", b"x", bytes(16), bytes(100_000),
    "y" * 70_000,
)  # fmt: skip
TABLES = ("runs", "batches", "marks", "events", "bursts", "findings", "seals", "facts")
MORE_READERS = (
    "report 1 --force -o R", "export 1 --force --csv C", "book trend friction", "compare 1 2 --no-report",
    "judge B --run 1 --no-report", "book find --text x", "book note 1 word",
)  # fmt: skip


def odd_cells(path: Path, dice: random.Random) -> None:
    """Put odd values into a few cells, as far as the tables take them."""
    with closing(sqlite3.connect(path)) as raw, raw:
        for _ in range(dice.choice((1, 1, 3))):
            table = dice.choice(TABLES)
            column = dice.choice(raw.execute(f"PRAGMA table_info({table})").fetchall())[1]
            value, few = dice.choice(ODD), "" if dice.random() < 0.5 else " WHERE random() % 2"
            with contextlib.suppress(sqlite3.IntegrityError):
                raw.execute(f"UPDATE {table} SET {column} = ?{few}", (value,))


def odd_bytes(path: Path, dice: random.Random) -> None:
    """Alter bytes anywhere in the file, or cut it short."""
    data = bytearray(path.read_bytes())
    for _ in range(dice.choice((1, 4, 30))):
        data[dice.randrange(len(data))] = dice.choice((0, 255, dice.randrange(256)))
    if dice.random() < 0.15:
        del data[dice.randrange(100, len(data)) :]
    path.write_bytes(data)


def fuzz(good: Path, real: Path, folder: Path, seeds: range) -> list[str]:
    """Return the seeds whose book made a command fail in a way nobody foresaw, and the command.

    Bytes are altered in the ``good`` book, cells in the ``real`` one.
    """
    path, bad = folder / "f.book", []
    places = {"R": str(folder / "r.html"), "C": str(folder / "c.csv"), "B": str(path)}
    for seed in seeds:
        dice = random.Random(seed)
        shutil.copyfile(real if seed % 2 else good, path)
        (odd_cells if seed % 2 else odd_bytes)(path, dice)
        target = folder / "saved.book"
        target.unlink(missing_ok=True)
        for words in (
            "book list", "book show 1", "book check", f"book recover {target}", *dice.sample(MORE_READERS, 2),
        ):  # fmt: skip
            command = [places.get(word, word) for word in words.split()]
            command += [] if words.startswith("judge") else ["--book", str(path)]
            if main(command) == UNEXPECTED:
                bad.append(f"{seed}: {words}")
        if target.exists():
            with Book(target, read_only=True) as saved:
                bad += [f"{seed}: saved, {problem}" for problem in saved.problems()]
    return bad


def test_an_odd_calibration_number_still_gives_a_report(real: Path, tmp_path: Path) -> None:
    """A traceback before: found by seed 1559."""
    identity = '{"identity": {"board": "x", "firmware": 1, "calibration_id": "x"}}'
    path = mutated(real, tmp_path, f"UPDATE runs SET info = '{identity}';")
    page = tmp_path / "r.html"
    assert main(["report", "1", "-o", str(page), "--book", str(path)]) != UNEXPECTED
    assert "record x, which is no number" in page.read_text(encoding="utf-8")


def test_recover_leaves_out_a_batch_whose_times_do_not_go_on(good: Path, tmp_path: Path) -> None:
    """What it saved could not be read again: found by seed 1156."""
    again = "(SELECT columns FROM batches WHERE run_id = 1 AND number = 0)"
    path = mutated(good, tmp_path, f"UPDATE batches SET columns = {again} WHERE run_id = 1 AND number = 2;")
    target = tmp_path / "saved.book"
    assert main(["book", "recover", str(target), "--book", str(path)]) == 0
    with Book(target, read_only=True) as book:
        assert book.problems() == []
        assert len(book.load(1).samples) == 200


def test_recover_saves_what_is_readable_and_lists_the_rest(
    good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    statement = (
        "UPDATE batches SET columns = zeroblob(9) WHERE run_id = 1 AND number = 0;"
        "UPDATE findings SET verdict = 'maybe' WHERE run_id = 2; UPDATE runs SET info = 'x' WHERE id = 2;"
        + ACTORS["trigger"]
    )
    path, target = mutated(good, tmp_path, statement), tmp_path / "saved.book"
    before = path.read_bytes()
    assert main(["book", "recover", str(target), "--book", str(path)]) == 0
    shown = capsys.readouterr().out
    for words in ("Run 1, batches 0", "Run 2, findings 0", "Run 2, info", "2 runs saved"):
        assert words in shown
    assert path.read_bytes() == before
    with Book(target, read_only=True) as book:
        assert book.problems() == []
        assert len(book.load(1).samples) == 200
        assert len(book.load(2).samples) == 300
        assert book.load(1).info["customer"] == "C-17"
        assert book.load(1).info["sealed_at"]


def test_a_book_whose_pages_are_damaged_still_gives_its_other_runs(tmp_path: Path) -> None:
    path = tmp_path / "a.book"
    written(path, 12)
    data = bytearray(path.read_bytes())
    with closing(sqlite3.connect(path)) as raw:
        size = raw.execute("PRAGMA page_size").fetchone()[0]
        pages = raw.execute(
            "SELECT pageno FROM dbstat WHERE name = 'batches' AND pagetype = 'leaf'"
        ).fetchall()
    (page,) = pages[len(pages) // 2]
    data[(page - 1) * size : page * size] = bytes(size)
    path.write_bytes(data)
    assert main(["book", "recover", str(tmp_path / "saved.book"), "--book", str(path)]) == 0
    with Book(tmp_path / "saved.book", read_only=True) as book:
        rows = sum(run.samples for run in book.runs())
    assert 0 < rows < 12 * 300


@pytest.mark.skipif(sys.platform != "linux", reason="needs a small file system of its own")
def test_a_book_on_a_full_disk_can_be_read(tmp_path: Path, full_disk: Path) -> None:
    book = full_disk / "a.book"
    with Book(book) as open_book:
        written_rows = open_book.new_run("solenoid", "solenoid")
        from tests.book.test_evidence import travelled

        written_rows.samples(travelled(300))
        shutil.copyfile(book, full_disk / "b.book")
        shutil.copyfile(full_disk / "a.book-wal", full_disk / "b.book-wal")  # as a killed program leaves it
        filler = full_disk / "filler"
        with pytest.raises(OSError, match="No space"), filler.open("wb", buffering=0) as file:
            while True:
                file.write(bytes(4096))
    for _ in range(2):
        with Book(full_disk / "b.book", read_only=True) as read:
            assert len(read.load(1).samples) == 300
