"""Parameters into values and values into answers (SCPI-1999, volume 1, chapter 7; IEEE 488.2, chapter 8)."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from strokebench.scpi.errors import ScpiError
from strokebench.scpi.syntax import Parameter
from strokebench.scpi.tree import short

NAN, INFINITY = "9.91E+37", "9.9E+37"
"""What the standard has an instrument answer for "not a number" and for infinity."""
_MULTIPLIERS = {"": 1.0, "U": 1e-6, "M": 1e-3, "K": 1e3}
MOST_DIGITS = 255


def number(unit: str, low: float, high: float) -> Callable[[Parameter], float]:
    """Return a reader of a number in ``unit`` within ``low`` to ``high``, or of MINimum or MAXimum."""

    def read(given: Parameter) -> float:
        if given.kind == "word" and given.text in ("MIN", "MINIMUM", "MAX", "MAXIMUM"):
            return low if given.text.startswith("MIN") else high
        if given.kind != "number":
            raise ScpiError(-104, given.text)
        if len(given.text) > MOST_DIGITS:
            raise ScpiError(-120, given.text[:20])
        value = float(given.text) * _factor(given.unit, unit)
        if not low <= value <= high:
            raise ScpiError(-222, f"{given.text} is not within {low:g} to {high:g} {unit}".rstrip())
        return value

    return read


def _factor(given: str, unit: str) -> float:
    """Return what a number with the suffix ``given`` is multiplied by to be in ``unit``."""
    if not given:
        return 1.0
    if not unit:
        raise ScpiError(-138, given)
    if given.endswith(unit) and given[: -len(unit)] in _MULTIPLIERS:
        return _MULTIPLIERS[given[: -len(unit)]]
    raise ScpiError(-131, given)


def integer(low: int, high: int) -> Callable[[Parameter], int]:
    """Return a reader of a whole number within ``low`` to ``high``; others are rounded (IEEE 488.2)."""
    as_number = number("", low, high)
    return lambda given: round(as_number(given))


def boolean(given: Parameter) -> bool:
    """Read ON, OFF or a number, of which only zero is off."""
    if given.kind == "word" and given.text in ("ON", "OFF"):
        return given.text == "ON"
    if given.kind != "number":
        raise ScpiError(-104, given.text)
    return round(float(given.text)) != 0


def string(given: Parameter) -> str:
    """Read a string in single or double quotes."""
    if given.kind != "string":
        raise ScpiError(-104, given.text)
    return given.text


def choice(*words: str) -> Callable[[Parameter], str]:
    """Return a reader of one of ``words``, each written as the standard writes it; returns its short form."""
    known = {form: short(word) for word in words for form in (word.upper(), short(word))}

    def read(given: Parameter) -> str:
        if given.kind != "word":
            raise ScpiError(-104, given.text)
        if given.text not in known:
            raise ScpiError(-224, given.text)
        return known[given.text]

    return read


def real(value: float | None) -> str:
    """Return a number as an answer; none, and what is no number, by the standard's word for it."""
    if value is None or math.isnan(value):
        return NAN
    if math.isinf(value):
        return ("-" if value < 0 else "") + INFINITY
    return f"{value:.9G}"


def quoted(text: str) -> str:
    """Return ``text`` as string data; signs that a line of ASCII cannot carry become question marks."""
    clean = "".join(sign if " " <= sign <= "~" else "?" for sign in text)
    return '"' + clean.replace('"', '""') + '"'


def block(values: NDArray[np.float64], bits: int, *, swapped: bool) -> bytes:
    """Return a definite-length block of 32- or 64-bit floats, the highest byte first unless ``swapped``."""
    data = values.astype(("<" if swapped else ">") + f"f{bits // 8}").tobytes()
    length = str(len(data))
    return f"#{len(length)}{length}".encode() + data


def listed(values: Iterable[float]) -> str:
    """Return numbers as ASCII, separated by commas."""
    return ",".join(map(real, values))
