"""Jobs in the book: what is kept, sealed and refused; books of older versions; saving from a damaged book."""

from __future__ import annotations

import io
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image
from strokebench.book import schema
from strokebench.book.book import Book
from strokebench.book.jobs.model import MOST_PHOTOS, TEXTS
from strokebench.book.recover import recover
from strokebench.cli import main
from strokebench.data.photo import LONGEST_FILE, LONGEST_SIDE, prepared, read_photo
from strokebench.errors import BookError, DataError, UsageError

from tests.book.test_evidence import change, problems, written

GPS = 0x8825
ORIENTATION = 0x0112


def picture(width: int = 60, height: int = 40, kind: str = "JPEG", turned: int = 1) -> bytes:
    """Return a picture file: left half red, right half blue, with a place and a direction in a JPEG."""
    image = Image.new("RGB", (width, height), "blue")
    image.paste("red", (0, 0, width // 2, height))
    exif = Image.Exif()
    exif[ORIENTATION] = turned
    exif.get_ifd(GPS)[1] = "N"
    target = io.BytesIO()
    image.save(target, kind, **({"exif": exif} if kind == "JPEG" else {}))
    return target.getvalue()


def with_job(path: Path) -> int:
    """Write a book of two runs with a job that has both, and a photo."""
    written(path)
    with Book(path) as book:
        job_id = book.jobs.new(customer="C-17", vehicle="estate, 2009", complaint="rough idle")
        assert book.jobs.add_run(job_id, 1) == "before"
        book.jobs.change(job_id, done="cleaned")
        assert book.jobs.add_run(job_id, 2) == "after"
        data = picture()
        assert book.jobs.add_photo(job_id, prepared(data, "a.jpg"), data, "the valve") == 1
    return job_id


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with_job(tmp_path / "a.book")
    return tmp_path / "a.book"


def test_a_job_comes_back_as_it_was_written(path: Path) -> None:
    with Book(path, read_only=True) as book:
        job = book.jobs.get(1)
        (photo,) = book.jobs.photos(1)
        assert (job.customer, job.vehicle, job.complaint) == ("C-17", "estate, 2009", "rough idle")
        assert (job.done, job.photo_count) == ("cleaned", 1)
        assert [(each.role, each.run.run_id) for each in job.attempts] == [("before", 1), ("after", 2)]
        assert job.verdict == "pass"
        assert photo.caption == "the valve" and photo.photo.usable
        assert book.jobs.of_run(2) == 1
        assert [each.job_id for each in book.jobs.all()] == [1]
    assert problems(path) == ""


ALTERED = {
    "UPDATE jobs SET complaint = 'rough idlf'": "Job 1, texts, complaint: byte 10 of 10 is altered",
    "UPDATE jobs SET done = 'replaced'": "Job 1, texts, done: 8 bytes where 7",
    "UPDATE jobs SET signed_by = 'me'": "Job 1, texts, signed_by",
    "UPDATE attempts SET role = 'before' WHERE run_id = 2": "Job 1, attempts, run 2",
    "DELETE FROM attempts WHERE run_id = 1": "Job 1, attempts, 1 entries where 2",
    "UPDATE runs SET uid = 'x' WHERE id = 2": "Job 1, attempts, run 2",
    "UPDATE photos SET caption = 'a valve'": "Job 1, photos, photo 1",
    "UPDATE photos SET data = x'ffd8ff'": "Job 1, photos, photo 1",
    "DELETE FROM photos": "Job 1, photos, 0 entries where 1",
    "DELETE FROM job_seals WHERE number = 4": "its seal does not follow the one before it",
    "DELETE FROM job_seals WHERE what = 'photos'": "Job 1, photos: its seal is missing",
    "UPDATE job_seals SET link = 'x'": "one of them cannot be read",
}


@pytest.mark.parametrize("statement", ALTERED)
def test_what_was_altered_in_a_job_is_named(path: Path, statement: str) -> None:
    change(path, statement)
    assert ALTERED[statement] in problems(path)
    assert main(["book", "check", "--book", str(path)]) == 6


@pytest.mark.parametrize("job", [1, 2])
def test_a_job_taken_out_before_the_newest_is_missed(path: Path, job: int) -> None:
    with Book(path) as book:
        book.jobs.new()
        book.jobs.new()
    change(path, "DELETE FROM jobs WHERE id = ?", job)
    assert "Some jobs are missing" in problems(path)


def test_a_signed_job_stays_as_it_is_and_keeps_the_seals_of_its_runs(path: Path) -> None:
    with Book(path) as book:
        with pytest.raises(UsageError, match="needs a name"):
            book.jobs.sign(1, " ")
        book.jobs.sign(1, "A. Miller")
        assert book.jobs.get(1).signed_by == "A. Miller"
        for deed in (
            lambda: book.jobs.change(1, done="nothing"),
            lambda: book.jobs.add_run(1, 1, "after"),
            lambda: book.jobs.sign(1, "B"),
            lambda: book.jobs.check_open(1),
        ):
            with pytest.raises(UsageError, match="signed by A"):
                deed()
        book.add_note(1, "seen later")  # a run's words may grow: it is still the one that was signed
    assert problems(path) == ""
    signed = "UPDATE jobs SET signed_seals = replace(signed_seals, '\"2\"', '\"1\"')"
    change(path, signed)
    assert "signature: run 1 is not the one that was signed" in problems(path)


def test_a_job_without_attempts_cannot_be_signed(tmp_path: Path) -> None:
    with Book(tmp_path / "a.book") as book:
        book.jobs.new()
        with pytest.raises(UsageError, match="no attempt"):
            book.jobs.sign(1, "me")


def test_what_does_not_fit_is_refused(path: Path) -> None:
    with Book(path) as book:
        jobs = book.jobs
        other = jobs.new()
        with pytest.raises(UsageError, match="has 121 letters, at most 120"):
            jobs.new(customer="x" * 121)
        with pytest.raises(UsageError, match="no 'colour'"):
            jobs.change(1, colour="red")
        with pytest.raises(UsageError, match="no job 9"):
            jobs.add_run(9, 1)
        with pytest.raises(UsageError, match="no run 9"):
            jobs.add_run(1, 9)
        with pytest.raises(UsageError, match="belongs to job 1"):
            jobs.add_run(other, 1)
        with pytest.raises(UsageError, match="no kind of attempt"):
            jobs.add_run(1, 1, "later")
        data = picture()
        for _ in range(MOST_PHOTOS - 1):
            jobs.add_photo(1, prepared(data, "a.jpg"), data)
        with pytest.raises(UsageError, match="12 photos already"):
            jobs.add_photo(1, prepared(data, "a.jpg"), data)
        assert book.problems() == []
    assert max(TEXTS.values()) == 300


def test_the_seal_on_a_report_names_the_job(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Book(path, read_only=True) as book:
        seal = book.jobs.get(1).seal
        assert book.jobs.find_seal(seal[:16]) is not None
    assert main(["book", "check", "--book", str(path), "--seal", seal[:20]]) == 0
    assert "of job 1" in capsys.readouterr().out


@pytest.mark.parametrize("turned", [1, 6])
def test_a_photo_is_upright_small_and_says_nothing_about_the_place(turned: int) -> None:
    kept = prepared(picture(4000, 1000, turned=turned), "a.jpg")
    image = Image.open(io.BytesIO(kept.data))
    assert max(image.size) == LONGEST_SIDE
    assert (image.width > image.height) == (turned == 1)  # EXIF 2.32, 4.6.4: 6 is a quarter turn
    assert not image.getexif()
    first = image.convert("RGB").getpixel((10, 10))
    assert isinstance(first, tuple) and first[0] > 200 and first[2] < 60


def test_a_png_stays_one_and_a_large_one_does_not() -> None:
    assert prepared(picture(kind="PNG"), "a.png").kind == "png"
    noise = Image.effect_noise((1200, 900), 90).convert("RGB")
    target = io.BytesIO()
    noise.save(target, "PNG")
    assert prepared(target.getvalue(), "a.png").kind == "jpeg"


def test_files_that_are_no_photo_are_refused(tmp_path: Path) -> None:
    whole = picture(800, 600)
    for data, sentence in (
        (b"<svg onload='x'/>", "no JPEG or PNG"),
        (b"", "no JPEG or PNG"),
        (whole[: len(whole) // 2], "damaged"),
        (b"\x89PNG\r\n\x1a\n" + b"x" * 100, "damaged"),
        (b"\xff\xd8\xff" + bytes(LONGEST_FILE), "larger than 25 MB"),
        (_bomb(), "pixels, more than 60 million"),
    ):
        with pytest.raises(DataError, match=sentence):
            prepared(data, "a.jpg")
    with pytest.raises(BookError, match="no file"):
        read_photo(tmp_path / "nothing.jpg")


def _bomb() -> bytes:
    """Return a small PNG file that says it is 9000 by 9000 pixels."""
    import struct
    import zlib

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", 9000, 9000, 8, 0, 0, 0, 0)
    data = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + data


def old_book(path: Path) -> None:
    """Make a book as the version before jobs left it: its tables only."""
    written(path)
    with closing(sqlite3.connect(path)) as raw, raw:
        for name in ("job_seals", "photos", "attempts", "jobs"):
            raw.execute(f"DROP TABLE {name}")
        raw.execute("PRAGMA user_version = 2")


def test_a_book_from_before_jobs_is_read_as_it_is_and_gets_them_when_written(tmp_path: Path) -> None:
    path = tmp_path / "old.book"
    old_book(path)
    before = path.read_bytes()
    with Book(path, read_only=True) as book:
        assert book.load(1).info["customer"] == "C-17"
        assert book.problems() == [] and book.jobs.all() == [] and book.jobs.of_run(1) is None
        with pytest.raises(UsageError, match="no job 1"):
            book.jobs.get(1)
    assert path.read_bytes() == before
    assert recover(path, tmp_path / "saved.book")[0] == 2
    with Book(path) as book:
        job = book.jobs.new(vehicle="van")
        book.jobs.add_run(job, 2)
        assert book.problems() == []
        assert schema.version_of(book._connection) == len(schema.MIGRATIONS)
        assert book.load(1).info["seal"]


def test_jobs_are_saved_from_a_damaged_book_and_the_rest_is_listed(path: Path, tmp_path: Path) -> None:
    with Book(path) as book:
        book.jobs.sign(1, "A. Miller")
        second = book.jobs.new(vehicle="van")
        data = picture()
        book.jobs.add_photo(second, prepared(data, "a.jpg"), data)
    change(path, "UPDATE photos SET kind = 'gif' WHERE job_id = 2")
    change(path, "UPDATE jobs SET complaint = x'00' WHERE id = 2")
    count, lost = recover(path, tmp_path / "saved.book")
    assert count == 2
    said = "\n".join(lost)
    for sentence in ("signature of A. Miller", "Job 2, complaint", "Job 2, photos"):
        assert sentence in said
    with Book(tmp_path / "saved.book", read_only=True) as saved:
        assert saved.problems() == []
        job = saved.jobs.get(1)
        assert [each.role for each in job.attempts] == ["before", "after"] and job.photo_count == 1
        assert job.signed_by == "" and saved.jobs.get(2).vehicle == "van"


@pytest.mark.parametrize(
    "statement",
    ["UPDATE jobs SET vehicle = x'00'", "UPDATE attempts SET role = 'never'", "UPDATE photos SET kind = 5",
     "UPDATE photos SET data = 'text'", "UPDATE jobs SET signed_seals = '[['"],
)  # fmt: skip
def test_a_strangers_job_ends_in_a_sentence(path: Path, statement: str) -> None:
    change(path, statement)
    for command in ("job list", "job show 1", "book check"):
        assert main([*command.split(), "--book", str(path)]) in (0, 6)
    with Book(path, read_only=True) as book:
        try:
            book.jobs.get(1)
            book.jobs.photos(1)
        except BookError as error:
            assert "damaged" in str(error)
        assert book.problems() != []


def test_two_jobs_may_be_opened_at_once(tmp_path: Path) -> None:
    with Book(tmp_path / "a.book") as one_book, Book(tmp_path / "a.book") as other:
        assert [one_book.jobs.new(), other.jobs.new()] == [1, 2]
        assert other.problems() == []


def test_jobs_are_readable_at_80_columns(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    with Book(path) as book:
        book.jobs.change(1, complaint="it idles roughly and stalls at lights " * 7, vehicle="[bold]estate")
    for command, wanted in (("list", "C-17"), ("show 1", "before")):
        assert main(["job", *command.split(), "--book", str(path)]) == 0
        shown = capsys.readouterr().out
        assert wanted in shown and "[bold]" in shown
        assert max(map(len, shown.splitlines())) <= 80
