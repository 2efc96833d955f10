"""The job pages of the panel: list, one job, what is written down of it, its photos, its report."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import FastAPI, Form, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile

from strokebench.book.book import Book
from strokebench.book.jobs.model import TEXTS
from strokebench.data.photo import LONGEST_FILE, prepared
from strokebench.errors import DataError, StrokebenchError
from strokebench.panel.failures import sorry
from strokebench.panel.pages.jobs import job_page, jobs_page
from strokebench.panel.pages.stop import REPORT_POLICY, with_stop
from strokebench.report.workshop import workshop_for

if TYPE_CHECKING:
    from strokebench.book.jobs.model import Job

SHOWN = 100
"""Jobs in the list at most, the newest."""
OVERHEAD = 64 * 1024
"""Bytes of a form besides its file."""
Deed = Callable[[Book], int]
"""Does something in the book and returns the number of the job to be shown."""


def add_job_routes(app: FastAPI, book: Path, drawing: threading.Lock) -> None:
    """Add the pages of the jobs in ``book``; ``drawing`` is held while figures are made."""

    @app.get("/jobs", response_class=HTMLResponse)
    def _list() -> str:
        return _list_page(book)

    @app.get("/jobs/{job_id}", response_class=HTMLResponse)
    def _show(job_id: int) -> str:
        return _job_page(book, job_id)

    @app.get("/jobs/{job_id}/report")
    def _report(job_id: int) -> Response:
        return _report_page(book, job_id, drawing)

    @app.post("/jobs")
    async def _new(request: Request) -> Response:
        texts = await _texts(request)
        return await run_in_threadpool(_done, book, lambda opened: opened.jobs.new(**texts))

    @app.post("/jobs/{job_id}/change")
    async def _change(request: Request, job_id: int) -> Response:
        texts = await _texts(request)

        def change(opened: Book) -> int:
            opened.jobs.change(job_id, **texts)
            return job_id

        return await run_in_threadpool(_done, book, change)

    _add_deeds(app, book)


def _add_deeds(app: FastAPI, book: Path) -> None:
    @app.post("/jobs/{job_id}/run")
    def _run(job_id: int, run_id: int = Form(), role: str = Form("", max_length=20)) -> Response:
        def add(opened: Book) -> int:
            opened.jobs.add_run(job_id, run_id, role)
            return job_id

        return _done(book, add)

    @app.post("/jobs/{job_id}/sign")
    def _sign(job_id: int, by: str = Form("", max_length=200)) -> Response:
        def sign(opened: Book) -> int:
            opened.jobs.sign(job_id, by)
            return job_id

        return _done(book, sign)

    @app.post("/jobs/{job_id}/photo")
    async def _photo(request: Request, job_id: int) -> Response:
        length = request.headers.get("content-length", "")
        if not length.isdecimal() or int(length) > LONGEST_FILE + OVERHEAD:  # before any of it is read
            return sorry(DataError("The picture is too large.", "Take a smaller one."), 413)
        async with request.form(max_files=1, max_fields=2) as form:
            file, caption = form.get("file"), str(form.get("caption") or "")
            data = await file.read() if isinstance(file, UploadFile) else b""

        def add(opened: Book) -> int:
            opened.jobs.add_photo(job_id, prepared(data, "The file"), data, caption)
            return job_id

        return await run_in_threadpool(_done, book, add)


async def _texts(request: Request) -> dict[str, str]:
    """Return the texts of a job that a form has; line ends as everywhere else."""
    async with request.form(max_files=0, max_fields=len(TEXTS) + 2) as form:
        return {name: str(form[name]).replace("\r\n", "\n") for name in TEXTS if name in form}


def _done(book: Path, deed: Deed) -> Response:
    """Do something in the book and lead to the job's page; say what was wrong otherwise."""
    try:
        with Book(book) as opened:
            job_id = deed(opened)
    except StrokebenchError as error:
        return sorry(error, 400)
    return RedirectResponse(f"/jobs/{job_id}", 303)


def _list_page(book: Path) -> str:
    jobs: list[Job] = []
    if book.exists():
        with Book(book, read_only=True) as opened:
            jobs = opened.jobs.all()
    return jobs_page(jobs[:SHOWN], len(jobs), workshop_for(book).moment)


def _job_page(book: Path, job_id: int) -> str:
    with Book(book, read_only=True) as opened:
        job, photos = opened.jobs.get(job_id), opened.jobs.photos(job_id)
        numbers = {each.run.run_id for each in job.attempts}
        free = [run for run in reversed(opened.runs()[-SHOWN:]) if run.run_id not in numbers]
        free = [run for run in free if opened.jobs.of_run(run.run_id) is None]
    return job_page(job, photos, free, workshop_for(book).moment)


def _report_page(book: Path, job_id: int, drawing: threading.Lock) -> Response:
    from strokebench.report.job import load_job, render_job

    with Book(book, read_only=True) as opened:
        found = load_job(opened, job_id)
    with drawing:
        text = render_job(found, workshop_for(book))
    return HTMLResponse(with_stop(text), headers={"content-security-policy": REPORT_POLICY})
