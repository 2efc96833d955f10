"""What one run produced, in memory: the input of every diagnosis."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strokebench.data.samples import Samples, empty


@dataclass(frozen=True)
class Mark:
    """A segment of the procedure as it really ran: ``label`` from the procedure, start and end in seconds."""

    label: str
    start_s: float
    end_s: float
    index: int = 0
    kind: str = ""


@dataclass(frozen=True)
class Event:
    """Something the bench said: ``code`` of the fault table or 0, ``text`` a plain sentence."""

    time_s: float
    kind: str
    code: int = 0
    text: str = ""


@dataclass(frozen=True)
class Burst:
    """A fast capture of one channel: ``values`` in ``unit`` at ``rate_hz``, first sample at ``start_s``."""

    channel: str
    unit: str
    rate_hz: float
    start_s: float
    values: NDArray[np.float64]
    label: str = ""


@dataclass
class RunData:
    """Samples, marks, events and bursts of one run, with what is known about part, bench and conditions.

    ``accuracy`` holds per channel the standard uncertainties ``offset`` (channel unit), ``gain`` (relative)
    and ``noise`` (channel unit); ``info`` holds identity, engine, ambient_c and the like.
    """

    samples: Samples = field(default_factory=empty)
    marks: list[Mark] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    bursts: list[Burst] = field(default_factory=list)
    accuracy: dict[str, dict[str, float]] = field(default_factory=dict)
    info: dict[str, Any] = field(default_factory=dict)

    def labelled(self, label: str) -> Iterator[Mark]:
        """Yield the marks called ``label``, in order of time."""
        return (mark for mark in self.marks if mark.label == label)

    def between(self, start_s: float, end_s: float) -> Samples:
        """Return the samples with ``start_s <= time_s < end_s`` (a view)."""
        low, high = np.searchsorted(self.samples["time_s"], (start_s, end_s))
        return self.samples[low:high]

    def of(self, mark: Mark) -> Samples:
        """Return the samples of one mark (a view)."""
        return self.between(mark.start_s, mark.end_s)
