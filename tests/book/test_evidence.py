"""A recording shows that it is as it was written; what was altered is named, to the byte where it was one."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from strokebench.book import deltas, schema, seal
from strokebench.book.book import Book
from strokebench.book.export.csv import write_csv
from strokebench.book.packing import pack_samples, unpack_samples
from strokebench.cli import main
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Burst, Event, Mark, RunData
from strokebench.data.samples import COLUMNS, Samples, empty
from strokebench.errors import UsageError
from strokebench.link.conversion import WIRE_SAMPLE, decode_rows

PROFILE = {"limits": {"current_max_a": 5.0}, "procedure": {"title": "slow"}}


def travelled(count: int, seed: int = 1, first: int = 100) -> Samples:
    """Return rows as a bench sends them: every field at random within what it can carry."""
    dice = np.random.default_rng(seed)
    rows = np.zeros(count, WIRE_SAMPLE)
    for name in WIRE_SAMPLE.names or ():
        limits = np.iinfo(WIRE_SAMPLE[name])
        rows[name] = dice.integers(limits.min, limits.max, count, endpoint=True)
    rows["tick"] = first + np.arange(count)
    rows["part_dc"][:: max(1, count // 3)] = -32768  # a thermistor that cannot be read
    return decode_rows(rows.tobytes(), first)


def written(path: Path, runs: int = 2) -> None:
    """Write a book of ``runs`` judged runs of 300 rows."""
    with Book(path) as book:
        for number in range(runs):
            with book.new_run(
                "solenoid", "solenoid", customer="C-17", part_serial="S1", note="first", profile=PROFILE,
                info={"identity": {"uid": "0011"}}, accuracy={"current_a": {"offset": 0.01}},
            ) as writer:  # fmt: skip
                writer.mark(Mark("sweep", 0.0, 0.2, 0, "ramp"))
                writer.event(Event(0.01, "warning", 3, "Hot."))
                writer.samples(travelled(300, number))
                writer.burst(Burst("current_fine", "A", 1000.0, 0.01, np.arange(50.0), "sweep"))
                writer.info(lost_rows=0)
                writer.finish("done")
            finding = Finding("friction", "Friction", 0.2, 0.01, "A", None, 0.5, Verdict.PASS)
            book.judged(writer.run_id, [finding], "pass")
        book.add_note(1, "second")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    written(tmp_path / "a.book")
    return tmp_path / "a.book"


def problems(path: Path) -> str:
    with Book(path, read_only=True) as book:
        return "\n".join(book.problems())


def change(path: Path, statement: str, *values: object) -> None:
    with closing(sqlite3.connect(path)) as raw, raw:
        assert raw.execute(statement, values).rowcount > 0


def test_rows_are_exact_to_the_bit_and_on_any_grid() -> None:
    """Every value that can travel comes back with the same bits; invented values fall back to float64."""
    for seed in range(40):
        rows = travelled(100, seed)
        blob = pack_samples(rows)
        assert blob[:1] == deltas.MARK
        assert unpack_samples(blob, 100).tobytes() == rows.tobytes()
    for count in (1, 2):
        rows = travelled(count)
        assert unpack_samples(pack_samples(rows), count).tobytes() == rows.tobytes()
    invented = empty(20)
    invented["time_s"] = np.arange(20) / 1000
    invented["current_a"] = np.random.default_rng(1).normal(0, 1, 20)
    assert pack_samples(invented)[:1] != deltas.MARK
    assert unpack_samples(pack_samples(invented), 20).tobytes() == invented.tobytes()
    minus = travelled(5)
    minus["current_a"][2] = -0.0  # no number that travels: its sign would be lost
    assert unpack_samples(pack_samples(minus), 5).tobytes() == minus.tobytes()


def test_a_whole_book_is_intact(path: Path) -> None:
    assert problems(path) == ""
    assert main(["book", "check", "--book", str(path)]) == 0


ALTERED: dict[str, tuple[str, str]] = {
    "verdict": ("UPDATE runs SET verdict = 'fail'", "judgement, verdict: "),
    "value": ("UPDATE findings SET value = 0.1", "judgement, finding friction: "),
    "limit": ("UPDATE findings SET upper = 0.1", "judgement, finding friction: "),
    "reason": ("UPDATE findings SET reason = 'x'", "judgement, finding friction: "),
    "finding gone": ("DELETE FROM findings", "judgement, "),
    "customer": ("UPDATE runs SET customer = 'C-18'", "head, customer: byte 4 of 4"),
    "serial": ("UPDATE runs SET part_serial = ''", "head, part_serial: 0 bytes where 2"),
    "started": ("UPDATE runs SET started_at = '2020' || substr(started_at, 5)", "head, started_at"),
    "limits": ("UPDATE runs SET profile = replace(profile, '5.0', '9.0')", "head, profile: byte "),
    "accuracy": ("UPDATE runs SET accuracy = '{}'", "head, accuracy: "),
    "bench": ("UPDATE runs SET info = replace(info, '0011', '0012')", "info, info: byte "),
    "note": ("UPDATE runs SET note = 'third'", "note, note: "),
    "outcome": ("UPDATE runs SET outcome = 'fault'", "end, outcome: "),
    "mark": ("UPDATE marks SET label = 'swoop'", "marks, segment 0: "),
    "event": ("DELETE FROM events", "events, 0 entries where 1"),
    "burst": ("UPDATE bursts SET rate_hz = 2000", "bursts, burst 0: "),
    "batch gone": ("DELETE FROM batches", "batch 2: batch 1 before it is missing"),
    "last batch gone": ("DELETE FROM batches", "marks: its seal does not follow"),
    "batches swapped": (
        "UPDATE batches SET columns = (SELECT columns FROM batches WHERE run_id = 2 AND number = 0)",
        "batch 0, rows: ",
    ),
    "batch of another run, seals and all": (
        "UPDATE batches SET (columns, sums, link) = (SELECT columns, sums, link FROM batches"
        " WHERE run_id = 2 AND number = 0)",
        "batch 0: it does not follow",
    ),
    "seal gone": ("DELETE FROM seals", "judgement: its seal is missing"),
    "end's seal gone": ("DELETE FROM seals", "end: its seal is missing"),
}
ONLY = {
    "batch gone": "number = 1", "last batch gone": "number = 2", "batches swapped": "number = 0",
    "batch of another run, seals and all": "number = 0", "seal gone": "what = 'judgement'",
    "end's seal gone": "what = 'end'",
}  # fmt: skip
"""Which rows of run 1 are altered, where it is not all of a table's."""


@pytest.mark.parametrize("name", ALTERED)
def test_what_was_altered_is_named(path: Path, name: str) -> None:
    """Edited verdicts and texts passed `book check`."""
    statement, sentence = ALTERED[name]
    run = "id" if statement.startswith("UPDATE runs") else "run_id"
    change(path, f"{statement} WHERE {run} = 1 AND {ONLY.get(name, 'TRUE')}")
    found = problems(path)
    assert f"Run 1, {sentence}" in found
    assert "Run 2" not in found
    assert main(["book", "check", "--book", str(path)]) == 6


@pytest.mark.parametrize("run", [1, 2])
def test_a_run_that_was_taken_out_before_the_newest_is_missed(tmp_path: Path, run: int) -> None:
    path = tmp_path / "a.book"
    written(path, 3)
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("PRAGMA foreign_keys = ON")
        raw.execute("DELETE FROM runs WHERE id = ?", (run,))
    assert "Some runs are missing" in problems(path)


def test_one_altered_byte_is_found_wherever_it_is(path: Path) -> None:
    dice = random.Random(5)
    with closing(sqlite3.connect(path)) as raw:
        query = "SELECT columns FROM batches WHERE run_id = 1 AND number = 1"
        blob = bytearray(raw.execute(query).fetchone()[0])
    for _ in range(12):
        at, bit = dice.randrange(len(blob)), 1 << dice.randrange(8)
        blob[at] ^= bit
        change(path, "UPDATE batches SET columns = ? WHERE run_id = 1 AND number = 1", bytes(blob))
        assert f"Run 1, batch 1, rows: byte {at + 1} of {len(blob)} is altered." in problems(path)
        blob[at] ^= bit
    change(path, "UPDATE batches SET columns = ? WHERE run_id = 1 AND number = 1", bytes(blob))
    assert problems(path) == ""


def test_the_sums_tell_one_byte_from_several() -> None:
    dice = random.Random(3)
    data = dice.randbytes(3000)
    sums = seal.Item("x", [("data", data)]).sums()
    for _ in range(300):
        other = bytearray(data)
        places = dice.sample(range(len(data)), dice.choice((1, 2, 3)))
        for place in places:
            other[place] ^= dice.randrange(1, 256)
        (found,) = seal.differences(seal.Item("x", [("data", bytes(other))]), sums)
        if len(places) == 1:
            assert found == f"data: byte {places[0] + 1} of 3000 is altered"
        else:
            assert found == "data: several bytes are altered"


def test_a_seal_on_paper_names_the_run(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Book(path, read_only=True) as book:
        printed = book.load(2).info["seal"]
        assert book.find_seal(printed[:16]) == (2, "judgement", book.find_seal(printed)[2])  # type: ignore[index]
        assert book.find_seal("0" * 64) is None
        with pytest.raises(UsageError, match="no seal"):
            book.find_seal("%" * 16)
    assert main(["book", "check", "--book", str(path), "--seal", printed[:20]]) == 0
    assert "of run 2" in capsys.readouterr().out
    assert main(["book", "check", "--book", str(path), "--seal", "0" * 16]) == 6


def test_a_run_cut_in_the_middle_is_intact_up_to_there(tmp_path: Path) -> None:
    path = tmp_path / "a.book"
    with Book(path) as book:
        writer = book.new_run("solenoid", "solenoid")
        writer.samples(travelled(250))
        assert book.problems() == []


def _old_book(path: Path) -> list[Samples]:
    """Write a book as the first version did: its tables, rows as float64, nothing sealed."""
    import zlib

    rows = [travelled(100, 1, 100), travelled(80, 2, 100)]
    rows[1]["time_s"] += 0.1
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.executescript(schema.MIGRATIONS[0])
        raw.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        raw.execute("PRAGMA user_version = 1")
        raw.execute(
            "INSERT INTO runs(started_at, part, kind, outcome, verdict, samples, first_s, last_s) VALUES"
            " ('2026-01-01T00:00:00.000+00:00', 'solenoid', 'solenoid', 'done', 'pass', 180, 0, 0.179)"
        )
        for number, each in enumerate(rows):
            blob = zlib.compress(b"".join(np.ascontiguousarray(each[name]).tobytes() for name in COLUMNS), 1)
            span = (float(each["time_s"][0]), float(each["time_s"][-1]))
            raw.execute(
                "INSERT INTO batches(run_id, number, first_s, last_s, count, columns)"
                " VALUES (1, ?, ?, ?, ?, ?)",
                (number, *span, len(each), blob),
            )
    return rows


def test_an_old_book_migrates_and_its_exports_stay_the_same(tmp_path: Path) -> None:
    path, before, after = tmp_path / "old.book", tmp_path / "before.csv", tmp_path / "after.csv"
    rows = np.concatenate(_old_book(path))
    write_csv(RunData(rows, [Mark("sweep", 0.0, 0.1, 0, "ramp")]), str(before))
    change(path, "INSERT INTO marks VALUES (1, 0, 'sweep', 'ramp', 0.0, 0.1)")
    with Book(path) as book:
        write_csv(book.load(1), str(after))
        assert after.read_bytes() == before.read_bytes()
        assert book.load(1).samples.tobytes() == rows.tobytes()
        assert book.load(1).info["sealed_at"] != ""
        assert book.problems() == []
    change(path, "UPDATE runs SET verdict = 'fail' WHERE id = 1")
    assert "Run 1, judgement, verdict" in problems(path)
