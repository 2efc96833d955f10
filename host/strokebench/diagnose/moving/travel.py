"""End stops and travel: where the sensor stands with the part pressed against each stop, and how far
apart."""

from __future__ import annotations

import math

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import span_of
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured

TRAVEL = ("travel", "Travel between the stops", "% of nominal")
ENDS = ("closed", "open")

QUESTION = Question(
    needs="sensor",
    group="Travel and rest",
    keys=(TRAVEL[0], *(f"stop_{end}" for end in ENDS)),
    anyhow=(TRAVEL[0], *(f"stop_{end}" for end in ENDS)),
)


def find(case: MovingCase) -> list[Finding]:
    """Return travel and the two stops as the position sensor shows them.

    **Travel**: the sensor's volts between the places where the part just touches its stops, % of the nominal
    span. **Stops**: the sensor's volts there less the nominal ones, % of the nominal span. The sensor's own
    error belongs to the quantity, what a stop gives under the push does not: the stops are read at several
    currents and carried back to where nothing pushes. A part that is jammed shows as too short a travel; a
    sensor or stop out of place shows in the offsets.
    """
    position = case.position
    if position is None:
        return [case.missing(*TRAVEL, case.why_no_position)]
    if not case.pushed_open:
        return [case.missing(*TRAVEL, case.WHY_NOT_OPEN)]
    track = case.tracks[position.track]
    span_v = track.open_v - track.closed_v
    if not case.both_stops:
        return [case.missing(*TRAVEL, "the recording does not show it pressed against both stops")]
    if not math.isfinite(span_v):
        return [case.missing(*TRAVEL, "the procedure held the part at only one stop, or at none")]
    channel = f"sensor_{track.name}_v"
    gain, offset = case.accuracy(channel, "gain"), case.accuracy(channel, "offset")
    nominal_v = track.nominal_span_v
    share = span_v / nominal_v * 100
    u_share = math.hypot(gain * share, math.hypot(track.u_closed_v, track.u_open_v) / abs(nominal_v) * 100)
    when = span_of(*case.samples(labels.STALL_CLOSE), *case.samples(labels.STALL_OPEN))
    out = [
        case.finding(
            *TRAVEL[:2], Measured(share, u_share), TRAVEL[2], low="short_travel", span_s=when,
            evidence={"track": track.name},
        )
    ]  # fmt: skip
    stops_v = (
        (track.closed_v, track.layout.closed_v, track.u_closed_v),
        (track.open_v, track.layout.open_v, track.u_open_v),
    )
    for end, (found_v, wanted_v, u_v) in zip(ENDS, stops_v, strict=True):
        off = (found_v - wanted_v) / nominal_v * 100
        u_off = math.hypot(offset, gain * wanted_v, u_v) / abs(nominal_v) * 100
        out.append(
            case.finding(
                f"stop_{end}", f"{end.capitalize()} stop, offset from nominal", Measured(off, u_off),
                "% of travel", low="stop_shifted", high="stop_shifted", span_s=when,
                evidence={"volts": found_v, "track": track.name},
            )
        )  # fmt: skip
    return out
