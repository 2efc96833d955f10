"""Defects to inject into a simulated part: which exist, how big, where.

A defect is written ``NAME[=SIZE|:WORD][@PLACE]``: ``binding=0.6@0.45``, ``binding:severe``, ``track_dead@b``.
WORD is ``moderate`` or ``severe``; without a size the moderate one is taken.  What size and place mean
is in each part's own list, :func:`strokebench.sim.plants.available`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from strokebench.errors import UsageError


@dataclass(frozen=True)
class FaultKind:
    """One defect a plant can have: ``moderate``/``severe`` sizes, ``place`` the default where it has a place.

    ``size_means`` and ``place_means`` are for people; ``place_means`` is empty when there is none to choose.
    ``places`` lists the allowed words; without it a place is a share of travel, 0..1.  ``largest`` is the
    biggest size.
    """

    name: str
    sentence: str
    size_means: str
    moderate: float
    severe: float
    place_means: str = ""
    place: float | str = 0.0
    places: tuple[str, ...] = ()
    largest: float = 1e3


@dataclass(frozen=True)
class Fault:
    """A defect with its size and place, as injected."""

    name: str
    size: float
    place: float | str = 0.0


OPEN_WINDING = FaultKind("open_winding", "no current can flow", "no matter", 1, 1)
"""A defect that most plants know, like the next one; what it does to a specimen is said with each plant."""
WEAK_BATTERY = FaultKind(
    "weak_battery",
    "a flat, worn battery",
    "1: at most 11.85 V, 0.18 ohm more; 2: 11.2 V, 0.36 ohm",
    1.0,
    2.0,
    largest=8.0,
)


def parse(text: str, part: str, known: Sequence[FaultKind]) -> Fault:
    """Return the defect of ``part`` that ``text`` asks for, out of the ``known`` ones.

    UsageError names what is wrong and what is known.
    """
    head, _, place_text = text.partition("@")
    name, size_text, word = _split_size(head)
    kinds = {kind.name: kind for kind in known}
    if name not in kinds:
        raise UsageError(
            f"The simulated {part} has no fault called {name!r}.", f"It knows: {', '.join(sorted(kinds))}."
        )
    kind = kinds[name]
    return Fault(name, _size(kind, size_text, word), _place(kind, place_text.strip().lower()))


def parse_all(texts: Iterable[str], part: str, known: Sequence[FaultKind]) -> list[Fault]:
    """Parse several; the same defect twice is a UsageError unless the places differ."""
    faults = [parse(text, part, known) for text in texts]
    seen: set[tuple[str, float | str]] = set()
    for fault in faults:
        if (fault.name, fault.place) in seen:
            raise UsageError(f"The fault {fault.name!r} is given twice at the same place.", "Name it once.")
        seen.add((fault.name, fault.place))
    return faults


def _split_size(head: str) -> tuple[str, str, str]:
    name, equals, size_text = head.partition("=")
    name, _, word = name.partition(":")
    name = name.strip().lower().replace("-", "_")
    if equals and not size_text.strip():
        raise UsageError(
            f"The fault {name!r} has an empty size.", f"Write for instance {name}=0.5 or {name}:severe."
        )
    return name, size_text.strip(), word.strip().lower()


def _size(kind: FaultKind, size_text: str, word: str) -> float:
    if word and (size_text or word not in ("moderate", "severe")):
        raise UsageError(
            f"The size {word!r} of fault {kind.name!r} is not understood.",
            "Use :moderate, :severe, or =NUMBER, only one of them.",
        )
    if not size_text:
        return kind.severe if word == "severe" else kind.moderate
    try:
        size = float(size_text)
    except ValueError:
        size = math.nan
    if not 0 < size <= kind.largest:
        raise UsageError(
            f"The size {size_text!r} of fault {kind.name!r} must be above 0 and at most {kind.largest:g}.",
            f"Size means: {kind.size_means}.",
        )
    return size


def _place(kind: FaultKind, text: str) -> float | str:
    if not text:
        return kind.place
    if not kind.place_means:
        raise UsageError(
            f"The fault {kind.name!r} has no place to choose.", f"Write {kind.name} without '@{text}'."
        )
    if kind.places:
        if text in kind.places:
            return text
        raise UsageError(
            f"The fault {kind.name!r} cannot be at {text!r}.", f"Use one of: {', '.join(kind.places)}."
        )
    try:
        place = float(text)
    except ValueError:
        place = math.nan
    if not 0 <= place <= 1:
        raise UsageError(
            f"The place {text!r} of fault {kind.name!r} is not between 0 and 1.",
            f"Place means: {kind.place_means}.",
        )
    return place
