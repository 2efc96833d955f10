"""The record of a search as a page of the manual."""

from __future__ import annotations

from collections.abc import Sequence

from strokefw.drive import ramp

from tools.evidence.harm.lives import LIFE_TICKS, Life
from tools.evidence.harm.search import BESIDE, BOUND, LEAST, Found, Front, beyond
from tools.evidence.harm.witness import MEASURES, UNITS

HEAD = """# A search for harm

A program looked for ways to overheat a simulated part in spite of the bench's protection. This page
shows the worst that it found, beside the worst that honest use does. Some tricks do more harm than
honest use, and the page [Safety](safety.md#how-the-guards-can-still-be-cheated) says what to do about them.

**The search.** There were two searches. The second one may also unplug the bench. The program invented
things that a computer, a wire or the power supply might do to bench and part:

- [procedures](reference/glossary.md#procedure), movements by hand ([jogs](reference/glossary.md#jog)) and
  waits. Each procedure or jog first clears a fault and arms the bench, where that is possible
- eight sets of limits: those of the part's profile and seven others
- [arming](reference/glossary.md#arm), disarming, [self-tests](reference/glossary.md#self-test), clearing a
  [latched fault](reference/glossary.md#latch), new sessions
- resets of the firmware in which the chip keeps its power. In the second search also unplugging, in which the
  chip loses its power for a moment
- emergency stops and dips of the supply
- noise, and a regular swing of the voltage, on a sensor's wire

A list of such acts is called a life. It begins at power-up and is repeated until {minutes:g} minute is
over. (A life that sends very many requests ends earlier.) The next act begins when the procedure or jog
before it has ended, by itself or because the bench stopped it. If that is not before the minute is over,
the acts after it never happen. If a life did more harm than all before, the program kept it, changed it a
little and tried again, over and over. In each [tick](reference/glossary.md#tick) (a simulated millisecond)
the firmware itself ran, compiled together with the simulated board and part. The harm is read from the
physics of the simulated part, not from the sensors that the firmware sees.

**Honest use** means a constant [drive](reference/glossary.md#drive) (the share of the supply voltage, with
its polarity as a sign), or moving the part to and fro, from power-up until the bench ends the run. The
bench is armed only once. The drive was held at nine values, in both directions if the part has two. In
further trials the part was moved to and fro, with four values of the drive, and with a period of 1.2 s or 4
s. The worst of these counts. Honest use had the same limits as the life with which it is compared. If a
life used several sets of limits, the set with which honest use does most harm counts.

**The measures of harm.** A time *that fades* gets smaller all the time: by a thirtieth of its value in each
second. A part has *moved* when it is a quarter of its travel away from where it was held. A part that turns
without end has moved when it turns at 3 rad/s.

"""
WHAT = "| measure | what it is | allowed for a life |\n| --- | --- | --- |\n{rows}\n\n"
COLUMNS = """\
**The columns below.** *Honest use* is the harm of honest use, but at least the smallest value that counts
({least}). In rows of *held* the column already contains the {held:g} s of the table above. The bench allows
any number of short holds, as long as they take less than a fifth of the whole time: on average 0.2 s in
each second. So each second adds 0.2 s to the fading time and takes a thirtieth of that time away. At
{held:g} s the two are equal ({held:g} s / 30 = 0.2 s). This is the reason for the {held:g} s: such holds
alone can bring the fading time there.
*Worst life* is the most harm that a life did. *Ratio* is the worst life divided by honest
use. With a ratio of 1 or less no trick was worse than honest use (in rows of *held*: than honest use +
{held:g} s). The factors in the table above allow somewhat more. \
The second search is shorter than the first, so it tried fewer lives. \
A row is left out if no life did any harm of that kind. 0.00
means less than 0.005. If a part has no rows at all, the search did not try it, or no life did it any harm.

**The kinds of segments** in a procedure: a *hold* keeps a drive, a *step* jumps to it, a *ramp* goes to it
slowly. A *pause* has no drive. A *pulse* switches the drive on and off quickly.

**The simulated parts.** The number after the name of a part is its [seed](reference/glossary.md#seed): it
chooses the specimen. Some parts were made worse. *sticky=9* adds nine times the part's own friction.
*jammed* and *blocked* parts cannot move. *Thermal mass* is how much heat the winding takes up for each
degree, and *thermal resistance* is how badly the winding gives its heat away. *Resistance* is that of the
winding, in ohm. *Heat budget* is how much heat the [profile](reference/glossary.md#profile) allows
([I2t](reference/glossary.md#i2t)). A factor such as x0.5 multiplies the usual value. With *heat budget
x0.4* the current that the profile allows without limit of time is multiplied, too.

**To repeat the search:** install the program from its source, as in [First
run](tutorial/first-run.md#1-install), but with `pip install ".[fast]"`. Then type `cd host` and
`python -m tools.evidence.harm`. This does both searches below and writes this page anew.

"""
RECORD = (
    "## {title}\n\n{ticks} ticks in {lives} lives. The random choices of the search began with seed {seed}."
    " {said}\n\n"
)
TABLE = "| part | measure | honest use | worst life | ratio |\n| --- | --- | --- | --- | --- |\n{rows}\n\n"
WORST = (
    "The row with the largest ratio is {measure} of {part}: {ratio:.2f}. These are the acts of that life,"
    " which are repeated until the minute is over:\n\n{acts}\n\n"
)
SAID = {
    "wait": "wait {0} ms",
    "jog": "move by hand (jog) with drive {drive:+.2f} for {1} ms",
    "noise": "from now on there is noise of {0} mV (root mean square) on the sensor's signal",
    "swing": "from now on the sensor's voltage swings by {0} mV up and down, with a period of {1} ms",
    "limits": "limits, set {0} (0 is that of the profile)",
    "estop": "emergency stop for {0} ms",
    "dip": "the supply falls to 9 V for {0} ms",
    "stop": "stop",
    "hello": "a new session begins (hello)",
    "clear": "clear the fault",
    "selftest": "self-test",
    "reset": "reset of the firmware, the chip keeps its power",
    "replug": "the bench loses its power for a moment (replug)",
}
"""Act -> how the page says it; others are said by their name."""


def head() -> str:
    """Return the page's beginning."""
    rows = "\n".join(f"| {name} | {what} | {_may_reach(name)} |" for name, what in MEASURES.items())
    least = ", ".join(f"{name} {LEAST[name]:g} {unit}" for name, unit in UNITS.items())
    columns = COLUMNS.format(least=least, held=BESIDE["held"])
    return HEAD.format(minutes=LIFE_TICKS / 60_000) + WHAT.format(rows=rows) + columns


def _may_reach(measure: str) -> str:
    beside = f"(honest use + {BESIDE[measure]:g} s)" if BESIDE[measure] else "honest use"
    return f"{BOUND[measure]:g} times {beside}"


def record(title: str, fronts: Sequence[Front], seed: int) -> str:
    """Return a search's part of the page."""
    ticks, lives = sum(front.ticks for front in fronts), sum(front.lives for front in fronts)
    holes = beyond(fronts)
    rows_beyond = f"{len(holes)} row{'s' if len(holes) > 1 else ''}" if holes else "no row"
    said = f"In {rows_beyond} the worst life did more harm than the first table allows."
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
            rounds = "1 round" if act[1] == 1 else f"{act[1]} rounds, each"
            lines.append(f"- procedure of {rounds} with these segments (kind, drive, duration): {parts}")
        else:
            drive = act[1] / 1e4 if act[0] == "jog" else 0.0
            lines.append(f"- {str(SAID.get(act[0], act[0])).format(*act[1:], drive=drive)}")
    return lines
