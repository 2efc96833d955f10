"""Diagnosis: one module per physical question, pure functions from a run to findings.

:func:`diagnose` looks up the finders of a kind of part and runs them all; verdicts are given by
:mod:`strokebench.judge`. Nothing here knows the simulation.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.diagnose.expects import PartProfile
    from strokebench.findings import Finding
    from strokebench.run_data import RunData

__all__ = ["diagnose", "kinds"]


def _throttle(run: RunData, profile: PartProfile) -> tuple[Any, list[Callable[[Any], list[Finding]]]]:
    from strokebench.diagnose import (
        binding,
        breakaway,
        evidence,
        friction,
        motor,
        response,
        rest,
        ripple,
        sensor,
        spring,
        supply,
        travel,
        winding,
    )  # fmt: skip
    from strokebench.diagnose.moving import MovingCase

    order = (
        evidence, supply, winding, ripple, motor, sensor, travel, rest, breakaway, friction, spring, binding,
        response,
    )  # fmt: skip
    return MovingCase(run, profile), [module.find for module in order]


_KINDS = {"throttle": _throttle}


def kinds() -> tuple[str, ...]:
    """Return the kinds of part that can be diagnosed."""
    return tuple(sorted(_KINDS))


def diagnose(run: RunData, profile: PartProfile) -> list[Finding]:
    """Return all findings of a run, unjudged, in a fixed order; UsageError for an unknown kind of part.

    When the recording as a whole is not fit (gaps, hardly driven, supply too low), every finding but those on
    the supply and on the recording itself loses its value and says why.
    """
    from strokebench.diagnose.evidence import why_unfit
    from strokebench.errors import UsageError

    if profile.kind not in _KINDS:
        raise UsageError(
            f"There is no diagnosis for parts of kind {profile.kind!r}.",
            f"Known kinds: {', '.join(kinds())}.",
        )
    case, finders = _KINDS[profile.kind](run, profile)
    findings = [finding for find in finders for finding in find(case)]
    reason = why_unfit(case)
    return [_without_value(one, reason) for one in findings] if reason else findings


def _without_value(finding: Finding, reason: str) -> Finding:
    if finding.key.startswith(("supply", "source", "recording", "run")):
        return finding
    nan = float("nan")
    return finding.with_(value=nan, u=nan, reason=reason)
