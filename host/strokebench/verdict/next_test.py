"""The next test: which look or measurement tells the leading hypotheses apart best.

A test comes out differently for different defects. Hypotheses for which it comes out alike stay together, so
what it is worth is the entropy that it takes from the probabilities. The tests are common practice of the
trade.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from strokebench.verdict.hypotheses import Hypothesis

USUAL = "as a sound part has it"
LEAST_GAIN = 0.05
"""Bits that a test must be worth to be named: below, the hypotheses are as good as decided."""


@dataclass(frozen=True)
class Check:
    """``do``: one instruction. ``shows``: defect -> what is then seen; any other defect shows nothing."""

    do: str
    shows: Mapping[str, str]

    def outcome(self, hypothesis: Hypothesis) -> str:
        """Return what is seen if the hypothesis is right."""
        seen = [self.shows[name] for name in hypothesis.defects if name in self.shows]
        return ", and ".join(sorted(set(seen))) or USUAL


@dataclass(frozen=True)
class NextTest:
    """A test that was chosen: instruction, outcome -> defects that it speaks for, worth in bits."""

    do: str
    outcomes: dict[str, list[tuple[str, ...]]] = field(default_factory=dict)
    bits: float = 0.0


LOOSE, HARD = "it turns freely", "it is hard to move all the way"
CHECKS = (
    Check(
        "Switch the power off, wait until it is cold, and move it by hand through its whole way.",
        {"blocked": "it does not move", "jammed": "it does not move", "stuck_shut": "it does not move",
         "stuck_open": "it does not move", "stuck_closed": "it does not move", "dragging": HARD,
         "sticky": HARD, "binding": "it catches at one place", "weak_spring": "it springs back weakly",
         "carbon_seat": "it stops before its seat", "sticky_seat": "it sticks in its seat",
         "short_travel": "it stops too early"},
    ),
    Check(
        "Swap the two leads and repeat the run.",
        {"clogged": "the load falls, as the wheel throws nothing", "worn": "the load stays low",
         "dry": "nothing changes", "dragging": "the drag stays", "obstructed": "the load stays high",
         "weak_magnet": "the motor constant stays low"},
    ),
    Check(
        "Measure pressure and delivery at the pump by the vehicle maker's procedure.",
        {"clogged": "high pressure before the restriction, little delivery", "worn": "low pressure",
         "dry": "no pressure, foam"},
    ),
    Check(
        "Take filter and outlet line off the pump, or the wheel off the motor, and repeat the run.",
        {"clogged": "the load is normal", "obstructed": "the load is normal",
         "broken_blade": "it runs evenly", "dragging": "the drag stays",
         "unbalanced": "it runs evenly", "worn": "the load stays low"},
    ),
    Check(
        "Measure the resistance with four wires at the part's own pins, plug off.",
        {"lead_resistance": "less than at the bench, if the leads are bad", "shorted_turns": "too little",
         "open_winding": "no connection", "worn_brush": "it changes as the shaft is turned",
         "bad_segment": "it jumps at one place as the shaft is turned", "leaky_freewheel": "too little"},
    ),
    Check(
        "Look at brushes and commutator, or feel the shaft for play.",
        {"worn_brush": "short or chipped brushes", "bad_segment": "one burnt or raised segment",
         "weak_magnet": "a cracked or loose magnet", "dragging": "play, or a rub mark"},
    ),
    Check(
        "Wiggle plugs and crimps one by one under load and watch the resistance.",
        {"lead_resistance": "it changes at one plug", "bad_crimp": "it jumps at one crimp",
         "supply_resistance": "it changes on the supply side",
         "ground_resistance": "it changes on the ground side"},
    ),
    Check(
        "Measure the voltage drop under load piece by piece: supply side, ground side, part's own plug.",
        {"supply_resistance": "the drop is on the supply side",
         "ground_resistance": "the drop is on the ground side",
         "lead_resistance": "the drop is behind the part's plug",
         "chafed_ground": "too little drop on the ground side"},
    ),
    Check(
        "Move the part by hand over its whole way, power off, feed on, and watch the sensor's voltage.",
        {"worn_track": "it drops out at one place", "track_dead": "it stays at nought",
         "track_shorted": "it stays at the feed", "track_mismatch": "the tracks disagree",
         "binding": "the voltage is smooth, the part catches"},
    ),
    Check(
        "Take the freewheel diode or resistor off, where there is one, and repeat the run.",
        {"leaky_freewheel": "the leak is gone", "shorted_turns": "inductance stays low"},
    ),
    Check(
        "Blow through the valve with the power off.",
        {"stuck_open": "it lets air through", "carbon_seat": "it lets air through", "stuck_closed": "no air",
         "stuck_shut": "no air", "weak_spring": "it opens with little pressure"},
    ),
    Check(
        "Repeat the run on another battery with short, thick leads.",
        {"weak_battery": "the sag is gone", "charger_ripple": "the ripple is gone"},
    ),
)  # fmt: skip


def next_test(ranked: Sequence[Hypothesis]) -> NextTest | None:
    """Return the test that tells the hypotheses apart best; None where none does or nothing is open."""
    offered = [_worth(test, ranked) for test in CHECKS]
    parting = [test for test in offered if test.bits >= LEAST_GAIN and len(test.outcomes) > 1]
    return max(parting, key=lambda test: test.bits, default=None)


def _worth(test: Check, ranked: Sequence[Hypothesis]) -> NextTest:
    by_outcome: dict[str, list[Hypothesis]] = defaultdict(list)
    for hypothesis in ranked:
        by_outcome[test.outcome(hypothesis)].append(hypothesis)
    shares = [sum(each.probability for each in group) for group in by_outcome.values()]
    bits = -sum(share * math.log2(share) for share in shares if share > 0)
    likely = {
        outcome: [each.defects for each in group if each.probability >= SAID]
        for outcome, group in by_outcome.items()
    }
    return NextTest(test.do, {outcome: group for outcome, group in likely.items() if group}, bits)


SAID = 0.02
"""Hypotheses less likely than this are not spelt out beside a test."""
