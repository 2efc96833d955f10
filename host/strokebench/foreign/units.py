"""Units as people write them beside a column's name, and what a number in them is in ours."""

from __future__ import annotations

import re
import unicodedata
from typing import NamedTuple


class Unit(NamedTuple):
    """``of``: time, current, volts or share; a number in it times ``scale`` is in s, A, V or a fraction."""

    of: str
    scale: float


UNITS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sekunden"), Unit("time", 1.0)),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), Unit("time", 1e-3)),
    **dict.fromkeys(("us", "μs", "usec", "microsecond", "microseconds"), Unit("time", 1e-6)),
    "ns": Unit("time", 1e-9),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes", "adc"), Unit("current", 1.0)),
    **dict.fromkeys(("ma", "milliamp", "milliamps"), Unit("current", 1e-3)),
    **dict.fromkeys(("v", "volt", "volts", "vdc"), Unit("volts", 1.0)),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), Unit("volts", 1e-3)),
    "%": Unit("share", 1e-2),
}
_BEHIND = re.compile(
    r"(?:[\[(]\s*([^\[\]()]+?)\s*[\])]|[/,_]\s*([^\W\d_]{1,3}|%)|\s(?:in\s)?([mμu]?[sAV]))\s*$"
)
_CLAMP = re.compile(r"(\d+(?:[.,]\d+)?)\s*(m?)V\s*(?:/|per)\s*A\b")


def plain(text: str) -> str:
    """Return a name with its blanks and line ends made single blanks, and a single sign for micro."""
    return " ".join(unicodedata.normalize("NFKC", text.strip().strip('"')).split())


def unit(text: str) -> Unit | None:
    """Return the unit that ``text`` is, also in brackets; None when it is none that is known."""
    return UNITS.get(plain(text).strip("[]() ").lower())


def unit_behind(name: str) -> Unit | None:
    """Return the unit at the end of a column's name, as in ``Time [ms]``, ``I/A`` or ``CH1 (V)``."""
    found = _BEHIND.search(plain(name))
    return unit(next(part for part in found.groups() if part)) if found else None


def clamp_factor(text: str) -> float | None:
    """Return the amperes per volt of a current clamp whose factor stands in ``text``, as in ``100 mV/A``."""
    found = _CLAMP.search(plain(text))
    volts = float(found.group(1).replace(",", ".")) * (1e-3 if found.group(2) else 1.0) if found else 0.0
    return 1 / volts if volts else None
