"""Is the recording fit to be judged at all? Gaps, clipping, a run cut short: reasons, not findings of the
part."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import connection
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured

GAPS = ("recording_gaps", "Missing samples", "%")
ENDED = ("run_complete", "Run ended as planned", "")
SHORT = ("run_resistance", "Highest possible resistance when the run ended", "ohm")
RESISTANCES = ("winding_resistance", "loop_resistance")
SHORT_SHARE, SHORT_A = 0.8, 0.5
"""A short: below this share of the lowest good resistance, while at least so much flows (judgement)."""
STOPPED_BY = {
    "stopped": "it was stopped", "interrupted": "it was stopped", "silent": "nobody answered, it was ended",
    "cut": "the recording was cut off", "fault": "the bench's protection ended it",
}  # fmt: skip
"""Outcome of a run that did not come to its end, without an event that says why -> what happened."""
GAP_PERIODS = 2.5
MANY_GAPS = 2.0
LOW_SUPPLY_V = 9.0
FEWEST, FEWEST_FOUND = 500, 100
"""Samples of a run, and of somebody else's recording, which may be no more than one quick stroke."""
FULL_SCALE_A = 70.0

QUESTION = Question(
    needs="",
    group="Recording",
    keys=(GAPS[0], ENDED[0], SHORT[0], connection.CONNECTION[0]),
    group_by_key={connection.CONNECTION[0]: "Supply and winding"},
    not_of_part=(GAPS[0], ENDED[0], SHORT[0], connection.CONNECTION[0]),
)


def find(case: Case) -> list[Finding]:
    """Return the share of missing samples, and a finding without value when the run ended early.

    Where the part is not connected as it should be, what can be said of that.
    """
    if found := connection.said_of(case):
        return found
    out = [case.finding(*GAPS[:2], Measured(missing_percent(case), 0.0), GAPS[2], high="")]
    events = case.run.events
    stopped = [event for event in events if event.kind == "fault" or (event.code and event.kind != "warning")]
    if stopped:
        first = stopped[0]
        why = f"the bench ended it with code {first.code}: {first.text}"
        out.append(
            case.missing(
                *ENDED, why, span_s=(first.time_s, first.time_s), evidence={"code": first.code, "gate": True}
            )
        )
    elif (outcome := str(case.run.info.get("outcome"))) in STOPPED_BY:
        out.append(case.missing(*ENDED, f"{STOPPED_BY[outcome]} before its end", evidence={"gate": True}))
    if case.run.info.get("outcome") == "watch":
        label = case.run.marks[-1].label if case.run.marks else ""
        why = f"the procedure ended itself early in {label!r}: the part did not do what a usable one does"
        out.append(case.missing(*ENDED, why, evidence={"gate": True}))
    if len(out) > 1:
        out += short(case)
    return out


def short(case: Case) -> list[Finding]:
    """Return the resistance at the moment a run was ended early, when it is far below a good one's.

    Voltage over current while the current still rises is more than the resistance, so a low value is never
    too low.
    """
    least = max((case.limits(key)[0] or 0.0 for key in RESISTANCES), default=0.0)
    amps = np.abs(np.asarray(case.run.samples["current_a"], float))
    if not len(amps) or not least:
        return []
    at = int(np.argmax(amps))
    rows = case.run.samples[max(0, at - 4) : at + 1]
    flows = float(np.mean(np.abs(rows["current_a"])))
    if flows < SHORT_A:
        return []
    ohm = float(np.mean(np.abs(load_voltage(rows)))) / flows
    u_ohm = math.hypot(
        case.accuracy("output_a_v", "offset") / flows,
        ohm * case.accuracy("current_a", "gain"),
        ohm * case.accuracy("current_a", "offset") / flows,
    )
    if ohm > SHORT_SHARE * least:
        return []
    found = Finding(
        *SHORT[:2], ohm, u_ohm, SHORT[2], lower=SHORT_SHARE * least, fault="shorted_turns",
        span_s=(float(rows["time_s"][0]), float(rows["time_s"][-1])),
    )  # fmt: skip
    return [found]


def missing_percent(case: Case) -> float:
    """Share of time not covered by samples, %; segments that began or ended beyond the samples count."""
    time_s = np.asarray(case.run.samples["time_s"], float)
    if len(time_s) < 3:
        return 100.0
    step = np.diff(time_s)
    period = float(np.median(step))
    marks = case.run.marks
    first_s = min([float(time_s[0]), *(mark.start_s for mark in marks)])
    last_s = max([float(time_s[-1]), *(mark.end_s for mark in marks)])
    step = np.concatenate(([time_s[0] - first_s], step, [last_s - time_s[-1]]))
    gaps = step[step > GAP_PERIODS * period] - period
    return float(100 * gaps.sum() / max(last_s - first_s, period))


def why_unfit(case: Case) -> str:
    """Return why no finding may be trusted, empty when nothing stands against it."""
    samples = case.run.samples
    if why := connection.why_unfit(case):
        return why
    if len(samples) < (FEWEST_FOUND if case.by_samples else FEWEST):
        return f"the recording holds only {len(samples)} samples"
    if (share := missing_percent(case)) > MANY_GAPS:
        return f"{share:.1f} % of the recording is missing"
    known = bool(np.isfinite(samples["drive"]).any())
    driven = np.abs(samples["drive"]) > 0.05 if known else np.ones(len(samples), bool)
    if driven.sum() < 100:
        return "the part was hardly driven"
    if _share(samples["supply_v"][driven] < LOW_SUPPLY_V) > 0.05:
        return f"the supply was below {LOW_SUPPLY_V:g} V for more than 5 % of the driven time"
    if _share(np.abs(samples["current_a"]) > FULL_SCALE_A) > 0.001:
        return "the current left the bench's range"
    return ""


def _share(hits: Floats) -> float:
    return float(np.mean(hits)) if len(hits) else 0.0
