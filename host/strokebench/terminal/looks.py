"""How values and verdicts look in a terminal, wherever they are."""

from __future__ import annotations

import math
from functools import lru_cache

from strokebench.data.findings import Verdict

STYLES = {
    Verdict.PASS: "green", Verdict.FAIL: "bold red", Verdict.INCONCLUSIVE: "yellow", Verdict.INFO: "dim"
}  # fmt: skip


@lru_cache(maxsize=4096)
def decimals(u: float) -> int:
    """Return the digits behind the point that show ``u`` with two significant digits (GUM 7.2.6)."""
    if not math.isfinite(u) or u <= 0:
        return 3
    return min(6, max(0, 1 - math.floor(math.log10(u))))
