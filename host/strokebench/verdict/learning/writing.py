"""Learnt limits as a profile's table that a person who knows the trade can read: what each limit rests on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from strokebench.parts.learnt import Learnt as LearntFrom
from strokebench.verdict.learning.learn import Learnt, LearntLimit
from strokebench.verdict.learning.limits import FAMILY
from strokebench.verdict.learning.refer import PART_C, REFERRED, SUPPLY_V
from strokebench.verdict.learning.scale import Scale
from strokebench.verdict.learning.sums import Sums


def laid_into(
    table: Mapping[str, Any], learnt: Learnt, names: Mapping[str, tuple[str, str]]
) -> dict[str, Any]:
    """Return a profile's ``table`` with the learnt limits and the good parts in it.

    ``names``: finding -> its title and its unit, for people.
    """
    findings = {
        key: {name: value for name, value in limit.items() if name != "learnt"}
        for key, limit in table.get("findings", {}).items()
    }
    for key, (sums, scale) in learnt.sums.items():
        findings.setdefault(key, {})["learnt"] = _sums(sums, scale, *names.get(key, ("", "")))
    for limit in learnt.limits:
        findings[limit.key].update(_limits(limit, names.get(limit.key, ("", ""))[1]))
    parts = LearntFrom(
        supply_v=SUPPLY_V, part_c=PART_C, may_fail=FAMILY, parts=learnt.parts, fleet=learnt.fleet
    )
    return {**table, "findings": findings, "learnt": parts.model_dump(mode="json", exclude_none=True)}


def head(learnt: Learnt) -> str:
    """Return what stands above the profile: from which parts, and which findings were left alone."""
    if learnt.fleet is not None:
        first = f"Limits of a fleet: {learnt.fleet.parts} parts that their workshops declared good, on"
        return "\n".join(
            [f"{first} {learnt.fleet.benches} benches, in {learnt.fleet.runs} runs.", *_rules(learnt)]
        )
    dates = sorted(part.measured for part in learnt.parts if part.measured)
    benches = sorted({part.bench for part in learnt.parts if part.bench})
    when = f", measured {dates[0]} to {dates[-1]}" if dates else ""
    where = f", on the bench{'es' if len(benches) > 1 else ''} {', '.join(benches)}" if benches else ""
    first = f"Limits learnt from {len(learnt.parts)} parts that somebody declared good{when}{where}."
    return "\n".join([first, *_rules(learnt)])


def _rules(learnt: Learnt) -> list[str]:
    """Return what holds of all limits, and which findings were left alone."""
    lines = [
        f"All of them together should fail one good part in {round(1 / FAMILY)}.",
        "A reading fails when it is beyond a limit by twice its uncertainty.",
    ]
    return lines + [
        f"Not learnt, its limit stays as it was: {key} ({why})." for key, why in learnt.left.items()
    ]


def note(limit: LearntLimit, unit: str) -> str:
    """Return in a sentence what a limit rests on."""
    sums, scale = limit.sums, limit.scale
    own = f"theirs alone {_spread(limit, sums.spread)}" if sums.parts > 1 else "theirs alone unknown"
    middle = f"{limit.centre:.4g} {unit}".rstrip()
    prior = f"before any was measured {_spread(limit, scale.spread)}, worth {scale.freedom:g} parts"
    text = (
        f"learnt from {sums.parts} good parts: middle {middle}, spread {_spread(limit, limit.spread)}"
        f" ({own}; {prior}), a reading's own uncertainty {_spread(limit, limit.u)}"
    )
    if sums.bench2:
        text += f"; a single bench adds {_spread(limit, math.sqrt(sums.bench2))} to that"
    if scale.kind == "zero" and limit.upper == scale.floor:
        text += f"; no closer than {scale.floor:g}, because few parts do not show what ends at zero"
    if limit.key in REFERRED:
        text += f"; at {SUPPLY_V:g} V and {PART_C:g} C, a verdict moves it to the run's own"
    return text


def _spread(limit: LearntLimit, spread: float) -> str:
    """A standard deviation on the finding's scale in words: per cent of the middle, or in the finding's
    unit."""
    if limit.scale.kind == "log":
        return f"{100 * spread:.2g} %"
    wide = spread if limit.scale.kind == "plain" else spread * (max(limit.centre, 0.0) + limit.scale.unit)
    return f"{wide:.2g}"


def _sums(sums: Sums, scale: Scale, title: str, unit: str) -> dict[str, Any]:
    return {
        "parts": sums.parts, "mean": sums.mean, "squares": sums.squares, "u2": sums.u2,
        **({"bench2": sums.bench2} if sums.bench2 else {}),
        "scale": scale.kind, "unit": scale.unit, "title": title, "in_unit": unit,
    }  # fmt: skip


def _limits(limit: LearntLimit, unit: str) -> dict[str, Any]:
    both = {"lower": limit.lower, "upper": limit.upper}
    ends = {key: rounded(value, limit.centre) for key, value in both.items() if value is not None}
    return {**ends, "parts": limit.sums.parts, "note": note(limit, unit)}


def rounded(value: float, middle: float) -> float:
    """Return ``value`` to four digits of the larger of itself and the middle; the digits beyond mean
    nothing."""
    size = max(abs(value), abs(middle))
    return round(value, 3 - math.floor(math.log10(size))) if size > 0 else value
