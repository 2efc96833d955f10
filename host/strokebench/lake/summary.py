"""What workshops exchange that must not share recordings: count, mean, variance and a sketch of quantiles.

The sketch is KLL (Karnin, Lang and Liberty 2016, FOCS; Apache DataSketches): a quantile that it gives is of a
rank that is within :func:`rank_error` of the wanted one, with a confidence of 99 %. It is made of the parts'
means, and only from so many that it no longer holds each of them.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, Field, ValidationError

from strokebench.errors import BookError, DataError
from strokebench.lake.place import needed
from strokebench.lake.readings import Column, Good
from strokebench.lake.rows import digest
from strokebench.lake.spreads import Tally, merged, tallies
from strokebench.parts.limits import STRICT

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

SKETCH_K = 200
SKETCH_FROM = 1000
"""Parts from which on a sketch goes out: below that it would hold most of the values themselves."""
LARGEST = 50_000_000
"""Bytes of a file that is still read."""
Number = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class TallyFile(BaseModel):
    """A bench's tally in a file; see :class:`strokebench.lake.spreads.Tally`."""

    model_config = STRICT

    bench: Annotated[str, Field(max_length=64)]
    parts: Annotated[int, Field(ge=1)]
    runs: Annotated[int, Field(ge=1)]
    mean: Number
    squares: Positive
    repeats: Positive
    freedom: Annotated[int, Field(ge=0)]
    inverse: Positive
    u2: Positive


class FindingFile(BaseModel):
    """One finding: its unit and scale, the tallies of the benches, the sketch in base 64 or nothing."""

    model_config = STRICT

    unit: str
    scale: Literal["log", "plain", "zero"]
    scale_unit: Number
    benches: list[TallyFile]
    sketch: str = ""


class SummaryFile(BaseModel):
    """What a workshop gives to others about one part number."""

    model_config = STRICT

    strokebench_summary: Literal[1]
    part: str
    kind: str
    procedure: str
    simulated: bool
    runs: int
    shops: list[str]
    findings: dict[str, FindingFile]


def summary_of(good: Good, part: str, base: Profile) -> SummaryFile:
    """Return the summary of a lake's good readings."""
    findings = {key: _finding(each) for key, each in good.columns.items()}
    return SummaryFile(
        strokebench_summary=1, part=part, kind=base.kind, procedure=_procedure(base),
        simulated=good.simulated, runs=good.runs, shops=good.shops, findings=findings,
    )  # fmt: skip


def _finding(column: Column) -> FindingFile:
    benches = [TallyFile(**asdict(each)) for each in tallies(column)]
    return FindingFile(
        unit=column.unit, scale=_kind(column), scale_unit=column.scale.unit, benches=benches,
        sketch=_sketch(column),
    )  # fmt: skip


def _kind(column: Column) -> Any:
    return column.scale.kind


def _sketch(column: Column) -> str:
    means = part_means(column)
    if len(means) < SKETCH_FROM:
        return ""
    sketch = needed("datasketches").kll_doubles_sketch(SKETCH_K)
    sketch.update(means)
    return base64.b64encode(sketch.serialize()).decode("ascii")


def part_means(column: Column) -> Any:
    """Return the mean reading of each part on the finding's scale, shape (parts,)."""
    counts = np.bincount(column.specimen)
    return np.bincount(column.specimen, column.value) / counts


def rank_error() -> float:
    """Return by how much of the parts a quantile's rank may be off, with a confidence of 99 %."""
    kll = needed("datasketches").kll_doubles_sketch
    return float(kll.get_normalized_rank_error(SKETCH_K, False))


def _procedure(base: Profile) -> str:
    return digest(base.model_dump(mode="json", exclude_none=True)["procedure"])


def read_summary(path: str | Path) -> SummaryFile:
    """Return the summary in a file; BookError when it cannot be read, DataError when it is none."""
    file = Path(path)
    try:
        if file.stat().st_size > LARGEST:
            raise DataError(f"{path} is too large for a summary.", "Name files of `lake summary`.")
        return SummaryFile.model_validate_json(file.read_bytes())
    except OSError as error:
        raise BookError(f"{path} cannot be read: {error.strerror}.", "Check name and permissions.") from None
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise DataError(f"{path} is no summary: {where}: {first['msg']}.", "Ask for it again.") from None


def together(files: Sequence[SummaryFile], base: Profile) -> dict[str, list[Tally]]:
    """Return the tallies of all workshops by finding. DataError for summaries that do not belong together."""
    first = files[0]
    for each in files:
        if (each.part, each.procedure, each.simulated) != (first.part, _procedure(base), first.simulated):
            raise DataError(
                f"Summaries of {first.part} and {each.part} do not compare: another part, procedure or"
                " simulation.", "Name summaries of one part, and the profile of its procedure.",
            )  # fmt: skip
    keys = dict.fromkeys(key for each in files for key in each.findings)
    return {
        key: merged([
            [Tally(**tally.model_dump()) for tally in each.findings[key].benches]
            for each in files if key in each.findings
        ])
        for key in keys
    }  # fmt: skip


def pooled_sketch(files: Sequence[SummaryFile], key: str) -> Any | None:
    """Return the sketch of all parts' means of a finding, None when a workshop gave none.

    DataError when one is damaged.
    """
    given = [each.findings[key].sketch for each in files if key in each.findings]
    if not given or not all(given):
        return None
    kll = needed("datasketches").kll_doubles_sketch
    total = kll(SKETCH_K)
    try:
        for text in given:
            total.merge(kll.deserialize(base64.b64decode(text, validate=True)))
    except (RuntimeError, ValueError, binascii.Error):
        raise DataError(f"The sketch of {key} is damaged.", "Ask for the summary again.") from None
    return total


def beyond(sketch: Any, lower: float | None, upper: float | None) -> float:
    """Return the share of the parts' means beyond limits on the finding's scale, by the sketch."""
    share = 0.0
    if lower is not None:
        share += float(sketch.get_rank(lower, False))
    if upper is not None:
        share += 1 - float(sketch.get_rank(upper, True))
    return share


def units(files: Sequence[SummaryFile]) -> Mapping[str, tuple[str, str]]:
    """Return finding -> its name for people and its unit."""
    return {key: (key.replace("_", " "), each.unit) for file in files for key, each in file.findings.items()}
