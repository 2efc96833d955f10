"""Diagnosis: one module per physical question, pure functions from a run to findings.

:func:`diagnose` looks up the finders of a kind of part and runs them all; verdicts are given by
:mod:`strokebench.verdict.judge`. Nothing here knows the simulation.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.data.run import RunData
    from strokebench.diagnose.expects import PartProfile

__all__ = ["case_of", "diagnose", "kinds"]


_CASES = {
    "moving": "moving.case:MovingCase", "seated": "moving.seated:SeatedCase", "coil": "coil.case:CoilCase",
    "turning": "turning.case:TurningCase",
    "plain": "case:Case",
    "solenoid_valve": "coil.solenoid_valve:SolenoidValveCase",
    "sensorless": "moving.sensorless:SensorlessCase",
    "guided": "person.case:GuidedCase",
}  # fmt: skip
"""Short name -> module and class of the case that a kind's finders are handed."""

_KINDS: dict[str, tuple[str, str]] = {
    "throttle": (
        "moving",
        "evidence supply winding moving.ripple moving.motor moving.stuck moving.sensor moving.travel moving.rest moving.breakaway moving.friction moving.spring moving.binding "
        "moving.response",
    ),
    "egr_solenoid": (
        "solenoid_valve",
        "evidence supply winding coil.inductor moving.stuck moving.sensor moving.travel moving.seat coil.duty_curve moving.binding moving.response",
    ),
    "idle_actuator": ("sensorless", "evidence supply winding moving.ripple moving.strokes moving.binding"),
    "solenoid": ("coil", "evidence supply winding coil.inductor coil.pull coil.pull_time"),
    "egr_motor": (
        "seated",
        "evidence supply winding moving.ripple moving.motor moving.stuck moving.sensor moving.travel moving.seat moving.breakaway moving.friction moving.spring moving.binding "
        "moving.response",
    ),
    "fuel_pump_fuse": (
        "turning",
        "evidence supply wires.wiring turning.running turning.loop turning.pump_alone turning.load turning.turns turning.inrush",
    ),
    "wiring": ("plain", "evidence supply wires.flows wires.wiring"),
    "guided": ("guided", "evidence supply person.guided"),
    **dict.fromkeys(
        ("fuel_pump", "water_pump", "cooling_fan"),
        ("turning", "evidence supply turning.running turning.loop turning.load turning.turns turning.inrush"),
    ),
}
"""Kind of part -> its case, and the modules of its questions in order."""


def _finders(kind: str) -> tuple[Callable[..., Any], dict[str, Callable[[Any], list[Finding]]]]:
    """The class of the case and the finders of a kind by their modules, which are loaded here, as needed."""
    from importlib import import_module

    case, modules = _KINDS[kind]
    module, name = _CASES[case].split(":")
    finders = {one.rsplit(".", 1)[-1]: import_module(f"{__name__}.{one}").find for one in modules.split()}
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
    from strokebench.diagnose import channels
    from strokebench.diagnose.evidence import why_unfit
    from strokebench.diagnose.switched import find as switched
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
