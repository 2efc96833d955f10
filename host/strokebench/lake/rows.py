"""What goes into the lake of a run: no customer, no note, no answers, no serial number, no time of day.

Words that a person may have made up (labels of segments) stay only where a built-in procedure has the same.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from strokebench.bench.spec import ENGINES
from strokebench.data.identity import identity_of
from strokebench.data.run import Burst, Event, Mark, RunData
from strokebench.errors import BookError
from strokebench.lake.place import needed, plain_name
from strokebench.verdict.learning.surroundings import surroundings_of

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.lake.names import Pseudonyms
    from strokebench.parts.procedure import Procedure

KEY = b"strokebench"
"""In a file of samples, under this name among its metadata, is what a diagnosis needs besides, as JSON."""
FROM_INFO = ("engine", "ambient_c", "fault", "lost_rows", "lost_messages", "outcome", "leads_checked")
TEXTS = ("run", "shop", "bench", "specimen", "day")
RUN_TEXTS = (*TEXTS, "engine", "kind", "board", "firmware", "calibration", "outcome", "verdict", "procedure")
OTHER = "other"
"""Label of a segment that no built-in procedure has."""


@dataclass(frozen=True)
class Row:
    """A run as the lake knows it: ``part`` and ``month`` name its folder, ``facts`` are its columns."""

    part: str
    month: str
    facts: dict[str, Any]

    @property
    def run(self) -> str:
        """Its pseudonym."""
        return str(self.facts["run"])


def row_of(data: RunData, names: Pseudonyms, part: str, revision: int, profile: Mapping[str, Any]) -> Row:
    """Return the columns of a run; ``revision``: how often something was said about it."""
    info, at = data.info, surroundings_of(data)
    identity = identity_of(info)
    uid = str(identity.get("uid", ""))
    day = str(info["started_at"])[:10]
    facts = {
        "run": names.run(str(info["uid"])), "revision": revision, "shop": names.shop,
        "bench": names.bench(uid), "specimen": names.specimen(part, str(info["part_serial"])),
        "engine": plain_name(str(info.get("engine", ""))), "day": plain_name(day),
        "kind": plain_name(str(info["kind"])), "board": plain_name(str(identity.get("board", ""))),
        "firmware": plain_name(str(identity.get("firmware", ""))),
        "calibration": names.calibration(uid, str(identity.get("calibration_id", ""))),
        "outcome": plain_name(str(info["outcome"])), "verdict": str(info["verdict"] or ""),
        "procedure": digest(profile.get("procedure")),
        "supply_v": _known(at.supply_v), "part_c": _known(at.part_c),
        "samples": len(data.samples), "simulated": info.get("engine") in ENGINES,
    }  # fmt: skip
    return Row(plain_name(part), plain_name(day[:7]), facts)


def digest(procedure: Any) -> str:
    """Return what names a procedure: runs of different ones do not compare."""
    text = json.dumps(procedure, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def runs_table(rows: list[Row]) -> Any:
    """Return the Arrow table of runs."""
    arrow = needed("pyarrow")
    fields = [("revision", arrow.int32()), ("samples", arrow.int64()), ("simulated", arrow.bool_())]
    fields += [("supply_v", arrow.float64()), ("part_c", arrow.float64())]
    fields += [(name, arrow.string()) for name in RUN_TEXTS]
    return arrow.Table.from_pylist([row.facts for row in rows], schema=arrow.schema(fields))


def findings_table(judged: list[tuple[Row, list[Finding]]]) -> Any:
    """Return the Arrow table of the runs' findings, those without a value included."""
    arrow = needed("pyarrow")
    rows = [
        {
            **{name: row.facts[name] for name in (*TEXTS, "revision", "simulated")},
            "key": plain_name(each.key), "value": _known(each.value), "u": _known(each.u),
            "unit": each.unit[:20], "lower": each.lower, "upper": each.upper, "verdict": each.verdict.value,
            "fault": plain_name(each.fault) if each.fault else "",
        }
        for row, findings in judged for each in findings
    ]  # fmt: skip
    return arrow.Table.from_pylist(rows, schema=findings_schema())


def findings_schema() -> Any:
    """Return the columns of the findings."""
    arrow = needed("pyarrow")
    numbers = [(name, arrow.float64()) for name in ("value", "u", "lower", "upper")]
    texts = [(name, arrow.string()) for name in (*TEXTS, "key", "unit", "verdict", "fault")]
    return arrow.schema([("revision", arrow.int32()), ("simulated", arrow.bool_()), *numbers, *texts])


def samples_table(data: RunData, row: Row) -> Any:
    """Return the Arrow table of a run's samples; what else its diagnosis needs is in the metadata."""
    arrow = needed("pyarrow")
    about = {
        "info": {name: data.info[name] for name in FROM_INFO if name in data.info}
        | {"identity": {"board": identity_of(data.info).get("board", "")}},
        "accuracy": data.accuracy,
        "marks": [(_label(m.label), m.start_s, m.end_s, m.index, plain_name(m.kind)) for m in data.marks],
        "events": [(event.time_s, plain_name(event.kind), event.code) for event in data.events],
        "facts": row.facts,
    }
    columns = {name: data.samples[name] for name in data.samples.dtype.names or ()}
    tags = {name: arrow.repeat(row.facts[name], len(data.samples)) for name in ("run", "bench")}
    table = arrow.table({**columns, **tags})
    return table.replace_schema_metadata({KEY: json.dumps(about, default=float)})


def bursts_table(data: RunData) -> Any:
    """Return the Arrow table of a run's fast captures, a row each."""
    arrow = needed("pyarrow")
    rows = [
        {"channel": plain_name(burst.channel), "unit": burst.unit[:20], "rate_hz": burst.rate_hz,
         "start_s": burst.start_s, "label": _label(burst.label), "numbers": burst.values}
        for burst in data.bursts
    ]  # fmt: skip
    return arrow.Table.from_pylist(rows)


def recording(samples: Any, bursts: Any | None) -> tuple[RunData, dict[str, Any]]:
    """Return the recording in a table of samples, with its captures, and the run's columns in the lake.

    BookError when it is no recording of a lake.
    """
    from strokebench.data.samples import empty

    try:
        about = json.loads(samples.schema.metadata[KEY])
        rows = np.zeros(len(samples), dtype=empty().dtype)
        for name in rows.dtype.names or ():
            rows[name] = samples.column(name).to_numpy()
        data = RunData(
            rows,
            [Mark(*each) for each in about["marks"]],
            [Event(*each) for each in about["events"]],
            [] if bursts is None else [_burst(each) for each in bursts.to_pylist()],
            about["accuracy"],
            about["info"],
        )
        return data, about["facts"]
    except (TypeError, KeyError, ValueError) as error:
        raise BookError(f"A file of samples is damaged: {error!r}.", "Put its book again.") from None


def _burst(row: dict[str, Any]) -> Burst:
    values = np.asarray(row["numbers"], dtype=float)
    return Burst(row["channel"], row["unit"], row["rate_hz"], row["start_s"], values, row["label"])


@lru_cache(maxsize=1)
def known_labels() -> frozenset[str]:
    """Return the labels of all built-in procedures."""
    from strokebench.parts import load_part, part_names

    found = {OTHER, ""}
    for name in part_names():
        found |= _labels(load_part(name).procedure)
    return frozenset(found)


def _labels(procedure: Procedure) -> set[str]:
    """Return the labels anywhere in a procedure: it nests where segments repeat."""
    found: set[str] = set()
    left: list[Any] = [procedure.model_dump()]
    while left:
        each = left.pop()
        if isinstance(each, dict):
            found |= {each["label"]} if isinstance(each.get("label"), str) else set()
            left += each.values()
        elif isinstance(each, list):
            left += each
    return found


def _label(text: str) -> str:
    return text if text in known_labels() else OTHER


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None
