"""How a board is described: where large parts are, what belongs near which pin, where copper areas are."""

from __future__ import annotations

from dataclasses import dataclass, field

from hardware.boards.currents import Currents

Corner = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True)
class Area:
    """A copper area of a net on one layer: F, 1, 2 or B (1 is under the front). The higher number wins."""

    net: str
    layer: str
    corners: tuple[Corner, ...]
    priority: int = 1
    solid: bool = True
    clearance: float = 0.3


@dataclass(frozen=True)
class Wire:
    """A track drawn by hand, from corner to corner on one layer: a sense pair, left to no search."""

    net: str
    layer: str
    corners: tuple[Corner, ...]
    width: float = 0.25


@dataclass(frozen=True)
class Stitch:
    """A field of vias of a net: from corner to corner of a box, this far apart."""

    net: str
    box: Box
    step: float = 2.0


@dataclass
class Layout:
    """One board. `fixed`: reference -> x, y of the courtyard's middle, degrees. `near`: REF.PIN, parts."""

    folder: str
    name: str
    title: str
    width: float
    height: float
    fixed: dict[str, tuple[float, float, int]]
    near: list[tuple[str, str]]
    areas: list[Area]
    copper_um: tuple[float, float, float, float]
    """Thickness of the layers, front to back."""
    currents: Currents
    wires: list[Wire] = field(default_factory=list)
    stitches: list[Stitch] = field(default_factory=list)
    widths: dict[str, float] = field(default_factory=dict)
    """Track width in mm of nets that are not 0.25."""
    holes: tuple[Corner, ...] = ()
    texts: tuple[tuple[str, float, float, float], ...] = ()
    planes: dict[str, str] = field(default_factory=dict)
    """Net -> inner layer on which it lies as a plane, for pads that need no more than a via."""
    solid: frozenset[str] = frozenset()
    """Parts whose pads join their areas without thermal reliefs."""
    avoid: tuple[Box, ...] = ()
    """Boxes in which no part may be placed by the search."""
    empty: tuple[Box, ...] = ()
    """Boxes without copper on any layer."""


def rect(x0: float, y0: float, x1: float, y1: float) -> tuple[Corner, ...]:
    """Corners of a box."""
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)
