"""From trials with defects to what each defect shifts: the numbers of the table of effects."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from strokebench.data.findings import Finding
from strokebench.verdict.decision import SUPPLY
from strokebench.verdict.effects import LEAST_SPREAD, in_tolerance

from tools.evidence.options import GRADES
from tools.evidence.workers import Record

Shifts = dict[tuple[str, str, str], float]
"""Shift by defect, grade and finding."""
WORTH, OUT_OF_SPREAD = 0.05, 2.0
"""Shifts smaller than the first, in tolerances, are left out. By chance a shift may be so many spreads over
the root of the number of seeds: one seed is one battery at one temperature."""
LOST_MORE = 0.3
"""A finding is lost by a defect when its share without a value grows by more than this."""
NOTHING = [0.0] * 5
ROUNDS = 2
"""How often the pairs are taken apart with the shifts found last."""
FAR = 3.0
"""Deviations beyond so many median deviations count as this many: a trial that broke is no measure."""
GUESS = 0.3
"""Spread of an effect, as a share of it, of which a single trial is known."""


@dataclass(frozen=True)
class Stroked:
    """A trial: its defects (none in a good part, whatever its battery), grade, seed, and limited
    findings in tolerances."""

    names: tuple[str, ...]
    grade: str
    seed: int
    values: dict[str, float]


def effects_of(records: list[Record]) -> dict[str, Any]:
    """Return the effects of one kind of part, as the file has them.

    Single defects and pairs of them: of a pair, what the other defect shifts by itself is taken off first, so
    that the spread of an effect holds how much two defects change one another's.
    """
    trials = [_stroked(record) for record in records if record.get("readings")]
    good, lost = _good([trial for trial in trials if not trial.names])
    shifts: Shifts = {}
    for number in range(ROUNDS):
        some = trials if number else [trial for trial in trials if len(trial.names) == 1]
        rows = _rows(some, good, shifts)
        shifts = {
            (name, grade, key): row[2 * place]
            for (name, key), row in rows.items()
            for place, grade in enumerate(GRADES)
        }
    defects: dict[str, dict[str, list[float]]] = {name: {} for name, _ in rows}
    for (name, key), row in rows.items():
        seeds = {trial.seed for trial in trials if name in trial.names}
        if kept := _worth(row, good[key], lost.get(key, 0.0), len(seeds)):
            defects[name][key] = [round(number, 3) for number in kept]
    return {"good": good, "lost": lost, "defects": defects, "pairs": _together(trials, good, defects)}


def _together(
    trials: list[Stroked], good: dict[str, list[float]], defects: dict[str, dict[str, list[float]]]
) -> dict[str, dict[str, list[float]]]:
    """Return of each pair what it shifts beyond the sum of both, where that is more than chance."""
    found: dict[str, dict[str, list[float]]] = {}
    for names in sorted({tuple(sorted(trial.names)) for trial in trials if len(trial.names) == 2}):
        having = [trial for trial in trials if tuple(sorted(trial.names)) == names]
        for key in good:
            rows = [defects[name].get(key, NOTHING) for name in names]
            row: list[float] = []
            for place, grade in enumerate(GRADES):
                row += _beyond(having, grade, key, good[key], sum(row[2 * place] for row in rows))
            if max(abs(row[0]), abs(row[2])) >= WORTH:
                found.setdefault("+".join(names), {})[key] = [round(number, 3) for number in row]
    return found


def _beyond(
    trials: list[Stroked], grade: str, key: str, good: list[float], by_themselves: float
) -> tuple[float, float]:
    """Shift of a pair beyond the sum of both, drawn towards nought by chance, and its spread; nought where
    fewer than two trials know it."""
    left = [
        trial.values[key] - good[0] - by_themselves
        for trial in trials
        if trial.grade == grade and math.isfinite(trial.values.get(key, math.nan))
    ]
    if len(left) < 2:
        return 0.0, 0.0
    shift, spread = float(np.median(left)), float(np.std(left, ddof=1))
    chance = OUT_OF_SPREAD * max(good[1], spread) / math.sqrt(len(left))
    return (shift * max(0.0, 1 - (chance / shift) ** 2) if shift else 0.0), spread


def _stroked(record: Record) -> Stroked:
    names = () if record["name"] == "good" else tuple(record["name"].split("+"))
    found = [as_finding(reading) for reading in record["readings"]]
    values = {
        each.key: in_tolerance(each)[0]
        for each in found
        if (each.lower is not None or each.upper is not None) and each.fault not in SUPPLY
    }
    return Stroked(
        tuple(name for name in names if name not in SUPPLY), record["grade"], record["spec"]["seed"], values
    )


def as_finding(reading: dict[str, Any]) -> Finding:
    """Return a reading of a record as the finding it was."""
    fields = {name: reading[name] for name in ("value", "u", "lower", "upper", "place", "reason")}
    evidence = {"gate": True} if reading["gate"] else {}
    return Finding(
        reading["key"], reading["key"], unit="", fault=reading["fault"], evidence=evidence, **fields
    )


def _good(trials: list[Stroked]) -> tuple[dict[str, list[float]], dict[str, float]]:
    """Middle and spread of each finding of good parts, and the share without a value."""
    good, lost = {}, {}
    for key in _keys(trials):
        values = [trial.values[key] for trial in trials if key in trial.values]
        known = [value for value in values if math.isfinite(value)]
        if len(known) < 2:
            continue
        spread = float(np.std(known, ddof=1))
        good[key] = [round(float(np.median(known)), 4), round(max(spread, LEAST_SPREAD), 4)]
        if len(known) < len(values):
            lost[key] = round(1 - len(known) / len(values), 3)
    return good, lost


def _keys(trials: Iterable[Stroked]) -> list[str]:
    return list(dict.fromkeys(key for trial in trials for key in trial.values))


def _rows(
    trials: list[Stroked], good: dict[str, list[float]], shifts: Shifts
) -> dict[tuple[str, str], list[float]]:
    """Return (defect, finding) -> shift and spread of moderate, of severe, share lost."""
    rows = {}
    for name in sorted({name for trial in trials for name in trial.names}):
        having = [trial for trial in trials if name in trial.names]
        for key in good:
            moderate, severe = (_shift(having, name, grade, key, good[key][0], shifts) for grade in GRADES)
            alone = [trial.values[key] for trial in having if trial.names == (name,) and key in trial.values]
            lost = sum(not math.isfinite(value) for value in alone) / len(alone) if alone else 0.0
            severe = severe or (moderate and (2 * moderate[0], 2 * moderate[1])) or (0.0, 0.0)
            sized = any(trial.grade == GRADES[0] for trial in having)
            moderate = moderate or ((severe[0] / 2, severe[1]) if sized else severe)
            rows[name, key] = [*moderate, *severe, lost]
    return rows


def _shift(
    trials: list[Stroked], name: str, grade: str, key: str, middle: float, shifts: Shifts
) -> tuple[float, float] | None:
    """Median shift and its spread; None where the finding never has a value."""
    left = []
    for trial in trials:
        value = trial.values.get(key, math.nan)
        if trial.grade == grade and math.isfinite(value):
            others = sum(shifts.get((other, grade, key), 0.0) for other in trial.names if other != name)
            left.append(value - middle - others)
    if not left:
        return None
    shift = float(np.median(left))
    away = np.abs(np.array(left) - shift)
    spread = float(np.sqrt(np.mean(np.minimum(away, FAR * np.median(away) + LEAST_SPREAD) ** 2)))
    return shift, spread if len(left) > 2 else GUESS * abs(shift)


def _worth(row: list[float], good: list[float], lost: float, count: int) -> list[float] | None:
    """The row, each shift drawn towards nought by what it may be by chance; None where nothing is left."""
    kept = list(row)
    for place in (0, 2):
        chance = OUT_OF_SPREAD * max(good[1], row[place + 1]) / math.sqrt(max(count, 1))
        kept[place] = row[place] * max(0.0, 1 - (chance / row[place]) ** 2) if row[place] else 0.0
    if max(abs(kept[0]), abs(kept[2])) < WORTH:
        kept[0] = kept[2] = 0.0
        if max(row[1], row[3]) < OUT_OF_SPREAD * good[1] and row[4] - lost < LOST_MORE:
            return None
    return kept
