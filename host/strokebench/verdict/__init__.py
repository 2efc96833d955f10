"""Verdicts: judging findings, tolerances, learning limits, comparing runs."""

from strokebench.data.findings import COVERAGE
from strokebench.verdict.decision import judge, named_faults, overall, root_cause

__all__ = ["COVERAGE", "judge", "named_faults", "overall", "root_cause"]
