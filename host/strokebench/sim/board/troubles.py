"""Troubles of the bench itself, for tests, lessons and the self-test: at once or on a schedule.

Written ``NAME[=VALUE][@TIME[+DURATION]]``, times in seconds since power-up: ``heatsink_ntc_open``,
``estop@2.5``, ``supply=8.0@1.0+0.2``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from strokebench.errors import UsageError
from strokebench.sim.board.wires import CASE, LEADS, PINS, PROBE, WIRE

FETS = ("ah", "al", "bh", "bl")
KNOWN: dict[str, str] = {
    "estop": "the emergency stop line is open",
    "supply": "open-circuit voltage of the supply in V (a dip, a surge, 0 = cut)",
    "source": "resistance of the supply in ohm",
    "ripple": "ripple of a charger on the supply, V peak to peak at 100 Hz",
    "feed": "voltage of the 5 V sensor feed in V",
    "heatsink_ntc_open": "heatsink thermistor open",
    "heatsink_ntc_short": "heatsink thermistor shorted",
    "part_ntc_open": "loose thermistor open",
    "part_ntc_short": "loose thermistor shorted",
    "heatsink": "heatsink forced to this temperature in C",
    "part": "case of the part forced to this temperature in C",
    "fine_zero": "fine current amplifier off by this many A",
    "precharge_open": "the precharge resistor is open",
    "main_open": "the main switch does not close",
    "comparator_dead": "the fast current limit does not act",
    "comparator_plus_dead": "the fast current limit does not act on positive current",
    "comparator_minus_dead": "the fast current limit does not act on negative current",
    "comparator_off": "the fast current limit acts this many A above what it is set to (below: less than 0)",
    "leads_off": "the part's leads are off",
    "leads_shorted": "the part's leads touch",
    "leads_swapped": "the part's two leads are swapped",
    **{f"{WIRE}{lead}": f"lead {lead} is on this pin of the plug (0: on none), see PINS" for lead in LEADS},
    CASE: "the winding touches the case, through this many ohm",
    PROBE: "the feed's lead is the pin finder's, with its resistor",
    "link_silent": "nothing from the host reaches the bench",
    **{f"mosfet_short_{fet}": f"MOSFET {fet.upper()} shorted" for fet in FETS},
    **{f"mosfet_open_{fet}": f"MOSFET {fet.upper()} does not switch on" for fet in FETS},
}
"""Name -> what it means."""
NEEDS_VALUE = (
    "supply",
    "source",
    "ripple",
    "feed",
    "heatsink",
    "part",
    "fine_zero",
    "comparator_off",
    CASE,
    *(WIRE + lead for lead in LEADS),
)


class BenchFaults:
    """What is wrong with the bench now (``active``: name -> value) and what comes when.

    ``version`` counts changes, so that a board looks only when something happened.
    """

    def __init__(self, texts: Iterable[str] = ()) -> None:
        self.active: dict[str, float] = {}
        self.version = 0
        self.next_s = math.inf
        self._coming: list[tuple[float, str, float | None]] = []
        for text in texts:
            self.add(text)

    def add(self, text: str) -> None:
        """Take one trouble in; UsageError names what is wrong or known."""
        name, value, start_s, duration_s = parse(text)
        self.at(start_s, name, value)
        if duration_s is not None:
            self.at(start_s + duration_s, name, None)

    def at(self, time_s: float, name: str, value: float | None = 1.0) -> None:
        """Let ``name`` begin with ``value`` at ``time_s``; None ends it."""
        _check_name(name)
        self._coming.append((time_s, name, value))
        self._coming.sort(key=lambda event: event[0])
        self.next_s = self._coming[0][0]

    def set(self, name: str, value: float = 1.0) -> None:
        """Begin at once."""
        _check_name(name)
        self.active[name] = value
        self.version += 1

    def end(self, name: str) -> None:
        """End at once."""
        self.active.pop(name, None)
        self.version += 1

    def go_on(self, time_s: float) -> None:
        """Let everything happen that is due by ``time_s``."""
        while self._coming and self._coming[0][0] <= time_s:
            _, name, value = self._coming.pop(0)
            if value is None:
                self.end(name)
            else:
                self.set(name, value)
        self.next_s = self._coming[0][0] if self._coming else math.inf


def _check_name(name: str) -> None:
    if name not in KNOWN:
        raise UsageError(
            f"The simulated bench has no trouble called {name!r}.", f"It knows: {', '.join(sorted(KNOWN))}."
        )


def parse(text: str) -> tuple[str, float, float, float | None]:
    """Return (name, value, start in s, duration in s or None)."""
    head, _, when = text.partition("@")
    name, _, value_text = head.partition("=")
    name = name.strip().lower().replace("-", "_")
    _check_name(name)
    start_text, plus, duration_text = when.partition("+")
    try:
        value = float(value_text) if value_text else 1.0
        start_s = float(start_text) if start_text else 0.0
        duration_s = float(duration_text) if plus else None
    except ValueError:
        raise UsageError(
            f"The bench trouble {text!r} has a malformed number.", "Write NAME=VALUE@TIME+DURATION."
        ) from None
    if not math.isfinite(value) or start_s < 0 or (duration_s is not None and duration_s <= 0):
        raise UsageError(
            f"The bench trouble {text!r} has an impossible number.", "Times are seconds from 0 on."
        )
    if name in NEEDS_VALUE and not value_text:
        raise UsageError(f"The bench trouble {name!r} needs a value: {KNOWN[name]}.", f"Write {name}=NUMBER.")
    if name.startswith(WIRE) and not 0 <= value <= len(PINS):
        raise UsageError(f"There is no pin {value:g} on a simulated plug.", f"Pins: 0 to {len(PINS)}.")
    return name, value, start_s, duration_s
