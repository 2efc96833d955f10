"""The pump without its wiring: resistance of the whole loop less what both sides of the wiring lose."""

from __future__ import annotations

from strokebench.data.findings import Finding
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured
from strokebench.diagnose.turning import loop
from strokebench.diagnose.turning.case import TurningCase
from strokebench.diagnose.wires import wiring

PUMP = ("pump_resistance", "Resistance of the pump alone at 20 °C", "ohm")

QUESTION = Question(needs="current volts far", group="Turning", keys=(PUMP[0],))


def find(case: TurningCase) -> list[Finding]:
    """Return the resistance between the pump's own pins; its wiring is told by its own findings."""
    whole = next(finding for finding in loop.find(case) if finding.key == loop.RESISTANCE[0])
    sides = [wiring.measure(case, name) for name in wiring.SIDES]
    why = next((side for side in sides if isinstance(side, str)), whole.reason if not whole.known else "")
    if why:
        return [case.missing(*PUMP, why)]
    known = [side for side in sides if not isinstance(side, str)]
    ohm = whole.value - sum(side.ohm for side in known)
    measured = Measured(ohm, whole.u).widened(*(side.u_ohm for side in known))
    return [
        case.finding(
            *PUMP[:2], measured, PUMP[2], low="shorted_turns", high="lead_resistance", span_s=whole.span_s,
            evidence={"loop_ohm": whole.value, "sides_ohm": [round(side.ohm, 4) for side in known]},
        )
    ]  # fmt: skip
