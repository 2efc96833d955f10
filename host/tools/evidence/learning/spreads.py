"""The prior of learnt limits: how good parts spread, from simulated ones on seeds for tuning."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from strokebench.parts import load_part
from strokebench.verdict.learning.readings import learnable, readings_of
from strokebench.verdict.learning.scale import FILE, FREEDOM, Scale
from strokebench.verdict.learning.surroundings import Surroundings

from tools import ROOT
from tools.evidence.shifts import as_finding
from tools.evidence.workers import Record

LOG_SPREAD, LOG_U = 0.25, 0.12
"""A finding whose good values spread by less than the first, and are known better than the second,
relative, is counted in its logarithm."""
FLOOR = 0.05
"""Of a built-in limit: how fine a reading near zero is told from zero (judgement)."""
BEYOND, QUARTER = 2.0, 0.25
"""A floor is the first times the highest reading of all those good parts, or the second times the built-in
limit (judgement)."""
LEAST = {"log": 0.01, "plain": 0.0, "zero": 0.25}
"""Smallest prior spread on each scale (judgement: real parts differ by more than simulated ones may)."""


def raw(records: Sequence[Record], part: str, scales: Mapping[str, Scale]) -> list[dict[str, Any]]:
    """Return each record's referred readings."""
    base = load_part(part)
    return [
        readings_of(
            [as_finding(reading) for reading in record.get("readings", [])],
            Surroundings(**record["surroundings"]), base, scales,
        )
        for record in records if "readings" in record
    ]  # fmt: skip


def spreads(by_family: Mapping[str, Sequence[Record]], part: str) -> dict[str, list[Any]]:
    """Return scale, spread, freedom and unit of each finding of a part."""
    base = load_part(part)
    keys = learnable(base)
    plain = {key: Scale("plain", 1.0, 1.0) for key in keys}
    families = [raw(records, part, plain) for records in by_family.values()]
    rows = {}
    for key in keys:
        values = [np.array([found[key] for found in some if key in found]) for some in families]
        values = [some for some in values if len(some) > 3]
        if values:
            limit = base.findings[key]
            rows[key] = _row(values, limit.upper if limit.lower is None else None)
    return rows


def _row(families: Sequence[np.ndarray], upper_only: float | None) -> list[Any]:
    every = np.concatenate(families)
    values, u = every[:, 0], np.median(every[:, 1])
    middle = abs(float(np.mean(values)))
    spread = max(float(np.std(some[:, 0], ddof=1)) for some in families)
    if np.min(values) > 0 and spread < LOG_SPREAD * middle and u < LOG_U * middle:
        kind, unit = "log", 1.0
    elif upper_only is not None:
        kind, unit = "zero", max(float(np.mean(np.abs(values))), 2 * float(u), FLOOR * upper_only)
    else:
        kind, unit = "plain", 1.0
    scale = Scale(kind, 1.0, FREEDOM, unit)
    each = [np.std([scale.to(value)[0] for value in some[:, 0]], ddof=1) for some in families]
    wide = math.sqrt(float(np.mean(np.square(each))))
    least = max(LEAST[kind], 1e-3 * middle if kind == "plain" else 0.0)
    row: list[Any] = [kind, float(f"{max(wide, least):.3g}"), FREEDOM, float(f"{unit:.3g}")]
    if kind == "zero" and upper_only is not None:
        row.append(float(f"{max(BEYOND * float(np.max(values)), QUARTER * upper_only):.3g}"))
    return row


def write(table: Mapping[str, Mapping[str, list[Any]]]) -> None:
    """Write the table, a line for each finding."""
    out = ROOT / "host" / "strokebench" / "verdict" / "learning" / FILE
    lines = []
    for kind, rows in sorted(table.items()):
        inside = ",\n".join(f"  {json.dumps(key)}: {json.dumps(row)}" for key, row in sorted(rows.items()))
        lines.append(f" {json.dumps(kind)}: {{\n{inside}\n }}")
    out.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8", newline="\n")
