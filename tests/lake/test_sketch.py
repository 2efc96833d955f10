"""What a sketch of quantiles says is within its stated error of the truth; few parts go out without one."""

from __future__ import annotations

import numpy as np
import pytest
from strokebench.errors import DataError
from strokebench.lake import summary
from strokebench.lake.readings import Good, column
from strokebench.parts import load_part
from strokebench.verdict.learning.scale import Scale

pytestmark = pytest.mark.extras
BASE = load_part("solenoid")
KEY = "winding_resistance"


def summaries(parts: int, shops: int) -> tuple[list[summary.SummaryFile], np.ndarray]:
    """Return the summaries of shops with so many parts each, and the means of all parts, sorted."""
    pytest.importorskip("datasketches")
    chance, files, means = np.random.default_rng(3), [], []
    for shop in range(shops):
        values = chance.standard_t(5, size=parts)
        readings = [(f"b{shop}", f"p{n}", 0.0, float(value), 0.1) for n, value in enumerate(values)]
        made = column(KEY, "ohm", Scale("log", 0.1, 8.0), readings)
        files.append(summary.summary_of(Good({KEY: made}, [f"s{shop}"], True, parts), "solenoid", BASE))
        means.append(values)
    return files, np.sort(np.concatenate(means))


def test_a_pooled_sketch_is_within_its_error() -> None:
    files, values = summaries(4000, 5)
    sketch = summary.pooled_sketch(
        [summary.SummaryFile.model_validate_json(f.model_dump_json()) for f in files], KEY
    )
    assert sketch is not None and 0.01 < summary.rank_error() < 0.02
    for level in (0.05, 0.25, 0.5, 0.75, 0.95):
        rank = np.searchsorted(values, sketch.get_quantile(level)) / len(values)
        assert abs(rank - level) < summary.rank_error(), level
    low, high = np.quantile(values, (0.02, 0.97))
    assert summary.beyond(sketch, low, high) == pytest.approx(0.05, abs=2 * summary.rank_error())
    assert summary.beyond(sketch, None, None) == 0.0


def test_few_parts_go_out_without_a_sketch_and_a_damaged_one_is_said() -> None:
    files, _ = summaries(summary.SKETCH_FROM - 1, 2)
    assert files[0].findings[KEY].sketch == "" and summary.pooled_sketch(files, KEY) is None
    files, _ = summaries(summary.SKETCH_FROM, 1)
    cut = files[0].findings[KEY].model_copy(update={"sketch": files[0].findings[KEY].sketch[:40]})
    with pytest.raises(DataError, match="damaged"):
        summary.pooled_sketch([files[0].model_copy(update={"findings": {KEY: cut}})], KEY)
