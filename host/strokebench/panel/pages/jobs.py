"""The job pages: all jobs, and one job with its attempts, photos, texts and signature."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from strokebench.book.jobs.model import MOST_CAPTION, MOST_NAME, ROLES, TEXTS, TITLES
from strokebench.panel.pages.findings import SIGNS
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.tags import card, select, table, tag

if TYPE_CHECKING:
    from strokebench.book.contents import RunSummary
    from strokebench.book.jobs.model import Job, JobPhoto

Moment = Callable[[str], str]
"""A time of the book as the workshop's date and time."""
COMPLAINT_SHOWN = 80
LONG = 200
"""A text that may be longer has a box of several lines."""
JOB_HEADS = ("Job", "Verdict", "Customer", "Vehicle", "Complaint", "Opened", "Runs")


def jobs_page(jobs: Sequence[Job], count: int, moment: Moment) -> str:
    """Return the page of the newest ``jobs`` of ``count``, and the form that opens one more."""
    with frame("/jobs", "Jobs") as page, tag("div", classes="sheet"):
        tag("h1", "Jobs")
        if jobs:
            with table("Table of jobs", JOB_HEADS, "card"):
                for job in jobs:
                    _job_row(job, moment)
            if count > len(jobs):
                tag("p", f"The newest {len(jobs)} of {count} jobs.", "hint")
        else:
            tag("p", "There is no job in this book yet.")
        with card("Open a job"), tag("form", method="post", action="/jobs"):
            _texts(None)
            tag("button", "Open the job", "main", type="submit")
    return written(page)


def _job_row(job: Job, moment: Moment) -> None:
    with tag("tr"):
        with tag("th", scope="row"):
            tag("a", f"Job {job.job_id}", href=f"/jobs/{job.job_id}")
        tag("td", _word(job.verdict) + (", signed" if job.signed_at else ""), f"word {job.verdict or ''}")
        tag("td", job.customer or "\u2013", "words")
        tag("td", job.vehicle or "\u2013", "words")
        tag("td", _shortened(job.complaint) or "\u2013", "words")
        tag("td", moment(job.opened_at)[:10], "number")
        tag("td", str(len(job.attempts)), "number")


def _word(verdict: str | None) -> str:
    return f"{SIGNS[verdict]} {verdict}" if verdict else "\u2013"


def _shortened(text: str) -> str:
    return text if len(text) <= COMPLAINT_SHOWN else text[:COMPLAINT_SHOWN].rsplit(" ", 1)[0] + " \u2026"


def job_page(job: Job, photos: Sequence[JobPhoto], free: Sequence[RunSummary], moment: Moment) -> str:
    """Return the page of one job; ``free``: the runs that it could take. A signed one cannot be changed."""
    with frame("/jobs", f"Job {job.job_id}") as page, tag("div", classes="sheet"):
        tag("h1", f"Job {job.job_id}")
        if job.verdict:
            with tag("p", classes=f"verdict {job.verdict}"):
                tag("strong", f"{SIGNS[job.verdict]} {job.verdict.capitalize()}")
        _attempts(job, moment)
        if photos:
            _photos(photos)
        if job.signed_at:
            _signed(job, moment)
        else:
            _forms(job, free, moment)
    return written(page)


def _attempts(job: Job, moment: Moment) -> None:
    with card("Attempts"):
        if not job.attempts:
            tag("p", "No attempt yet. Run the part, then choose the run below.")
            return
        with table("Table of attempts", ("Attempt", "Run", "Begun", "Part", "Verdict")):
            for each in job.attempts:
                run = each.run
                with tag("tr"):
                    tag("th", each.role, scope="row")
                    with tag("td"):
                        tag("a", f"Run {run.run_id}", href=f"/report/{run.run_id}")
                    tag("td", moment(run.started_at), "number")
                    tag("td", run.part, "words")
                    tag("td", _word(run.verdict) if run.verdict else run.outcome, f"word {run.verdict or ''}")
        with tag("p"):
            tag("a", "Report for the customer, with its annex", href=f"/jobs/{job.job_id}/report")


def _photos(photos: Sequence[JobPhoto]) -> None:
    with card("Photos"), tag("div", classes="photos"):
        for each in photos:
            with tag("figure"):
                tag("img", src=each.photo.address, alt=each.caption or f"Photo {each.number}")
                tag("figcaption", each.caption)


def _signed(job: Job, moment: Moment) -> None:
    with card("Signed"):
        tag("p", f"Signed by {job.signed_by}, {moment(job.signed_at)}. The job can no longer be changed.")
        with tag("dl"):
            for name in TEXTS:
                if getattr(job, name):
                    tag("dt", TITLES[name])
                    tag("dd", getattr(job, name))


def _forms(job: Job, free: Sequence[RunSummary], moment: Moment) -> None:
    here = f"/jobs/{job.job_id}"
    if free:
        with card("Add a run to the job"), tag("form", method="post", action=f"{here}/run"):
            select("Run", "run_id", [(str(run.run_id), _run_words(run, moment)) for run in free], "")
            select("Measured", "role", [(role, role) for role in ROLES], job.next_role)
            tag("button", "Add the run", "main", type="submit")
    with card("Description and work done"), tag("form", method="post", action=f"{here}/change"):
        _texts(job)
        tag("button", "Save", "main", type="submit")
    photo = {"method": "post", "action": f"{here}/photo", "enctype": "multipart/form-data"}
    with card("Add a photo"), tag("form", **photo):
        with tag("div", classes="field"):
            tag("label", "JPEG or PNG", for_="file")
            tag("input", type="file", id="file", name="file", accept="image/jpeg,image/png", required=True)
        _line("Caption", "caption", MOST_CAPTION)
        tag("button", "Add the photo", "main", type="submit")
    if job.attempts:
        with card("Sign"), tag("form", method="post", action=f"{here}/sign"):
            _line("Name", "by", MOST_NAME, required=True)
            tag("p", "A signed job can no longer be changed.", "hint")
            tag("button", "Sign the job", "main", type="submit")


def _run_words(run: RunSummary, moment: Moment) -> str:
    return f"{run.run_id}: {run.part}, {moment(run.started_at)}, {run.verdict or run.outcome}"


def _texts(job: Job | None) -> None:
    """Put a box for each text of a job; what was done belongs to one that is open."""
    for name, longest in TEXTS.items():
        if name == "done" and job is None:
            continue
        value = getattr(job, name) if job else ""
        if longest <= LONG:
            _line(TITLES[name], name, longest, value)
            continue
        with tag("div", classes="field"):
            tag("label", TITLES[name], for_=name)
            tag("textarea", value, id=name, name=name, rows=3, maxlength=longest)


def _line(label: str, name: str, longest: int, value: str = "", *, required: bool = False) -> None:
    with tag("div", classes="field"):
        tag("label", label, for_=name)
        box = tag("input", type="text", id=name, name=name, value=value, autocomplete="off")
        box.props |= {"maxlength": longest, "required": required}
