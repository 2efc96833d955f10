"""The page that lays two recordings over each other: one self-contained HTML file in the report's look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.expects import nominal_percent
from strokebench.diagnose.stats import Floats
from strokebench.report.numbers import fixed, limits_text, places, with_uncertainty
from strokebench.report.page import mark, page
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import WIDE, Picture, sheet
from strokebench.report.pictures.marks import shade, thin
from strokebench.verdict import COVERAGE

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile
    from strokebench.verdict.compare import Comparison, Difference

LOOKS = (("A", ink.OPEN, "-"), ("B", ink.CLOSE, "--"))
SIGNS = {"now passes": "\u2713 ", "still fails": "\u2717 ", "now fails": "\u2717 ", "worse": "\u2717 "}
"""Before the word, since colour never says it alone."""
INKS = {"now passes": ink.GOOD, "": ink.OPEN}
SCORES = (
    "Grey: within U. Diamonds and arrowheads: beyond it (arrowheads: more than six times). Green: now passes;"
    " red: fails."
)
FAR = 6.0
"""Changes beyond this many U are drawn at the edge."""


@dataclass(frozen=True)
class Line:
    """One line of the table of differences."""

    title: str
    unit: str
    a: str
    b: str
    change: str
    limits: str
    word: str
    state: str


def render(found: Comparison, names: tuple[str, str]) -> str:
    """Return the page as HTML; ``names`` say where A and B came from. Typed text is escaped."""
    return page(
        "comparison.html",
        mark=mark(found.a.run, found.b.run),
        title=found.a.profile.part.title,
        sides=[
            _side(letter, side, name)
            for letter, side, name in zip("AB", (found.a, found.b), names, strict=True)
        ],
        headline=headline(found),
        lines=[line(difference) for difference in found.differences],
        unknown=found.unknown,
        remarks=found.remarks,
        pictures=pictures(found),
        k=f"{COVERAGE:g}",
    )


def headline(found: Comparison) -> str:
    """Return one sentence: how many findings differ, and which most."""
    real, total, story = found.real, len(found.differences), _story(found)
    if not total:
        return "No finding is known of both."
    if not real:
        return f"{story}None of {total} findings differs beyond uncertainty."
    named = ", ".join(difference.title for difference in real[:3])
    return f"{story}{len(real)} of {total} findings differ beyond uncertainty, most of all: {named}."


def _story(found: Comparison) -> str:
    """Return what became of the verdicts, a sentence for each meaning."""
    groups: dict[str, list[str]] = {}
    for difference in found.differences:
        if difference.meaning:
            groups.setdefault(difference.meaning, []).append(difference.title)
    return "".join(f"{word.capitalize()}: {', '.join(titles)}. " for word, titles in groups.items())


def line(difference: Difference) -> Line:
    """Return a difference as text."""
    expanded = COVERAGE * difference.u
    digits = places(expanded)
    meaning = difference.meaning
    seen = ("higher" if difference.change > 0 else "lower") if difference.real else "no difference seen"
    word = SIGNS.get(meaning, "") + (meaning or seen)
    values = (fixed(difference.a, digits), fixed(difference.b, digits))
    change = with_uncertainty(difference.change, expanded)
    limits = limits_text(difference.lower, difference.upper)
    state = {"now passes": "pass", "": "info"}.get(meaning, "fail")
    return Line(difference.title, difference.unit, *values, change, limits, word, state)


def _side(letter: str, side: Any, name: str) -> dict[str, str]:
    info = side.info
    about = [info.get(key) for key in ("started_at", "part_serial", "customer", "note")]
    return {
        "letter": letter, "name": name, "verdict": side.verdict.value,
        "about": ", ".join(str(text) for text in about if text),
    }  # fmt: skip


def pictures(found: Comparison) -> list[Picture]:
    """Return the figures: differences, the run over time, and position over drive where it is known."""
    a, b = found.a, found.b
    made = [_scores(found)] if found.differences else []
    made.append(_overlay(a.run, b.run, a.profile))
    if "a" in a.profile.tracks and "a" in b.profile.tracks:
        made.append(_plane(((a.run, a.profile), (b.run, b.profile))))
    return made


def _scores(found: Comparison) -> Picture:
    """Each change in units of its own U: beyond one it is real."""
    shown = [change for change in found.differences if np.isfinite(change.score)][::-1]
    with sheet("Changes from A to B", WIDE, 0.7 + 0.2 * len(shown)) as page:
        axes = page.axes[0]
        shade(axes, -1, 1, ink.GREY, 0.18)
        for at, change in enumerate(shown):
            place = float(np.clip(change.score, -FAR, FAR))
            beyond = (
                "<" if change.score < -FAR else ">" if change.score > FAR else "D" if change.real else "o"
            )
            colour = INKS.get(change.meaning, ink.BAD) if change.real else ink.GREY
            axes.plot(place, at, beyond, color=colour, markersize=5)
        axes.set_yticks(range(len(shown)), [change.title for change in shown])
        axes.set(
            xlim=(-FAR - 0.5, FAR + 0.5), xlabel="change from A to B, in units of its expanded uncertainty U"
        )
        return page.picture(SCORES)


def _overlay(a: RunData, b: RunData, profile: Profile) -> Picture:
    from strokebench.verdict.compare import aligned_s

    times = aligned_s(a, b)
    clocks = (np.asarray(a.samples["time_s"], float), b.samples["time_s"] if times is None else times)
    last = _last_row(profile)
    rows: list[tuple[str, Callable[[RunData], Floats]]] = [
        ("drive, %", lambda run: np.asarray(run.samples["drive"] * 100, float)),
        ("current, A", lambda run: np.asarray(run.samples["current_a"], float)),
        last,
    ]
    with sheet("Both runs over time", WIDE, 4.3, rows=3, ratios=[1, 1.4, 1.4]) as page:
        for axes, (label, values) in zip(page.axes, rows, strict=True):
            for run, clock, (letter, colour, dashes) in zip((a, b), clocks, LOOKS, strict=True):
                axes.plot(
                    *thin(np.asarray(clock, float), values(run)),
                    dashes,
                    color=colour,
                    label=letter,
                    alpha=0.9,
                )
            axes.set_ylabel(label)
        page.axes[0].legend(loc="upper right", ncols=2)
        page.axes[-1].set_xlabel("time, s")
        how = "B set to A's clock segment by segment." if times is not None else "Each on its own clock."
        return page.picture(f"A solid, B dashed. {how}")


def _last_row(profile: Profile) -> tuple[str, Callable[[RunData], Floats]]:
    if "a" in profile.tracks:
        return "position, %", lambda run: _percent(run, profile)
    return "voltage, V", lambda run: load_voltage(run.samples)


def _percent(run: RunData, profile: Profile) -> Floats:
    return np.asarray(nominal_percent(profile.tracks["a"], run.samples["sensor_a_v"]), float)


def _plane(sides: tuple[tuple[RunData, Profile], ...]) -> Picture:
    with sheet("Position over drive", WIDE, 3.0) as page:
        axes = page.axes[0]
        for (run, profile), (letter, colour, dashes) in zip(sides, LOOKS, strict=True):
            step = max(1, len(run.samples) // 4000)
            drive, percent = run.samples["drive"][::step] * 100, _percent(run, profile)[::step]
            axes.plot(drive, percent, dashes, color=colour, linewidth=0.8, label=letter)
        axes.set(xlabel="drive, %", ylabel="position, %")
        axes.legend(loc="upper left")
        return page.picture("By the nominal ends of track A. A solid, B dashed.")
