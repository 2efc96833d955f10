"""Readings as people write them: ``2.013``, ``2013 mA``, ``10k``."""

from __future__ import annotations

import math
import re

from strokebench.errors import DataError

PREFIXES = {"": 1.0, "u": 1e-6, "m": 1e-3, "k": 1e3}
NAMES = {"a": "A", "amp": "A", "v": "V", "volt": "V", "ohm": "ohm", "ohms": "ohm", "r": "ohm", "": ""}
_NUMBER = re.compile(
    r"\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z\u03a9\u2126\u00b5]*)\s*$"
)


def reading(text: str, unit: str) -> float:
    """Return ``text`` in ``unit`` ("A", "V", "ohm"); a number without a unit is taken to be in it.

    Raises :class:`DataError` when it is no number or another quantity.
    """
    match = _NUMBER.match(text)
    if match is None:
        raise DataError(f"{text.strip()!r} is not a reading.", f"Write a number, with or without {unit}.")
    value = float(match.group(1).replace(",", ".")) * factor(match.group(2), unit)
    if not math.isfinite(value):
        raise DataError(f"{text.strip()!r} is not a reading.", f"Write a number, with or without {unit}.")
    return value


def factor(written: str, unit: str) -> float:
    """Return what a number in unit ``written`` is multiplied by to be in ``unit``."""
    name = written.strip().replace("\u03a9", "ohm").replace("\u2126", "ohm").replace("\u00b5", "u")
    for size in (0, 1):
        prefix, rest = name[:size], name[size:]
        if prefix in PREFIXES and NAMES.get(rest.lower()) in (unit, ""):
            return PREFIXES[prefix]
    raise DataError(f"{written!r} is not a unit of this channel.", f"It is read in {unit}.")
