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

__all__ = ["case_of", "diagnose", "kinds"]


_CASES = {
    "moving": "moving:MovingCase", "seated": "seated:SeatedCase", "coil": "coil_case:CoilCase",
    "turning": "turning:TurningCase",
    "plain": "case:Case",
    "solenoid_valve": "solenoid_valve:SolenoidValveCase",
    "sensorless": "sensorless:SensorlessCase",
    "guided": "guided_case:GuidedCase",
}  # fmt: skip
"""Short name -> module and class of the case that a kind's finders are handed."""

_KINDS: dict[str, tuple[str, str]] = {
    "throttle": (
        "moving",
        "evidence supply winding ripple motor stuck sensor travel rest breakaway friction spring binding "
        "response",
    ),
    "egr_solenoid": (
        "solenoid_valve",
        "evidence supply winding inductor stuck sensor travel seat duty_curve binding response",
    ),
    "idle_actuator": ("sensorless", "evidence supply winding ripple strokes binding"),
    "solenoid": ("coil", "evidence supply winding inductor pull pull_time"),
    "egr_motor": (
        "seated",
        "evidence supply winding ripple motor stuck sensor travel seat breakaway friction spring binding "
        "response",
    ),
    "fuel_pump_fuse": ("turning", "evidence supply wiring running loop pump_alone load turns inrush"),
    "wiring": ("plain", "evidence supply flows wiring"),
    "guided": ("guided", "evidence supply guided"),
    **dict.fromkeys(
        ("fuel_pump", "water_pump", "cooling_fan"),
        ("turning", "evidence supply running loop load turns inrush"),
    ),
}
"""Kind of part -> its case, and the modules of its questions in order."""


def _finders(kind: str) -> tuple[Callable[..., Any], dict[str, Callable[[Any], list[Finding]]]]:
    """The class of the case and the finders of a kind by their modules, which are loaded here, as needed."""
    from importlib import import_module

    case, modules = _KINDS[kind]
    module, name = _CASES[case].split(":")
    finders = {one: import_module(f"{__name__}.{one}").find for one in modules.split()}
    return getattr(import_module(f"{__name__}.{module}"), name), finders


def kinds() -> tuple[str, ...]:
    """Return the kinds of part that can be diagnosed."""
    return tuple(sorted(_KINDS))


def diagnose(run: RunData, profile: PartProfile) -> list[Finding]:
    """Return all findings of a run, unjudged, in a fixed order; UsageError for an unknown kind of part.

    When the recording as a whole is not fit (gaps, hardly driven, supply too low), every finding but those on
    the supply and on the recording itself loses its value and says why. A question whose channels were not
    recorded is not asked, and says what is missing; where the part was seen to be switched on
    (:mod:`strokebench.diagnose.switch_labels`), what the current alone tells takes its place.
    """
    from strokebench.diagnose import channels, switched
    from strokebench.diagnose.evidence import why_unfit
    from strokebench.errors import UsageError

    if profile.kind not in _KINDS:
        raise UsageError(
            f"There is no diagnosis for parts of kind {profile.kind!r}.",
            f"Known kinds: {', '.join(kinds())}.",
        )
    case, lacks = case_of(run, profile), channels.lacking(run)
    findings: list[Finding] = []
    unfit = why_unfit(case)
    for module, find in _finders(profile.kind)[1].items():
        unasked = channels.why_not(profile, module, "", lacks)
        asked = case_of(channels.blank(run), profile) if unasked else case
        found = [_without_value(one, unfit) for one in find(asked)] if unfit else find(asked)
        findings += channels.explained(found, profile, module, lacks)
    if not channels.followed_procedure(run):
        findings = [channels.doubtful(one) for one in findings]
    alone = {one.key: one for one in switched.find(case)}
    findings = [one if one.known else alone.pop(one.key, one) for one in findings]
    return [*findings, *(one for one in alone.values() if one.known)]


def case_of(run: RunData, profile: PartProfile) -> Any:
    """Return the case of the profile's kind: what its finders and its figures work from."""
    return _finders(profile.kind)[0](run, profile)


def _without_value(finding: Finding, reason: str) -> Finding:
    if finding.key.startswith(("supply", "source", "recording", "run")):
        return finding
    nan = float("nan")
    return finding.with_(value=nan, u=nan, reason=reason)
