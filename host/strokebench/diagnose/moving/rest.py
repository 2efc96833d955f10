"""Rest position without power, and how well it repeats from both sides."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import span_of
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.stops import HYSTERESIS
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, repeats_or_once

REST = ("rest_position", "Rest position without power", "% of travel")
SPREAD = ("rest_spread", "Rest position, open side against closed", "% of travel")

ONCE_U = 0.5
"""Standard uncertainty of a place of rest that was seen once, % of travel (judgement)."""

QUESTION = Question(
    needs="sensor", group="Travel and rest", keys=(REST[0], SPREAD[0]), anyhow=(REST[0], SPREAD[0])
)


def find(case: MovingCase) -> list[Finding]:
    """Return where the part rests after coasting back, and how far apart it rests from either side.

    **Rest position**: the mean of the places where it comes to rest from the open and from the closed side,
    % of the travel between the places where it just touches the stops, by the shaft's angle. **Spread**: the
    distance of these two places; it is zero while the preload exceeds the friction. A part that stays out on
    one side has too much friction or too little spring. The median of the last 30 % of each release; a bend
    of the sensor's tracks belongs to the uncertainty.
    """
    if case.position is None:
        return [case.missing(*quantity, case.why_no_position) for quantity in (REST, SPREAD)]
    from_open, from_closed = case.settled(labels.RELEASE_OPEN), case.settled(labels.RELEASE_CLOSE)
    if case.by_samples and not (len(from_open) and len(from_closed)):
        return _one_side(case, from_open, from_closed)
    if min(len(from_open), len(from_closed)) < case.fewest:
        why = f"{len(from_open)} releases from open and {len(from_closed)} from closed, 3 each are needed"
        return [case.missing(*quantity, why) for quantity in (REST, SPREAD)]
    when = span_of(*case.samples(labels.RELEASE_OPEN), *case.samples(labels.RELEASE_CLOSE))
    u_repeat = case.position.u_percent
    sides = repeats_or_once(from_open, ONCE_U), repeats_or_once(from_closed, ONCE_U)
    middle = Measured((sides[0].value + sides[1].value) / 2, math.hypot(sides[0].u, sides[1].u) / 2).widened(
        case.position.u_at(float(np.mean(from_open)))
    )
    apart = Measured(abs(sides[0].value - sides[1].value), math.hypot(sides[0].u, sides[1].u)).widened(
        u_repeat / math.sqrt(len(from_open)), 170 * HYSTERESIS
    )
    evidence = {"from_open": from_open.tolist(), "from_closed": from_closed.tolist()}
    return [
        case.finding(*REST[:2], middle, REST[2], low="rest_shifted", high="rest_shifted", place=middle.value,
                     span_s=when, evidence=evidence),
        case.finding(*SPREAD[:2], apart, SPREAD[2], high="no_return", span_s=when,
                     evidence={"worst": float(np.ptp(np.r_[from_open, from_closed]))}),
    ]  # fmt: skip


def _one_side(case: MovingCase, from_open: Floats, from_closed: Floats) -> list[Finding]:
    """Somebody else's recording with releases from one side, or none: the place of rest, give or take half of
    what the two sides may differ by."""
    seen = np.r_[from_open, from_closed]
    if not len(seen) or case.position is None:
        return [
            case.missing(*quantity, "the recording shows no release after a move")
            for quantity in (REST, SPREAD)
        ]
    apart = case.limits(SPREAD[0])[1] or 0.0
    place = repeats_or_once(seen, ONCE_U).widened(apart / 2, case.position.u_at(float(np.mean(seen))))
    side = "open" if len(from_open) else "closed"
    return [
        case.finding(
            *REST[:2],
            place,
            REST[2],
            low="rest_shifted" if side == "open" else "no_return",
            high="no_return" if side == "open" else "rest_shifted",
            place=place.value,
        ),
        case.missing(*SPREAD, f"it was released from the {side} side only"),
    ]
