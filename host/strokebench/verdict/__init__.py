"""Verdicts: judging findings, tolerances, learning limits, comparing runs."""

from strokebench.verdict.decision import COVERAGE, judge, named_faults, overall, root_cause

__all__ = ["COVERAGE", "judge", "named_faults", "overall", "root_cause"]
