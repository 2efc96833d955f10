"""The report of a job: the customer's page with before and after, what changed, and the annex of each run."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.book.jobs.model import TITLES, Job, JobPhoto
from strokebench.data.findings import Verdict
from strokebench.data.output import write_whole
from strokebench.errors import UsageError
from strokebench.report import comparison, content
from strokebench.report.annex import annex, own_ids
from strokebench.report.customer import Customer, cautions, front, outcome_of
from strokebench.report.page import page
from strokebench.report.pictures.beside_limits import beside_limits
from strokebench.report.pictures.drawing import Picture, drawn
from strokebench.report.pictures.two_runs import stretch
from strokebench.report.plates import plates
from strokebench.report.workshop import Workshop
from strokebench.verdict.compare import Comparison, Side, compare

if TYPE_CHECKING:
    from strokebench.book.book import Book

NAMES = ("before", "after")
WORDS = {"before": "before", "after": "after", "guided": "test with a person"}
ROWS_BESIDE = 3
"""Findings drawn against their limits on the customer's page at most."""
SHOWN = ("customer", "vehicle", "part_number", "part_serial", "complaint")
"""The texts at the head of the page, in this order."""


@dataclass(frozen=True)
class Tried:
    """An attempt with all that was measured, judged."""

    role: str
    side: Side


@dataclass(frozen=True)
class JobRecord:
    """A job with its photos and the attempts that the report shows: the newest of each kind."""

    job: Job
    photos: list[JobPhoto]
    tried: list[Tried]

    def of(self, role: str) -> Side | None:
        """Return the attempt of a role, None when there is none."""
        return next((each.side for each in self.tried if each.role == role), None)


def load_job(book: Book, job_id: int) -> JobRecord:
    """Return a job with its newest attempts; UsageError when it has none, BookError when it is damaged."""
    job = book.jobs.get(job_id)
    if not job.attempts:
        raise UsageError(
            f"Job {job_id} has no attempt yet.", f"Measure the part: strokebench run PART --job {job_id}."
        )
    newest = [(role, job.newest(role)) for role in WORDS]
    tried = [Tried(role, _side(book, each.run.run_id)) for role, each in newest if each is not None]
    return JobRecord(job, book.jobs.photos(job_id), tried)


def _side(book: Book, run_id: int) -> Side:
    from strokebench.parts import profile_of
    from strokebench.verdict.examine import examine

    run, findings = book.load(run_id), book.findings(run_id)
    profile = profile_of(book.profile(run_id), f"run {run_id}")
    if findings and run.info.get("verdict"):
        return Side(run, profile, str(run_id), findings, Verdict(run.info["verdict"]))
    return Side(run, profile, str(run_id), *examine(run, profile))  # cut before it was judged


def job_mark(job: Job) -> str:
    """Return what names a job in a report's head, by which its earlier report may be replaced."""
    return f"job {job.uid}"


def render_job(found: JobRecord, workshop: Workshop) -> str:
    """Return the report as HTML. All text that people typed is escaped; nothing is loaded from elsewhere."""
    both = _compared(found)
    changes = _changes(both) if both else None
    annexes = [
        annex(each.side.run, each.side.profile, each.side.findings, each.side.verdict, workshop, each.role)
        for each in found.tried
    ]
    return page(
        "report.html",
        mark=job_mark(found.job),
        paper=workshop.paper,
        customer=_customer(found, both, workshop),
        job=_facts(found, workshop),
        photos=found.photos,
        comparison=changes,
        annexes=annexes,
        plates=plates([*(changes["pictures"] if changes else []), *_recordings(annexes)], workshop.paper),
    )


def _recordings(annexes: list[dict[str, Any]]) -> list[Picture]:
    """Return the figures of all attempts, each named by its attempt where there are several."""
    many = len(annexes) > 1
    return [
        replace(picture, title=f"{picture.title}, {WORDS[each['role']]}") if many else picture
        for each in annexes
        for picture in each["pictures"]
    ]


def write_job_report(found: JobRecord, path: Path, workshop: Workshop, *, replace: bool = False) -> None:
    """Write the report; an earlier one of the same job is replaced, any other file only with ``replace``."""
    write_whole(path, render_job(found, workshop), replace=replace, mark=job_mark(found.job))


def _compared(found: JobRecord) -> Comparison | None:
    """Return before and after compared, None when there are not both, or of different kinds of part."""
    before, after = found.of("before"), found.of("after")
    if before is None or after is None or before.profile.kind != after.profile.kind:
        return None
    return compare(before, after)


def _changes(both: Comparison) -> dict[str, Any]:
    values = comparison.content(both, NAMES)
    return {**values, "pictures": [own_ids(picture, "both") for picture in values["pictures"]]}


def _customer(found: JobRecord, both: Comparison | None, workshop: Workshop) -> Customer:
    job, last = found.job, found.tried[0].side
    shown = [each for each in found.tried if each.role in NAMES] or found.tried
    last = shown[-1].side
    title = last.profile.part.title
    signed = f"Signed by {job.signed_by}, {workshop.moment(job.signed_at)}" if job.signed_at else ""
    newest = max(str(each.side.info.get("started_at")) for each in found.tried)
    return Customer(
        title=f"{last.verdict.value.upper()}: {title}, job {job.job_id}",
        part=title,
        workshop=workshop,
        date=workshop.moment(job.signed_at or newest)[:10],
        facts=[(TITLES[name], getattr(job, name)) for name in SHOWN if getattr(job, name)],
        outcomes=[_outcome(each, many=len(shown) > 1) for each in shown],
        done=job.done,
        pictures=_pictures(found, both),
        cautions=cautions(last.profile),
        simulated=any(content.is_simulated(each.side.run) for each in found.tried),
        photos=found.photos,
        technician=workshop.technician,
        signature=signed,
        job=f"job {job.job_id}",
        further=[_further(each) for each in found.tried if each not in shown],
    )


def _outcome(tried: Tried, *, many: bool) -> Any:
    side = tried.side
    when = WORDS[tried.role] if many or tried.role != "before" else ""
    return outcome_of(when, side.run, side.profile, side.findings, side.verdict)


def _further(tried: Tried) -> str:
    return f"{tried.side.profile.part.title}, {WORDS[tried.role]}: {tried.side.verdict.value}."


def _pictures(found: JobRecord, both: Comparison | None) -> list[Picture]:
    """Return before and after in one picture, then what is shown where there is room."""
    from strokebench.report.pictures import choice

    if both is None:
        last = found.tried[-1].side
        made = front(choice.pictures(last.run, last.profile, last.findings))
    else:
        made = drawn(stretch(both, NAMES, 2.6, short=True), beside_limits(both, NAMES, ROWS_BESIDE))
        if len(made) == 1:  # the bench drove the part only once
            made = front([*made, *choice.pictures(both.b.run, both.b.profile, both.b.findings)])
    return [own_ids(picture, "front") for picture in made]


def _facts(found: JobRecord, workshop: Workshop) -> dict[str, Any]:
    job = found.job
    attempts = [
        (WORDS[each.role], str(each.run.run_id), workshop.moment(each.run.started_at), each.run.part,
         each.run.verdict or each.run.outcome)
        for each in job.attempts
    ]  # fmt: skip
    return {
        "number": job.job_id,
        "seal": job.seal,
        "opened": workshop.moment(job.opened_at),
        "attempts": attempts,
    }
