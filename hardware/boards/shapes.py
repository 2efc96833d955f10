"""Footprints as rectangles: courtyards and pads, turned and moved. Millimetres, y downwards."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from hardware.boards.layout import Box


@dataclass(frozen=True)
class Pad:
    """A pad at its place: number (empty: a bare hole), sides "F", "B" or "FB", hole in mm (0: none)."""

    number: str
    box: Box
    sides: str
    hole: float

    @property
    def centre(self) -> tuple[float, float]:
        """Middle of the pad."""
        return centre(self.box)


@dataclass(frozen=True)
class Shape:
    """A footprint at its own origin."""

    yard: Box
    pads: tuple[Pad, ...]
    keepouts: tuple[Box, ...] = ()
    """Where the maker wants no copper at all, on any layer."""


@dataclass
class Placed:
    """A part on the board: where its courtyard's middle is, and by how many degrees it is turned (90s)."""

    ref: str
    shape: Shape
    x: float
    y: float
    turn: int
    nets: dict[str, str] = field(default_factory=dict)

    @property
    def origin(self) -> tuple[float, float]:
        """Where KiCad puts the footprint's own origin."""
        middle = turned_point(*centre(self.shape.yard), self.turn)
        return round(self.x - middle[0], 4), round(self.y - middle[1], 4)

    @property
    def yard(self) -> Box:
        """Courtyard on the board."""
        return moved(turned(self.shape.yard, self.turn), *self.origin)

    def pads(self) -> Iterator[tuple[Pad, str]]:
        """Each pad at its place, and its net ("" for none)."""
        for pad in self.shape.pads:
            box = moved(turned(pad.box, self.turn), *self.origin)
            yield Pad(pad.number, box, pad.sides, pad.hole), self.nets.get(pad.number, "")

    def keepouts(self) -> list[Box]:
        """Where no copper may be, on the board."""
        return [moved(turned(box, self.turn), *self.origin) for box in self.shape.keepouts]

    def pin(self, number: str) -> tuple[float, float]:
        """Middle of the first pad of that number."""
        return next(pad.centre for pad, _ in self.pads() if pad.number == number)


def centre(box: Box) -> tuple[float, float]:
    """Middle of a box."""
    return (box[0] + box[2]) / 2, (box[1] + box[3]) / 2


def turned_point(x: float, y: float, degrees: int) -> tuple[float, float]:
    """A point turned against the clock as seen on the screen, which is KiCad's sense."""
    return {0: (x, y), 90: (y, -x), 180: (-x, -y), 270: (-y, x)}[degrees % 360]


def turned(box: Box, degrees: int) -> Box:
    """A box turned about the origin."""
    x0, y0 = turned_point(box[0], box[1], degrees)
    x1, y1 = turned_point(box[2], box[3], degrees)
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def moved(box: Box, x: float, y: float) -> Box:
    """A box moved."""
    return box[0] + x, box[1] + y, box[2] + x, box[3] + y


def apart(a: Box, b: Box, gap: float) -> bool:
    """True when two boxes are at least `gap` apart."""
    return a[2] + gap <= b[0] or b[2] + gap <= a[0] or a[3] + gap <= b[1] or b[3] + gap <= a[1]
