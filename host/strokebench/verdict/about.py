"""What is usual for a finding, and which defects bring it out of its limits, by the table of effects."""

from __future__ import annotations

from dataclasses import dataclass

from strokebench.data.findings import YES_NO, Finding
from strokebench.diagnose.explained import EITHER, HIGH, LOW, SIDES, Explanation
from strokebench.parts import load_part, part_names
from strokebench.parts.profile import Profile
from strokebench.verdict.effects import NOTHING_KNOWN, Effects, out_of_tolerance, table, tolerance

SPREADS = 2.0
"""Standard deviations either side of the mean that are called usual: 95 of 100 good parts if normal."""
MOST_CAUSES = 6
TIMES = "times"
"""Unit of a finding that counts."""
SIDE_TEXTS = {LOW: "Value too low.", HIGH: "Value too high.", EITHER: "Value too low or too high."}
NO_LIMITS = "The built-in profiles have no limits for it. Its value is shown for information."


@dataclass(frozen=True)
class Usual:
    """Of the finding ``key`` on one built-in part: the range of good simulated specimens in ``unit`` (None
    where the table has none) and the limits."""

    part: str
    key: str
    unit: str
    good: tuple[float, float] | None
    lower: float | None
    upper: float | None

    @property
    def good_text(self) -> str:
        """The range of good specimens as text, empty where it is not known."""
        if self.good is None:
            return ""
        low, high = (f"{value:.3g}".replace("-", "\u2212") for value in self.good)
        return low if low == high else f"{low} to {high}"


def usual(about: Explanation) -> list[Usual]:
    """Return what is usual for each key of ``about`` on each built-in part that has limits for it."""
    profiles = [load_part(name) for name in part_names()]
    return [
        _usual(about, profile, key) for key in about.keys for profile in profiles if key in profile.findings
    ]


def _usual(about: Explanation, profile: Profile, key: str) -> Usual:
    limited = _limited(profile, key)
    good = table().get(profile.kind, NOTHING_KNOWN).good.get(key)
    span = None
    if good is not None:
        mean, spread = good
        ends = [out_of_tolerance(limited, mean + side * SPREADS * spread) for side in (-1, 1)]
        span = (max(0.0, ends[0]) if limited.lower is None else ends[0], ends[1])
    unit = about.unit_of.get(profile.kind, about.unit)
    if span is not None and unit == TIMES:
        span = (float(round(span[0])), float(round(span[1])))
    return Usual(profile.name, key, unit, span, limited.lower, limited.upper)


def causes(about: Explanation) -> dict[str, list[str]]:
    """Return the names of defects that bring one of the findings out of its limits, by the side on which they
    do; at most six.

    First those that such a value is taken for, then others whose severe kind does it on a built-in part.
    """
    weight: dict[str, float] = {}
    side: dict[str, str] = {}
    for name in part_names():
        profile = load_part(name)
        effects = table().get(profile.kind)
        for key in about.keys:
            if effects is None or key not in profile.findings:
                continue
            for defect, rows in effects.defects.items():
                beyond = _beyond(effects, profile, key, rows[key].severe) if key in rows else 0.0
                if beyond > 0:
                    weight[defect] = max(weight.get(defect, 0.0), beyond)
                    here = HIGH if rows[key].severe > 0 else LOW
                    side[defect] = here if side.get(defect, here) == here else EITHER
    others = sorted(weight.keys() - set(about.points_to), key=lambda defect: -weight[defect])
    found = {**about.points_to, **{defect: side[defect] for defect in others}}
    shown = list(found.items())[:MOST_CAUSES]
    return {each: names for each in SIDES if (names := [name for name, where in shown if where == each])}


def side_text(about: Explanation, side: str) -> str:
    """Return how a value lies that is on this side of its limits."""
    return f"{about.title}: no." if about.unit == YES_NO else SIDE_TEXTS[side]


def _limited(profile: Profile, key: str) -> Finding:
    limit = profile.findings[key]
    return Finding(key, "", 0.0, 0.0, "", limit.lower, limit.upper)


def _beyond(effects: Effects, profile: Profile, key: str, shift: float) -> float:
    """How far, in its tolerance, a shifted mean of good parts lies beyond the limits; negative inside."""
    limited = _limited(profile, key)
    if key not in effects.good:
        return 0.0
    zero, unit = tolerance(limited)
    value = zero + (effects.good[key][0] + shift) * unit
    below = limited.lower - value if limited.lower is not None else -unit
    above = value - limited.upper if limited.upper is not None else -unit
    return max(below, above) / unit
