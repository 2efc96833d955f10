"""What a job is made of: texts with their greatest lengths, attempts, photos."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the command line reads this file for its options, and may not wait for numpy
    from strokebench.book.contents import RunSummary
    from strokebench.data.photo import Photo

TEXTS = {
    "customer": 120,
    "vehicle": 120,
    "complaint": 300,
    "part_number": 60,
    "part_serial": 60,
    "done": 300,
}
"""Each text of a job -> its greatest length: the customer's page has to stay one page."""
TITLES = {
    "customer": "Customer",
    "vehicle": "Vehicle",
    "complaint": "Complaint",
    "part_number": "Part number",
    "part_serial": "Serial number",
    "done": "What was done",
}
ROLES = ("before", "after", "guided")
"""What an attempt was for: before the repair, after it, or a test that a person took part in."""
MOST_PHOTOS = 12
MOST_CAPTION = 120
MOST_NAME = 80
"""Greatest length of the name of who signs."""


@dataclass(frozen=True)
class Attempt:
    """A run of the job, and what it was for."""

    role: str
    run: RunSummary


@dataclass(frozen=True)
class JobPhoto:
    """A photo of the job; ``original`` is the SHA-256 of the file it was made from, hexadecimal."""

    number: int
    added_at: str
    caption: str
    original: str
    photo: Photo


@dataclass(frozen=True)
class Job:
    """A job as it is now. Times are ISO 8601 UTC, empty where nothing happened; ``seal``: of its chain."""

    job_id: int
    uid: str
    opened_at: str
    customer: str
    vehicle: str
    complaint: str
    part_number: str
    part_serial: str
    done: str
    signed_by: str
    signed_at: str
    attempts: tuple[Attempt, ...]
    photo_count: int
    seal: str

    def newest(self, role: str) -> Attempt | None:
        """Return the newest attempt of a role, None when there is none."""
        return next((each for each in reversed(self.attempts) if each.role == role), None)

    @property
    def verdict(self) -> str | None:
        """The verdict of the newest attempt after the repair, else of the newest of all; None before."""
        latest = self.newest("after") or (self.attempts[-1] if self.attempts else None)
        return latest.run.verdict if latest else None

    @property
    def next_role(self) -> str:
        """What the next run is for, if nobody says: "after" once it was written down what was done."""
        return "after" if self.done else "before"
