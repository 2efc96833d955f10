"""Finding, following, exporting and looking after what a job book holds."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest
from strokebench.book.book import Book, Wanted
from strokebench.cli import main
from strokebench.data.findings import Finding, Verdict, unknown
from strokebench.data.run import Burst
from strokebench.data.samples import Samples, empty
from strokebench.errors import BookError, UsageError

PARTS = ("throttle-body", "fuel-pump")
DAYS = ("2026-01-10T09:00:00.000+00:00", "2026-01-31T23:59:00.000+00:00", "2026-02-01T00:00:00.000+00:00")


def rows(count: int = 50) -> Samples:
    samples = empty(count)
    samples["time_s"] = np.arange(count) / 1000
    samples["current_a"] = np.linspace(0, 5, count)
    return samples


def fill(path: Path, runs: int = 6) -> Book:
    """Write ``runs`` runs: parts alternate, days cycle, friction 0.1 A, 0.2 A, ...; the third fails."""
    book = Book(path)
    for n in range(runs):
        verdict = Verdict.FAIL if n == 2 else Verdict.PASS
        with patch("strokebench.book.book.utc_now", return_value=DAYS[n % 3]):
            begun = book.new_run(PARTS[n % 2], "kind", customer=f"job {n}", part_serial=f"S{n // 2}")
        with begun as writer:
            writer.samples(rows())
            writer.burst(Burst("current_fine", "A", 1000.0, 0.01, np.arange(5.0), "burst"))
            friction = Finding("friction", "Friction", (n + 1) / 10, 0.01, "A", None, 0.5, verdict)
            writer.findings([friction], verdict.value)
    return book


def found(book: Book, **wanted: str) -> list[int]:
    return sorted(run.run_id for run in book.find(Wanted(**wanted)))


def test_find_by_each_field(tmp_path: Path) -> None:
    with fill(tmp_path / "a.book") as book:
        assert found(book) == [1, 2, 3, 4, 5, 6]
        assert found(book, part="fuel-pump") == [2, 4, 6]
        assert found(book, verdict="fail") == [3]
        assert found(book, customer="job 4") == [5]
        assert found(book, part_serial="S1", part="throttle-body") == [3]
        assert found(book, since="2026-02-01") == [3, 6]
        assert found(book, until="2026-01-31") == [1, 2, 4, 5]  # the last day counts whole
        assert found(book, text="OB 5") == [6]
        assert found(book, text="%") == []  # not a wildcard
        assert [run.run_id for run in book.find(Wanted(limit=2))] == [6, 3]


def test_a_note_is_added_and_found(tmp_path: Path) -> None:
    with fill(tmp_path / "a.book", 1) as book:
        assert book.add_note(1, "cleaned") == "cleaned"
        assert book.add_note(1, "runs smoothly now") == "cleaned\nruns smoothly now"
        assert found(book, text="smoothly") == [1]
        with pytest.raises(UsageError, match="no run 9"):
            book.add_note(9, "x")


def test_trend_follows_one_part(tmp_path: Path) -> None:
    with fill(tmp_path / "a.book") as book:
        points = book.trend("friction", Wanted(part="throttle-body"))
        told = [(p.run_id, p.value, p.verdict) for p in points]
        assert told == [(1, 0.1, "pass"), (5, 0.5, "pass"), (3, 0.3, "fail")]
        assert book.trend("friction", Wanted(part="no such part")) == []
        with pytest.raises(UsageError, match=r"no.*'nonsense'|'nonsense'"):
            book.trend("nonsense", Wanted())


def test_check_is_silent_on_a_good_book_and_tells_each_damage(tmp_path: Path) -> None:
    path = tmp_path / "a.book"
    fill(path, 3).close()
    assert main(["book", "check", "--book", str(path)]) == 0
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE batches SET columns = zeroblob(10) WHERE run_id = 1")
        raw.execute("UPDATE batches SET number = 7 WHERE run_id = 2")
        raw.execute("UPDATE bursts SET numbers = zeroblob(3) WHERE run_id = 3")
        raw.execute("INSERT INTO events(run_id, time_s, kind, code, text) VALUES (99, 0, 'x', 0, '')")
    raw.close()
    with Book(path, read_only=True) as book:
        told = "\n".join(book.problems())
    for words in (
        "Run 1, batch 0: it cannot be read", "Run 1, batch 0, rows: 10 bytes where",
        "Run 2, batch 7: batch 0 before it", "Run 3, fast capture 0", "of events belongs",
    ):  # fmt: skip
        assert words in told
    assert main(["book", "check", "--book", str(path)]) == 6


def test_backup_while_a_run_is_being_written(tmp_path: Path) -> None:
    book = fill(tmp_path / "a.book", 2)
    with book.new_run("throttle-body", "kind") as writer:
        writer.samples(rows())
        with Book(tmp_path / "a.book", read_only=True) as other:
            assert other.backup(tmp_path / "b.book") > 0
        with pytest.raises(BookError, match="exists already"):
            book.backup(tmp_path / "b.book")
    book.close()
    with Book(tmp_path / "b.book", read_only=True) as copy:
        assert copy.problems() == []
        assert len(copy.load(3).samples) == 50
    with Book(tmp_path / "a.book") as book, pytest.raises(BookError):
        book.backup(tmp_path / "nowhere" / "c.book")


def test_commands_show_what_a_stranger_wrote_as_text(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(tmp_path / "a.book")
    fill(tmp_path / "a.book", 2).close()
    assert main(["book", "note", "1", "[bold]<script>", "--book", path]) == 0
    assert main(["book", "list", "--book", path]) == 0
    assert main(["book", "show", "1", "--book", path]) == 0
    assert capsys.readouterr().out.count("[bold]<script>") >= 2
    assert main(["book", "trend", "friction", "--book", path, "--plot", str(tmp_path / "t.svg")]) == 0
    assert (tmp_path / "t.svg").read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.filterwarnings("default")  # what the engines call of each other is their affair
@pytest.mark.extras
def test_parquet_and_two_engines_agree_with_the_book(tmp_path: Path) -> None:
    duckdb = pytest.importorskip("duckdb")
    dataframe = pytest.importorskip("dask.dataframe")
    with fill(tmp_path / "a.book") as book:
        mine = {p: np.mean([t.value for t in book.trend("friction", Wanted(part=p))]) for p in PARTS}
    lake, source = str(tmp_path / "lake"), str(tmp_path / "a.book")
    assert main(["book", "export", "--parquet", lake, "--book", source]) == 0
    files = (tmp_path / "lake" / "findings" / "**" / "*.parquet").as_posix()
    query = f"SELECT part, avg(value) FROM read_parquet('{files}', hive_partitioning=true) GROUP BY part"
    assert dict(duckdb.sql(query).fetchall()) == pytest.approx(mine)
    table = dataframe.read_parquet(tmp_path / "lake" / "findings")
    means = table.groupby("part", observed=True)["value"].mean().compute()
    assert {part: means[part] for part in PARTS} == pytest.approx(mine)
    samples = dataframe.read_parquet(tmp_path / "lake" / "samples")
    assert len(samples) == 6 * 50
    assert float(samples["current_a"].max().compute()) == 5.0


@pytest.mark.extras
def test_a_lake_takes_two_books_of_one_name_and_no_names(tmp_path: Path) -> None:
    """The second book's files replaced the first's, since both are called the same everywhere."""
    parquet = pytest.importorskip("pyarrow.parquet")
    lake = tmp_path / "lake"
    for shop in ("one", "two"):
        (tmp_path / shop).mkdir()
        source = tmp_path / shop / "strokebench.book"
        fill(source, 3).close()
        for _ in range(2):  # the same again adds nothing
            command = ["book", "export", "--parquet", str(lake), "--without-names", "--book", str(source)]
            assert main(command) == 0
    for kind in ("samples", "findings"):
        assert len(list((lake / kind).rglob("*.parquet"))) == 6
    rows = parquet.read_table(lake / "findings").to_pylist()
    named = {row["customer"] for row in rows}
    assert not any("job" in name for name in named)
    assert len(named) == 6  # three customers in each book, and no way to tell that they are the same
    assert {row["upper"] for row in rows} == {0.5}
    assert len({row["run"] for row in rows}) == 6
    assert all(row["seal"] for row in rows)


@pytest.mark.extras
def test_mdf4_is_read_back_by_its_library(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    fill(tmp_path / "a.book", 1).close()
    target = tmp_path / "a.mf4"
    assert main(["book", "export", "--mdf", str(target), "--book", str(tmp_path / "a.book")]) == 0
    with asammdf.MDF(target) as file:
        current = file.get("current_a")
        assert current.unit == "A"
        np.testing.assert_allclose(current.samples, np.linspace(0, 5, 50))
        np.testing.assert_allclose(file.get("burst_1_current_fine").timestamps, 0.01 + np.arange(5) / 1000)


def test_a_book_of_an_older_version_tells_information_as_such(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It was stored as inconclusive then; what has limits, or stands against a pass, still is."""
    path = tmp_path / "old.book"
    with Book(path) as book, book.new_run("fuel-pump", "fuel_pump") as writer:
        bare = Finding("drag", "Drag", 2.0, 0.1, "mN m")
        limited = Finding("speed", "Speed", 2.0, 0.1, "rpm", 1.95, None, Verdict.INCONCLUSIVE)
        gate = unknown("run_complete", "Run ended as planned", "", "cut", evidence={"gate": True})
        writer.findings([bare, limited, gate], "inconclusive")
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("UPDATE findings SET verdict = 'inconclusive'")
    with Book(path, read_only=True) as book:
        assert [finding.verdict.value for finding in book.findings(1)] == [
            "info",
            "inconclusive",
            "inconclusive",
        ]
        told = {key: [point.verdict for point in book.trend(key, Wanted())] for key in ("drag", "speed")}
    assert told == {"drag": ["info"], "speed": ["inconclusive"]}
    drawn = tmp_path / "drag.svg"
    assert main(["book", "trend", "drag", "--book", str(path), "--plot", str(drawn)]) == 0
    assert " info " in capsys.readouterr().out
    assert ">info<" in drawn.read_text(encoding="utf-8")


def test_a_trend_is_asked_for_by_title_and_drawn_with_its_limits(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Only the key was understood, and the plot named neither title nor limit."""
    path, plot = tmp_path / "a.book", tmp_path / "a.svg"
    fill(path).close()
    assert main(["book", "trend", "fricT", "--book", str(path), "--plot", str(plot)]) == 0
    assert "Friction ± U" in capsys.readouterr().out
    drawn = plot.read_text(encoding="utf-8")
    assert "Friction, A" in drawn and "at most 0.5 A" in drawn
    assert main(["book", "trend", "nonsense", "--book", str(path)]) == 2


def test_a_long_list_is_one_line_a_run_within_the_width(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Laying out each cell took 5 s for 10 000 runs."""
    monkeypatch.setattr("strokebench.terminal.book_tables.MANY", 3)
    path = tmp_path / "a.book"
    with fill(path) as book:
        book.add_note(6, "runs smoothly now, but only when it is warm, and it was never asked for at all")
    assert main(["book", "list", "--limit", "0", "--book", str(path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 8 and max(map(len, lines)) <= 80
    assert lines[1].startswith("6") and lines[1].endswith("…")
    assert main(["book", "trend", "friction", "--book", str(path)]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 7
