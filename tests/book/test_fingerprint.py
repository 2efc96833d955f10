"""Fingerprints of runs see what differs, and only that."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from strokebench.parts import part_names
from tools.evidence.fingerprint import DEFECTS, book_texts, cases, differences, report_text


def test_every_part_is_run_good_and_with_a_defect() -> None:
    assert set(DEFECTS) == set(part_names())
    assert all(defects for defects in DEFECTS.values())
    assert (
        len({case.name for case in cases()})
        == len(list(cases()))
        == 3 * len(DEFECTS) + sum(map(len, DEFECTS.values()))
    )


def test_differences_are_named_also_what_is_missing_or_new() -> None:
    old = {"a": {"rows": "1", "report": "2"}, "b": {"rows": "3"}}
    assert differences(old, old) == []
    assert differences(old, {"a": {"rows": "9", "report": "2"}, "c": {"rows": "3"}}) == [
        "a: rows", "b: rows", "c: rows",
    ]  # fmt: skip


def test_a_report_is_its_words_without_the_day(tmp_path: Path) -> None:
    page = tmp_path / "a.html"
    page.write_text(
        "<style>p {}</style><p>Friction <b>1.2&nbsp;A</b></p><p>2026-01-02 10:11 UTC</p>", "utf-8"
    )
    assert report_text(page).split("\n") == ["Friction", "1.2\xa0A", "DATE"]


def test_a_book_is_its_rows_without_their_numbers(tmp_path: Path) -> None:
    texts = []
    for number, packed in enumerate((b"same", b"same", b"other")):
        book = tmp_path / f"{number}.book"
        with sqlite3.connect(book) as connection:
            for table in ("batches", "marks", "events", "bursts", "findings"):
                connection.execute(f"CREATE TABLE {table} (id, run_id, number, data)")
                connection.execute(f"INSERT INTO {table} VALUES (?, ?, 1, ?)", (number, number, packed))
        connection.close()
        texts.append(book_texts(book))
    assert texts[0] == texts[1] and texts[0] != texts[2] and set(texts[0]) == set(texts[2])
