"""Procedures: what people write in TOML, and the flat plan of segments that the bench runs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, Field, model_validator
from strokefw import channels
from strokefw.drive import ramp

from strokebench.parts.limits import STRICT, Drive, Limits
from strokebench.parts.toml import Within

Seconds = Annotated[float, Within(0.001, 600, "s")]
BurstChannel = Literal[
    "current_fine", "current_coarse", "supply", "output_a", "output_b", "sensor_a", "sensor_b"
]
WatchWhen = Literal[
    "current_above",
    "current_below",
    "sensor_a_above",
    "sensor_a_below",
    "sensor_b_above",
    "sensor_b_below",
]


class Watch(BaseModel):
    """A condition the bench looks at each tick; it ends the segment or the run. Value in A or V."""

    model_config = STRICT

    when: WatchWhen
    value: Annotated[float, Within(0, 60, "A or V")]
    after_s: Annotated[float, Within(0, 60, "s")] = 0.0
    """Not looked at before this long into the segment."""
    hold_s: Annotated[float, Within(0, 60, "s")] = 0.0
    """How long the condition must last."""
    then: Literal["next", "end"] = "next"


class _Segment(BaseModel):
    model_config = STRICT

    label: Annotated[str, Field(min_length=1, max_length=40)] = "unlabelled"
    watch: Watch | None = None


class Ramp(_Segment):
    """Change the drive evenly up to ``to``, in ``over_s`` seconds or at ``rate_per_s``."""

    kind: Literal["ramp"]
    to: Drive
    over_s: Seconds | None = None
    rate_per_s: Annotated[float, Within(0.001, 100, "1/s")] | None = None

    @model_validator(mode="after")
    def _one_of(self) -> Ramp:
        if (self.over_s is None) == (self.rate_per_s is None):
            raise ValueError("a ramp needs either over_s or rate_per_s")
        return self

    def plan(self, drive: float) -> Planned:
        """Return the planned segment, starting from ``drive``."""
        duration_s = self.over_s
        if duration_s is None:
            assert self.rate_per_s is not None  # by _one_of
            duration_s = max(0.001, abs(self.to - drive) / self.rate_per_s)
        return Planned("ramp", self.label, self.to, duration_s, watch=self.watch)


class Hold(_Segment):
    """Keep the present drive, or ``drive``, for ``for_s``."""

    kind: Literal["hold"]
    drive: Drive | None = None
    for_s: Seconds

    def plan(self, drive: float) -> Planned:
        """Return the planned segment, starting from ``drive``."""
        target = drive if self.drive is None else self.drive
        return Planned("hold", self.label, target, self.for_s, watch=self.watch)


class Step(_Segment):
    """Go to ``to`` as fast as the slew limit allows and stay there; ``for_s`` counts from the start."""

    kind: Literal["step"]
    to: Drive
    for_s: Seconds

    def plan(self, drive: float) -> Planned:
        """Return the planned segment, starting from ``drive``."""
        return Planned("step", self.label, self.to, self.for_s, watch=self.watch)


class Pulse(_Segment):
    """``count`` pulses of ``drive`` for ``on_s`` with ``off_s`` at zero between them; ends at zero."""

    kind: Literal["pulse"]
    drive: Drive
    on_s: Seconds
    off_s: Seconds
    count: Annotated[int, Within(1, 10_000, "pulses")]

    def plan(self, drive: float) -> Planned:
        """Return the planned segment, starting from ``drive``."""
        duration_s = (self.on_s + self.off_s) * self.count
        numbers = (round(self.on_s * 1000), round(self.off_s * 1000), self.count)
        return Planned("pulse", self.label, self.drive, duration_s, numbers, self.watch, end_drive=0.0)


class Pause(_Segment):
    """All switches open, the part runs free, for ``for_s``."""

    kind: Literal["pause"]
    for_s: Seconds

    def plan(self, drive: float) -> Planned:
        """Return the planned segment, starting from ``drive``."""
        return Planned("pause", self.label, 0.0, self.for_s, watch=self.watch)


class Burst(_Segment):
    """Capture one channel fast at the present drive; ``count`` samples at ``rate_hz``."""

    kind: Literal["burst"]
    channel: BurstChannel
    rate_hz: Annotated[int, Within(1000, 500_000, "Hz")] = 500_000
    count: Annotated[int, Within(16, 50_000, "samples")]
    pre: Annotated[int, Within(0, 50_000, "samples")] = 0

    @model_validator(mode="after")
    def _pre_inside(self) -> Burst:
        if self.pre >= self.count:
            raise ValueError("pre must be smaller than count")
        return self

    def plan(self, drive: float) -> Planned:
        """Return the planned segment, starting from ``drive``."""
        numbers = (channels.NAMES.index(self.channel), self.rate_hz, self.count, self.pre)
        return Planned("burst", self.label, drive, self.count / self.rate_hz, numbers, self.watch)


class Repeat(BaseModel):
    """A block of segments, run ``repeat`` times."""

    model_config = STRICT

    kind: Literal["repeat"] = "repeat"
    repeat: Annotated[int, Within(1, 100, "times")]
    segments: Annotated[list[Segment], Field(min_length=1)]


Segment = Annotated[Ramp | Hold | Step | Pulse | Pause | Burst | Repeat, Field(discriminator="kind")]
Repeat.model_rebuild()


@dataclass(frozen=True)
class Planned:
    """One segment as the bench will run it: ``target`` a drive, ``numbers`` by kind (ms, Hz, counts)."""

    kind: str
    label: str
    target: float
    duration_s: float
    numbers: tuple[int, ...] = ()
    watch: Watch | None = None
    end_drive: float | None = None

    @property
    def drive_after(self) -> float:
        """The drive in force when the segment has run its time."""
        return self.target if self.end_drive is None else self.end_drive


class Procedure(BaseModel):
    """An ordered list of segments with a title; see :meth:`plan`."""

    model_config = STRICT

    title: str = ""
    segments: Annotated[list[Segment], Field(min_length=1)]

    def plan(self) -> list[Planned]:
        """Return all segments in order, repeats written out, each knowing its duration."""
        planned: list[Planned] = []
        drive = 0.0
        for segment in _flat(self.segments):
            planned.append(segment.plan(drive))
            drive = planned[-1].drive_after
        return planned

    @property
    def duration_s(self) -> float:
        """Seconds the whole procedure takes when no watch cuts it short."""
        return sum(segment.duration_s for segment in self.plan())

    def problems(self, limits: Limits) -> list[str]:
        """Return one sentence for each way the procedure breaks ``limits`` or the bench's own bounds."""
        plan = self.plan()
        found = [problem for segment, before in _pairs(plan) for problem in _breaks(segment, before, limits)]
        if len(plan) > ramp.SEGMENTS_MAX:
            found.append(f"the procedure has {len(plan)} segments, at most {ramp.SEGMENTS_MAX} are allowed")
        return list(dict.fromkeys(found))


Plain = Ramp | Hold | Step | Pulse | Pause | Burst


def _flat(segments: Sequence[Plain | Repeat]) -> Iterator[Plain]:
    for segment in segments:
        if isinstance(segment, Repeat):
            for _ in range(segment.repeat):
                yield from _flat(segment.segments)
        else:
            yield segment


def _pairs(plan: list[Planned]) -> Iterator[tuple[Planned, float]]:
    before = 0.0
    for segment in plan:
        yield segment, before
        before = segment.drive_after


def _breaks(segment: Planned, before: float, limits: Limits) -> Iterator[str]:
    name = f"segment {segment.label!r} ({segment.kind})"
    if not limits.drive_min <= segment.target <= limits.drive_max:
        yield (
            f"{name} asks for drive {segment.target:g}, allowed is {limits.drive_min:g} to"
            f" {limits.drive_max:g} (limits.drive_min, limits.drive_max)"
        )
    reach = limits.slew_per_s * segment.duration_s * 1.001
    if segment.kind == "ramp" and abs(segment.target - before) > reach:
        yield f"{name} is faster than limits.slew_per_s = {limits.slew_per_s:g} per second"
