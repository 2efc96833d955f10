"""The wiring of the part on the panel's bench: looked at with nothing moving, said in a few sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strokebench.connect import check

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.parts.profile import Profile

AT_REST = "At rest everything reads as drawn"
MOTION = "Which polarity opens shows only when it moves: arm, then Open by hand, slowly."


def wiring_check(bench: Bench, profile: Profile) -> tuple[str, str]:
    """Return what the bench says of its leads and what to do; the limits are in force again afterwards."""
    try:
        result = check.at_rest(bench, profile)
    finally:
        bench.set_limits(profile.limits)
    headline = result.headline if result.as_drawn is not None else AT_REST
    hint = result.to_do or (MOTION if result.as_drawn is None else "")
    return " ".join([f"{headline}.", *result.sentences]), hint
