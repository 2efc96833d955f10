"""The contents of a report as plain strings and lists. The template only lays them out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from strokebench.data.findings import COVERAGE, YES_NO, Finding, Verdict, yes_or_no
from strokebench.diagnose import kind_of
from strokebench.diagnose.case import followed_procedure
from strokebench.diagnose.defects import defect
from strokebench.diagnose.explained import explained
from strokebench.diagnose.question import GROUPS
from strokebench.diagnose.registry import OTHER
from strokebench.report.gauge import gauge
from strokebench.report.numbers import fixed, limits_text, span_text, symbols, with_uncertainty
from strokebench.report.workshop import Workshop
from strokebench.verdict.bench_fit import bench_troubles
from strokebench.verdict.decision import NO_LIMIT, named_faults, suspects

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile

HERE = Workshop()
"""No workshop: times are in the computer's zone."""
OFF_ENGINE = "The part was measured without load, at one temperature, off the engine."
BY_KIND = {
    "wiring": "The wire was measured at one temperature and at rest. Wiggle it by hand as well.",
    **dict.fromkeys(
        ("fuel_pump", "fuel_pump_fuse", "water_pump"),
        "Pressure and delivery were not measured. A pump can turn well and still deliver too little.",
    ),
    "guided": "A person saw and heard what the engine did. Its speed was not measured.",
    "cooling_fan": "Air flow was not measured. Judge noise and vibration by ear and hand.",
}
BY_TRACKS = {
    2: "There was no reference position sensor. The two tracks were compared with each other, so an error"
    " that both share is not visible.",
    1: "There was no reference position sensor, so a bend of the track's own scale is not visible.",
}


@dataclass(frozen=True)
class Row:
    """One line of the findings table; ``verdict`` is the word, by which the line gets its looks too.

    ``about``: what the finding means and how it is measured, so that a report needs no manual beside it.
    """

    title: str
    value: str
    unit: str
    limits: str
    gauge: str
    verdict: str
    where: str
    note: str
    about: str
    key: str


@dataclass(frozen=True)
class Trouble:
    """A defect that was found: plain name with its place, meaning, what to check, and the evidence."""

    name: str
    meaning: str
    check: str
    evidence: list[str]


def rows(findings: list[Finding], kind: str) -> list[tuple[str, list[Row]]]:
    """Return the table's groups in order, each with its rows; groups without findings are left out.

    ``kind`` of the part: its questions say in which group a finding is.
    """
    group_of = kind_of(kind).group_of
    grouped: dict[str, list[Row]] = {}
    for finding in findings:
        grouped.setdefault(group_of(finding.key), []).append(_row(finding))
    return [(name, grouped[name]) for name in (*GROUPS, OTHER) if name in grouped]


def _row(finding: Finding) -> Row:
    note = "" if finding.reason == NO_LIMIT else finding.reason
    about = explained(finding.key)
    return Row(
        title=finding.title,
        value=yes_or_no(finding) or with_uncertainty(finding.value, COVERAGE * finding.u),
        unit=_unit(finding.unit) if finding.known else "",
        limits="yes" if finding.unit == YES_NO else limits_text(finding.lower, finding.upper),
        gauge="" if finding.unit == YES_NO else gauge(finding, COVERAGE),
        verdict=finding.verdict.value,
        where=_where(finding),
        note=note,
        about=f"{about.means} Measured: {about.measured}" if about else "",
        key=finding.key,
    )


def _unit(unit: str) -> str:
    if unit == YES_NO:
        return ""
    return symbols(unit)


def _where(finding: Finding) -> str:
    parts = [span_text(finding.span_s)]
    if finding.place is not None and finding.key != "rest_position":
        parts.append(f"at {finding.place:.1f} %")
    return ", ".join(part for part in parts if part)


def troubles(findings: list[Finding]) -> list[Trouble]:
    """Return the defects found, deepest first, then what is wrong with the bench."""
    failing = [finding for finding in findings if finding.verdict is Verdict.FAIL]
    found = []
    for name in named_faults(findings):
        about = defect(name)
        behind = [finding for finding in failing if finding.fault == name]
        place = next((finding.place for finding in behind if finding.place is not None), None)
        where = f", at {place:.1f} % of travel" if place is not None and name in PLACED else ""
        evidence = [_evidence(finding) for finding in behind]
        found.append(Trouble(about.name + where, about.meaning, about.check, evidence))
    for name, probability in suspects(findings).items():
        about = defect(name)
        why = (
            "No finding that is out of its limits shows this defect. The values of the other findings make it"
            f" probable ({100 * min(probability, 0.99):.0f} %). See the annex."
        )
        found.append(Trouble(f"Probably also: {about.name.lower()}", about.meaning, about.check, [why]))
    for name in bench_troubles(findings):
        behind = [finding for finding in findings if finding.evidence.get("bench") == name]
        about, evidence = defect(name), [_evidence(finding) for finding in behind]
        found.append(
            Trouble(f"The bench, not the part: {about.name.lower()}", about.meaning, about.check, evidence)
        )
    unnamed = [finding for finding in failing if not finding.fault]
    return found + [
        Trouble(finding.title, "Out of its limits.", "See the findings.", [_evidence(finding)])
        for finding in unnamed
    ]


PLACED = ("binding", "worn_track")


def _evidence(finding: Finding) -> str:
    if finding.unit == YES_NO:
        return f"{finding.title}: {yes_or_no(finding)} ({finding.reason})"
    value = with_uncertainty(finding.value, COVERAGE * finding.u)
    limits = limits_text(finding.lower, finding.upper)
    return f"{finding.title}: {value} {_unit(finding.unit)} (allowed: {limits} {_unit(finding.unit)})"


def summary(findings: list[Finding], verdict: Verdict, run: RunData) -> str:
    """Return one sentence under the verdict."""
    limited = [finding for finding in findings if finding.lower is not None or finding.upper is not None]
    failed = sum(finding.verdict is Verdict.FAIL for finding in limited)
    unsure = sum(finding.verdict is Verdict.INCONCLUSIVE for finding in limited)
    passed = len(limited) - failed - unsure
    text = f"{len(limited)} findings have limits: {passed} pass, {failed} fail, {unsure} are inconclusive."
    if verdict is Verdict.PASS:
        return f"Every required finding is inside its limits by at least its uncertainty. {text}"
    if run.info.get("outcome") == "refused":
        return f"The bench did not drive the part. {text}"
    if verdict is Verdict.FAIL:
        return text
    stopped = run.info.get("outcome") not in (None, "done", "finished", "complete")
    return (
        "The run did not end as planned. " if stopped else "The evidence is not enough for a verdict. "
    ) + text


def open_points(findings: list[Finding]) -> list[tuple[str, list[str]]]:
    """Return what neither passes nor fails, gathered by its reason, in order of first appearance."""
    gathered: dict[str, list[str]] = {}
    for finding in findings:
        unsettled = finding.verdict in (Verdict.INCONCLUSIVE, Verdict.INFO)
        if unsettled and finding.reason and finding.reason != NO_LIMIT:
            gathered.setdefault(finding.reason, []).append(finding.title)
    return [(reason[:1].upper() + reason[1:], titles) for reason, titles in gathered.items()]


def answers(run: RunData) -> list[tuple[str, ...]]:
    """Return what a person answered: number, time, question, answer, drive, position and current then."""
    out: list[tuple[str, ...]] = []
    for number, answer in enumerate(run.info.get("answers") or [], 1):
        place = answer.get("position_percent")
        where = fixed(place, 1) + " %" if isinstance(place, float) and place == place else "\u2013"
        out.append(
            (str(number), f"{answer['time_s']:.1f} s", answer["question"], answer["text"],
             f"{100 * answer['drive']:.0f} %", where, f"{fixed(answer['current_a'], 2)} A")
        )  # fmt: skip
    return out


def always_open(profile: Profile) -> list[str]:
    """Return what such a measurement cannot tell, however it went."""
    if profile.kind in BY_KIND:
        return [BY_KIND[profile.kind]]
    tracks = BY_TRACKS.get(len(profile.tracks))
    return [OFF_ENGINE] if tracks is None else [tracks, OFF_ENGINE]


def is_simulated(run: RunData) -> bool:
    """True when no real part was driven."""
    return str(run.info.get("engine", "")) in ("inprocess", "micropython", "chip", "plant")


def identity(run: RunData, profile: Profile, workshop: Workshop = HERE) -> list[tuple[str, str]]:
    """Return what identifies job, part and run; the time in the workshop's zone."""
    info = run.info
    pairs = [
        ("Part", profile.part.title),
        ("Serial number", info.get("part_serial")),
        ("Customer, job", info.get("customer")),
        ("Note", info.get("note")),
        ("Run", info.get("run_id")),
        ("Started", workshop.moment(info.get("started_at"), seconds=True)),
        ("Recorded from", info.get("source")),
    ]
    return [(name, str(value)) for name, value in pairs if value not in (None, "")]


def bench_facts(run: RunData, profile: Profile) -> list[tuple[str, str]]:
    """Return which bench measured, by which procedure, under which conditions."""
    info = run.info
    bench: dict[str, Any] = info.get("identity") or {}
    samples = run.samples
    pairs: list[tuple[str, Any]] = [
        ("Bench", bench.get("board")),
        ("Bench id", bench.get("uid")),
        ("Firmware", bench.get("firmware")),
        ("Calibration", _calibration(bench)),
        ("Check of the bench", " ".join(info.get("golden", ()))),
        ("Cautions acknowledged", info.get("cautions")),
        ("Seal of the recording", info.get("seal")),
        ("Sealed afterwards", info.get("sealed_at")),
        ("Damaged", ", ".join(info.get("damaged", ()))),
        ("Procedure", _procedure(run, profile)),
        ("Samples", f"{len(samples)} in {_seconds(run):.1f} s, {info.get('lost_rows', 0)} lost"),
        ("Part temperature", _range(samples["part_c"], "\u00b0C")),
        ("Heatsink temperature", _range(samples["heatsink_c"], "\u00b0C")),
        ("Supply", _range(samples["supply_v"], "V")),
    ]
    return [(name, str(value)) for name, value in pairs if value not in (None, "")]


def _procedure(run: RunData, profile: Profile) -> str:
    if not followed_procedure(run):
        return "none: a recording from elsewhere"
    return profile.procedure.title or profile.name


def _calibration(bench: dict[str, Any]) -> str | None:
    if not bench:
        return None
    number = bench.get("calibration_id")
    if number and not isinstance(number, int):
        return f"record {number}, which is no number"
    return f"record {number:08x}" if number else "none: uncertainties are those of an uncalibrated bench"


def _seconds(run: RunData) -> float:
    time_s = run.samples["time_s"]
    return float(time_s[-1] - time_s[0]) if len(time_s) > 1 else 0.0


def _range(values: Any, unit: str) -> str | None:
    import numpy as np

    known = values[np.isfinite(values)]
    if not len(known):
        return None
    low, high = float(known.min()), float(known.max())
    return f"{low:.1f} {unit}" if high - low < 0.1 else f"{low:.1f} to {high:.1f} {unit}"
