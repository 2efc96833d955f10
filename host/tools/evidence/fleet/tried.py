"""Good parts on benches that nobody learned from, judged by a fleet's limits."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from strokebench.data.findings import COVERAGE
from strokebench.verdict.learning.learn import Learnt

from tools.evidence.fleet.made import Fleet, Kind, drawn


def false_alarms(learnt: Learnt, kinds: Mapping[str, Kind], fleet: Fleet) -> float:
    """Return the share of a fleet's runs that fail by any limit: a reading beyond it by twice its own u.

    As in a verdict, the reading's own u counts, which does not know what its bench adds.
    """
    found = drawn(kinds, fleet)["readings"]
    failed = np.zeros(len(next(iter(found.values()))), dtype=bool)
    for limit in learnt.limits:
        values, u = found[limit.key], kinds[limit.key].u
        if limit.lower is not None:
            failed |= values + COVERAGE * u < limit.scale.to(limit.lower)[0]
        if limit.upper is not None:
            failed |= values - COVERAGE * u > limit.scale.to(limit.upper)[0]
    return float(np.mean(failed))
