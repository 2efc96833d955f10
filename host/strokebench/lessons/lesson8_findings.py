"""Lesson 8: ten parts, some good, some not; the bench strokes and measures them, the class judges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from strokebench.bench.spec import SimSpec
from strokebench.data.findings import Finding, Verdict
from strokebench.lessons.outcome import Number, Outcome

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from strokebench.data.run import RunData

PARTS = (
    SimSpec("solenoid", 41),
    SimSpec("solenoid", 42, ("shorted_turns:severe",)),
    SimSpec("throttle-body", 43, ("binding=0.8@0.55",)),
    SimSpec("solenoid", 44, ("stuck_open",)),
    SimSpec("throttle-body", 45),
    SimSpec("solenoid", 46, ("lead_resistance:severe",)),
    SimSpec("throttle-body", 47, ("track_dead@b",)),
    SimSpec("solenoid", 48, ("weak_spring:severe",)),
    SimSpec("solenoid", 49),
    SimSpec("throttle-body", 50, ("weak_spring:severe",)),
)
"""Seeds are other good specimens around the defect; truth for the answers and the tests."""


@dataclass(frozen=True)
class Case:
    """One stroked part: what is true of it (empty: good), what was recorded, what the program makes of it."""

    spec: SimSpec
    data: RunData
    findings: list[Finding]
    verdict: Verdict
    named: str

    @property
    def truth(self) -> str:
        """Name of the injected defect, empty for a good part."""
        return self.spec.faults[0].split(":")[0].split("=")[0].split("@")[0] if self.spec.faults else ""

    @property
    def right(self) -> bool:
        """The program agrees: pass for a good part, fail with the defect's name for a bad one."""
        if not self.truth:
            return self.verdict is Verdict.PASS
        return self.verdict is Verdict.FAIL and self.named == self.truth

    def telling(self, most: int = 4) -> list[Finding]:
        """Return the findings furthest from the middle of their limits, in half widths of them."""
        known = [finding for finding in self.findings if finding.known]
        limited = [finding for finding in known if None not in (finding.lower, finding.upper)]
        one_sided = [finding for finding in known if (finding.lower is None) != (finding.upper is None)]
        return sorted(limited + one_sided, key=_strain, reverse=True)[:most]


def _strain(finding: Finding) -> float:
    if finding.lower is not None and finding.upper is not None:
        middle, half = (finding.lower + finding.upper) / 2, (finding.upper - finding.lower) / 2
        return abs(finding.value - middle) / half
    limit = finding.upper if finding.upper is not None else finding.lower
    assert limit is not None
    share = finding.value / limit if limit else 0.0
    return share if finding.upper is not None else 2 - share


def stroke(spec: SimSpec) -> Case:
    """Run the part's own procedure, diagnose blind and judge."""
    from strokebench.sim import trials
    from strokebench.verdict import root_cause
    from strokebench.verdict.examine import examine

    data, profile, _ = trials.stroke(spec)
    findings, verdict = examine(data, profile)
    return Case(spec, data, findings, verdict, root_cause(findings))


def limits_text(finding: Finding) -> str:
    """Limits in words."""
    if finding.lower is not None and finding.upper is not None:
        return f"{finding.lower:g} to {finding.upper:g}"
    return f"at most {finding.upper:g}" if finding.upper is not None else f"at least {finding.lower:g}"


def run() -> Outcome:
    """Stroke all ten; the numbers are what a judge would look at, without verdict or name."""
    cases = [stroke(spec) for spec in PARTS]
    numbers = []
    for place, case in enumerate(cases, 1):
        numbers += [
            Number(
                f"part{place}_{finding.key}",
                f"part {place}, {case.spec.part}: {finding.title} ({limits_text(finding)})",
                finding.value,
                finding.unit,
            )
            for finding in case.telling()
        ]
    right = sum(case.right for case in cases)
    numbers.append(Number("right", "parts that the program itself judged right", float(right), ""))

    def draw(figure: Figure) -> None:
        grid = figure.subplots(2, 5).ravel()
        for place, (axes, case) in enumerate(zip(grid, cases, strict=True), 1):
            rows = case.data.samples[::10]
            if case.spec.part == "solenoid":
                axes.plot(rows["time_s"] - rows["time_s"][0], rows["current_a"], linewidth=0.6)
                axes.set_xlabel("s", fontsize=7)
            else:
                axes.plot(rows["sensor_a_v"], rows["current_a"], linewidth=0.4)
                axes.plot(rows["sensor_b_v"], rows["current_a"], linewidth=0.4)
                axes.set_xlabel("tracks in V", fontsize=7)
            axes.set_title(f"{place}: {case.spec.part}, A", fontsize=7)
            axes.tick_params(labelsize=6)

    return Outcome("Ten parts: current over time (solenoid) or over the tracks (throttle)", numbers, draw)
