"""The figure of a guided procedure: what the bench did, with every answer at its moment."""

from __future__ import annotations

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.expects import nominal_percent
from strokebench.diagnose.person.case import GuidedCase
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, Picture, failing_of, sheet
from strokebench.report.pictures.marks import above, curve


def pictures(case: GuidedCase, findings: list[Finding]) -> list[Picture]:
    """Return drive, position and current over time; answers numbered as in the report's table."""
    samples = case.run.samples
    if len(samples) < 2:
        return []
    time_s = np.asarray(samples["time_s"], float)
    track = case.profile.tracks.get("a")
    with sheet("The whole test", WIDE, 4.3 if track else 3.2, rows=3 if track else 2) as page:
        top, foot = page.axes[0], page.axes[-1]
        curve(top, time_s, samples["drive"] * 100, "drive, %", ink.DARK)
        if track is not None:
            percent = nominal_percent(track, samples["sensor_a_v"])
            curve(page.axes[1], time_s, percent, "position, %", ink.OPEN)
        curve(foot, time_s, samples["current_a"], "current, A", ink.CLOSE)
        page.on_time(time_s)
        bad = _failing_steps(findings)
        for number, mark in enumerate(case.run.marks):
            page.shade(mark.start_s, mark.end_s, ink.FAINT, 0.5 * (number % 2))
        for number, (step, answer) in enumerate(case.answers.items(), 1):
            colour = ink.BAD if step in bad else ink.GREY
            for axes in page.axes:
                axes.axvline(answer["time_s"], color=colour, linewidth=1.0, linestyle="--")
            above(top, answer["time_s"], str(number), colour)
        caption = "Dashed: an answer, numbered as in the table of answers. Shaded in turn: the steps."
        caption += " Red: behind a failing finding." if bad else ""
        return [page.picture(caption)]


def _failing_steps(findings: list[Finding]) -> set[str]:
    """Steps whose answers made a finding fail."""
    failing = failing_of(findings).values()
    return {answer["step"] for finding in failing for answer in finding.evidence.get("answers", [])}
