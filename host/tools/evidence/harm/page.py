"""The record of a search as a page of the manual."""

from __future__ import annotations

from collections.abc import Sequence

from strokefw.drive import ramp

from tools.evidence.harm.lives import LIFE_TICKS, Life
from tools.evidence.harm.search import BESIDE, BOUND, Found, Front, beyond
from tools.evidence.harm.witness import MEASURES

HEAD = """# A search for harm

A program looked for a way to overheat a simulated part in spite of the bench's protection. This page
shows the worst that it found, compared with honest use. A ratio of 1 means that no trick did more harm
than honest use.

Written by `python -m tools.evidence.harm` (in the folder host; it needs the extra `fast`). The program
invented things that a host, a wire or the power might do to a part within {minutes:g} min from power-up:
procedures, jogs, pauses, waits, eight sets of limits, arming, clearing, new sessions, resets that keep the
chip's power, emergency stops, dips of the supply, noise and swings on a sensor's wire. One such list of acts
is called a life. A life that did more harm than all before was kept and changed a little, over and over. Each
simulated millisecond ran the firmware itself, compiled together with the board and a part. The harm is read
from the part's physics, not from the firmware's sensors.

**Compared with:** honest use under equal limits (the ones of several that allow most). Honest use is one
drive held, or the part stroked to and fro, from power-up until the bench ends it. Nothing is armed a second
time.

"""
WHAT = "| measure | what it is | a life may reach |\n| --- | --- | --- |\n{rows}\n\n"
RECORD = "## {title}\n\n{ticks} ticks in {lives} lives, seed {seed}. {said}\n\n"
TABLE = "| part | measure | allowed | worst life | ratio |\n| --- | --- | --- | --- | --- |\n{rows}\n\n"
WORST = (
    "The life with the largest ratio ({ratio:.2f}, {measure}, {part}), whose acts are repeated to the"
    " end:\n\n{acts}\n\n"
)


def head() -> str:
    """Return the page's beginning."""
    rows = "\n".join(f"| {name} | {what} | {_may_reach(name)} |" for name, what in MEASURES.items())
    return HEAD.format(minutes=LIFE_TICKS / 60_000) + WHAT.format(rows=rows)


def _may_reach(measure: str) -> str:
    beside = f" (honest and {BESIDE[measure]:g})" if BESIDE[measure] else ""
    return f"{BOUND[measure]:g} times{beside}"


def record(title: str, fronts: Sequence[Front], seed: int) -> str:
    """Return a search's part of the page."""
    ticks, lives = sum(front.ticks for front in fronts), sum(front.lives for front in fronts)
    holes = beyond(fronts)
    more = f"Lives that reached more than they may: {len(holes)}."
    said = more if holes else "No life reached more than it may."
    spaced = f"{ticks:,}".replace(",", " ")
    text = RECORD.format(title=title, ticks=spaced, lives=lives, seed=seed, said=said)
    rows = [
        f"| {front.stage.part.name} | {measure} | {found.harm / found.ratio:.2f} | {found.harm:.2f} "
        f"| {found.ratio:.2f} |"
        for front in fronts
        for measure, found in front.first()
        if found.ratio > 0.0
    ]
    return text + TABLE.format(rows="\n".join(rows)) + _worst(fronts)


def _worst(fronts: Sequence[Front]) -> str:
    def relative(each: tuple[Front, str, Found]) -> float:
        return each[2].ratio / BOUND[each[1]]

    found = [(front, measure, each) for front in fronts for measure, each in front.first()]
    if not found:
        return ""
    front, measure, worst = max(found, key=relative)
    return WORST.format(
        ratio=worst.ratio, measure=measure, part=front.stage.part.name, acts="\n".join(in_words(worst.life))
    )


def in_words(life: Life) -> list[str]:
    """Return a life's acts, one a line."""
    lines = []
    for act in life:
        if act[0] == "procedure":
            parts = ", ".join(
                f"{ramp.KIND_NAMES[kind]} {drive / 1e4:+.2f} {ms} ms" for kind, drive, ms in act[2]
            )
            lines.append(f"- procedure, {act[1]} times: {parts}")
        else:
            lines.append(f"- {act[0]} {' '.join(map(str, act[1:]))}".rstrip())
    return lines
