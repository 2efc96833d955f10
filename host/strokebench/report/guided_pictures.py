"""The figure of a guided procedure: what the bench did, with every answer at its moment."""

from __future__ import annotations

import numpy as np

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.person.case import GuidedCase
from strokebench.report.drawing import BAD, CLOSE, FAINT, GREY, INK, OPEN, WIDE, Picture, above, sheet, thin


def pictures(case: GuidedCase, findings: list[Finding]) -> list[Picture]:
    """Return drive, position and current over time; answers numbered as in the report's table."""
    samples = case.run.samples
    if len(samples) < 2:
        return []
    time_s = np.asarray(samples["time_s"], float)
    track = case.profile.tracks.get("a")
    with sheet("The whole test", WIDE, 4.3 if track else 3.2, rows=3 if track else 2) as page:
        axes = page.axes
        axes[0].plot(*thin(time_s, samples["drive"] * 100), color=INK)
        axes[0].set_ylabel("drive, %")
        if track is not None:
            share = (samples["sensor_a_v"] - track.closed_v) / (track.open_v - track.closed_v)
            axes[1].plot(*thin(time_s, 100 * share), color=OPEN)
            axes[1].set_ylabel("position, %")
        axes[-1].plot(*thin(time_s, samples["current_a"]), color=CLOSE)
        axes[-1].set_ylabel("current, A")
        axes[-1].set_xlabel("time, s")
        axes[-1].set_xlim(time_s[0], time_s[-1])
        bad = _told_bad(findings)
        for number, mark in enumerate(case.run.marks):
            for one in axes:
                one.axvspan(mark.start_s, mark.end_s, color=FAINT, alpha=0.5 * (number % 2), linewidth=0)
        for number, (step, one) in enumerate(case.answers.items(), 1):
            colour = BAD if step in bad else GREY
            for axis in axes:
                axis.axvline(one["time_s"], color=colour, linewidth=1.0, linestyle="--")
            above(axes[0], one["time_s"], str(number), colour)
        svg = page.svg()
    caption = "Dashed: an answer, numbered as in the table of answers. Shaded in turn: the steps."
    caption += " Red: behind a failing finding." if bad else ""
    return [Picture("The whole test", caption, svg, wide=True)]


def _told_bad(findings: list[Finding]) -> set[str]:
    """Steps whose answers stand behind a failing finding."""
    failing = (one for one in findings if one.verdict is Verdict.FAIL)
    return {told["step"] for one in failing for told in one.evidence.get("answers", [])}
