"""An export says which bench it is from and by which limits it was judged, with names or without them."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.data.run import Burst
from strokebench.foreign.read import read_csv
from strokebench.parts import profile_of
from strokebench.verdict.examine import examine

PRIVATE = ("Huber", "SN-4711", "owed money")
FORMATS = ["csv", "export", *(pytest.param(form, marks=pytest.mark.extras) for form in ("parquet", "mdf"))]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with two runs of one customer's part, judged."""
    path = tmp_path_factory.mktemp("shop") / "shop.book"
    for seed in ("1", "2"):
        command = ["run", "solenoid", "--sim", "--seed", seed, "--no-report", "--book", str(path)]
        command += ["--customer", PRIVATE[0], "--serial", PRIVATE[1], "--note", PRIVATE[2]]
        assert main(command) == 0
    return path


def export(
    book: Path, folder: Path, form: str, *more: str, run: int = 1
) -> tuple[list[Path], dict[str, Any]]:
    """Export a run; return the files that came of it, and what they say that it belongs to."""
    folder.mkdir(exist_ok=True)
    words = ["export", str(run)] if form == "export" else ["book", "export", "--run", str(run)]
    target = {"csv": "r.csv", "export": "r.csv", "mdf": "r.mf4", "parquet": ""}[form]
    option = {"csv": "--csv", "export": "--csv", "mdf": "--mdf", "parquet": "--parquet"}[form]
    assert main([*words, option, str(folder / target), *more, "--book", str(book)]) == 0
    return sorted(path for path in folder.rglob("*") if path.is_file()), said(folder, form)


def said(folder: Path, form: str) -> dict[str, Any]:
    if form == "mdf":
        asammdf = pytest.importorskip("asammdf")
        with asammdf.MDF(folder / "r.mf4") as file:
            data, name, _digest = file.extract_attachment(index=0)
            assert str(name) == "strokebench.about.json"
            return json.loads(data)  # type: ignore[no-any-return]
    if form == "parquet":
        parquet = pytest.importorskip("pyarrow.parquet")
        (findings,), (samples,) = ((folder / kind).rglob("*.parquet") for kind in ("findings", "samples"))
        rows = json.loads(parquet.read_schema(samples).metadata[b"strokebench"])
        assert rows["accuracy"]
        assert not {"customer", "part_serial", "note"} & set(rows)  # the same file with names and without
        return json.loads(parquet.read_schema(findings).metadata[b"strokebench"])  # type: ignore[no-any-return]
    return json.loads((folder / "r.about.json").read_text(encoding="utf-8"))  # type: ignore[no-any-return]


@pytest.mark.parametrize("form", FORMATS)
def test_an_export_tells_bench_firmware_calibration_and_limits(shop: Path, tmp_path: Path, form: str) -> None:
    """CSV and MDF told none of it."""
    _files, about = export(shop, tmp_path, form)
    with Book(shop, read_only=True) as book:
        run, profile, findings = book.load(1), book.profile(1), book.findings(1)
    identity = run.info["identity"]
    assert (about["bench"], about["firmware"]) == (identity["uid"], identity["firmware"])
    assert about["calibration"] == str(identity["calibration_id"])
    assert about["accuracy"] == run.accuracy
    assert about["profile"] == profile
    assert about["seal"] == run.info["seal"]
    assert about["verdict"] == "pass"
    limits = [(finding.key, finding.lower, finding.upper, finding.verdict.value) for finding in findings]
    assert [(f["key"], f["lower"], f["upper"], f["verdict"]) for f in about["findings"]] == limits
    assert (about["customer"], about["part_serial"], about["note"]) == PRIVATE


@pytest.mark.parametrize("form", FORMATS)
def test_without_names_nobody_is_named_and_the_same_name_is_the_same_pseudonym(
    shop: Path, tmp_path: Path, form: str
) -> None:
    told = []
    for run in (1, 2):
        files, about = export(shop, tmp_path / str(run), form, "--without-names", run=run)
        assert files
        for file in files:
            assert not any(word.encode() in file.read_bytes() for word in PRIVATE)
        assert not any(word in json.dumps(about) for word in PRIVATE)
        told.append((about["customer"], about["part_serial"]))
    assert told[0] == told[1]
    assert all(len(name) == 16 for name in told[0])
    assert told[0][0] != told[0][1]


def test_another_book_has_other_pseudonyms(shop: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.book"
    with Book(other) as book, book.new_run("solenoid", "solenoid", customer=PRIVATE[0]):
        pass
    _, mine = export(shop, tmp_path / "a", "csv", "--without-names")
    _, theirs = export(other, tmp_path / "b", "csv", "--without-names")
    assert len(theirs["customer"]) == 16
    assert theirs["customer"] != mine["customer"]


def test_a_verdict_is_worked_out_again_from_what_was_exported(shop: Path, tmp_path: Path) -> None:
    """Rows from the CSV, everything else from what lies beside it: the same findings and the same verdict."""
    _, about = export(shop, tmp_path, "csv", "--without-names")
    with Book(shop, read_only=True) as book:
        stored, bursts = book.findings(1), book.load(1).bursts
    run = read_csv(tmp_path / "r.csv")
    run.accuracy = about["accuracy"]
    run.info |= {name: about[name] for name in ("fault", "lost_rows", "outcome")}
    run.bursts = bursts  # which a CSV does not hold
    findings, verdict = examine(run, profile_of(about["profile"], "export"))
    assert verdict.value == about["verdict"]
    again = {finding.key: finding for finding in findings}
    assert set(again) == {finding.key for finding in stored}
    for finding in stored:
        other = again[finding.key]
        assert other.verdict == finding.verdict, finding.key
        if finding.known and finding.u > 0:
            assert abs(other.value - finding.value) < 0.2 * finding.u, finding.key


def test_a_file_beside_the_csv_is_not_written_over(shop: Path, tmp_path: Path) -> None:
    mine = tmp_path / "r.about.json"
    mine.write_text("mine", encoding="utf-8")
    command = ["export", "1", "--csv", str(tmp_path / "r.csv"), "--book", str(shop)]
    assert main(command) == 6
    assert mine.read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "r.csv").exists()
    assert main([*command, "--force"]) == 0
    assert json.loads(mine.read_text(encoding="utf-8"))["run_id"] == 1


def test_rows_on_standard_output_stand_alone(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["export", "1", "--csv", "-", "--book", str(shop)]) == 0
    assert capsys.readouterr().out.startswith("time_s,")
    assert list(tmp_path.iterdir()) == []


def test_a_profile_that_cannot_be_read_does_not_cost_the_rows(shop: Path, tmp_path: Path) -> None:
    damaged = tmp_path / "d.book"
    shutil.copyfile(shop, damaged)
    with closing(sqlite3.connect(damaged)) as raw, raw:
        raw.execute("UPDATE runs SET profile = '{'")
        raw.execute("UPDATE findings SET verdict = 'maybe'")
    _, about = export(damaged, tmp_path, "csv")
    assert about["profile"] is None
    assert about["findings"] is None
    assert len((tmp_path / "r.csv").read_text(encoding="utf-8").splitlines()) > 1000


def test_what_json_has_no_number_for_is_null(tmp_path: Path) -> None:
    from strokebench.book.export.about import about, as_text

    with Book(tmp_path / "a.book") as book:
        with book.new_run("solenoid", "solenoid", info={"fault": float("inf")}) as writer:
            writer.burst(Burst("current_a", "A", 1000.0, 0.0, np.zeros(3)))
        found = about(book, book.load(1))
    assert found["fault"] is None
    assert json.loads(as_text(found), parse_constant=lambda word: pytest.fail(word)) == found


@pytest.mark.extras
@pytest.mark.parametrize("first", [[], ["--without-names"]], ids=["with", "without"])
def test_one_folder_takes_recordings_with_names_or_without(
    shop: Path, tmp_path: Path, first: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The second export left the first one's names there, and said that it was written."""
    pytest.importorskip("pyarrow")
    command = ["book", "export", "--parquet", str(tmp_path / "lake"), "--book", str(shop)]
    assert main([*command, *first]) == 0
    assert main([*command, *first]) == 0
    second = [] if first else ["--without-names"]
    assert main([*command, *second]) == 6
    assert "Choose another folder" in capsys.readouterr().err


@pytest.mark.extras
def test_a_run_that_cannot_be_read_costs_that_run_of_an_export(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It stopped the export of all that follow it."""
    pytest.importorskip("pyarrow")
    damaged = tmp_path / "d.book"
    shutil.copyfile(shop, damaged)
    with closing(sqlite3.connect(damaged)) as raw, raw:
        raw.execute("UPDATE runs SET info = 'x' WHERE id = 1")
    assert main(["book", "export", "--parquet", str(tmp_path / "lake"), "--book", str(damaged)]) == 6
    assert len(list((tmp_path / "lake" / "findings").rglob("*.parquet"))) == 1
    assert "run 1" in capsys.readouterr().err
