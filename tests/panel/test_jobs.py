"""The panel's job pages: a job is opened, written in, given a photo and runs, signed, and reported."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from strokebench.book.book import Book

from tests.book.test_evidence import written
from tests.book.test_jobs import picture

fastapi = pytest.importorskip("fastapi")
jobs = pytest.importorskip("strokebench.panel.jobs")
failures = pytest.importorskip("strokebench.panel.failures")
client = pytest.importorskip("starlette.testclient", reason="needs httpx", exc_type=ImportError)


@pytest.fixture
def at(tmp_path: Path) -> tuple[object, Path]:
    """A client of the job pages, and the book that they are of; it has two runs."""
    book = tmp_path / "a.book"
    written(book)
    app = fastapi.FastAPI()
    failures.add_error_pages(app)
    jobs.add_job_routes(app, book, threading.Lock())
    return client.TestClient(app, follow_redirects=False), book


def test_a_job_from_opening_to_signature(at: tuple[object, Path]) -> None:
    web, path = at
    get, post = web.get, web.post  # type: ignore[attr-defined]
    assert "no job in this book" in get("/jobs").text
    opened = post("/jobs", data={"customer": "C-1 <b>", "complaint": "rough\r\nidle"})
    assert (opened.status_code, opened.headers["location"]) == (303, "/jobs/1")
    assert post("/jobs/1/run", data={"run_id": "1", "role": "before"}).status_code == 303
    assert post("/jobs/1/change", data={"done": "cleaned", "customer": "C-1 <b>"}).status_code == 303
    assert post("/jobs/1/run", data={"run_id": "2"}).status_code == 303
    sent = post("/jobs/1/photo", files={"file": ("a.jpg", picture())}, data={"caption": "the valve"})
    assert sent.status_code == 303
    page = get("/jobs/1")
    for wanted in ("C-1 &lt;b&gt;", "cleaned", "the valve", "data:image/jpeg", "/report/1", 'id="by"'):
        assert wanted in page.text, wanted
    assert "<b>" not in page.text and "STOP" in page.text
    assert "content-security-policy" not in page.headers, "the guard's is in force, as on the other pages"
    assert post("/jobs/1/sign", data={"by": "A. Miller"}).status_code == 303
    assert "Signed by A. Miller" in get("/jobs/1").text and "<form" not in get("/jobs/1").text
    assert ", signed" in get("/jobs").text
    with Book(path, read_only=True) as book:
        job = book.jobs.get(1)
        assert (job.complaint, job.done) == ("rough\nidle", "cleaned")
        assert [each.role for each in job.attempts] == ["before", "after"]
        assert book.problems() == []


@pytest.mark.parametrize(
    ("address", "sent", "code", "sentence"),
    [
        ("/jobs/7/change", {"data": {"done": "x"}}, 400, "no job 7"),
        ("/jobs", {"data": {"vehicle": "x" * 200}}, 400, "at most 120"),
        ("/jobs/1/run", {"data": {"run_id": "9"}}, 400, "no run 9"),
        ("/jobs/1/sign", {"data": {"by": "me"}}, 400, "no attempt"),
        ("/jobs/1/photo", {"files": {"file": ("a.jpg", b"<svg/>")}}, 400, "no JPEG or PNG"),
        ("/jobs/1/photo", {"headers": {"content-length": "99999999"}, "content": b"x"}, 413, "too large"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_a_sentence(
    at: tuple[object, Path], address: str, sent: dict[str, object], code: int, sentence: str
) -> None:
    web, path = at
    with Book(path) as book:
        book.jobs.new()
    answer = web.post(address, **sent)  # type: ignore[attr-defined]
    assert answer.status_code == code and sentence in answer.text
    assert 'data-do="stop"' in answer.text and "To the jobs" in answer.text, "an error page has STOP as well"
    assert web.get("/jobs/7").status_code == 404  # type: ignore[attr-defined]
    with Book(path, read_only=True) as book:
        assert len(book.jobs.all()) == 1 and book.problems() == []
