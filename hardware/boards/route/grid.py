"""The board as two layers of cells: which net may pass where, by clearance to pads, edge, areas and wires."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from matplotlib.path import Path as Polygon

from hardware.boards.layout import Area, Layout, Wire
from hardware.boards.shapes import Box, Pad, Placed

PITCH = 0.25
CLEARANCE = 0.2
HALF = 0.125
"""Half of the usual track's width."""
VIA = 0.6
DRILL = 0.3
EDGE = 0.5
HOLE_TO_HOLE = 0.25
FREE, SHARED = -1, -2
SIDES = "FB"
EVERY = slice(None)


class Grid:
    """Cells [side, row, column]; `track` and `via` hold the net that may pass, FREE, or SHARED (none may)."""

    def __init__(self, layout: Layout, placed: dict[str, Placed], numbers: dict[str, int]) -> None:
        self.rows = round(layout.height / PITCH) + 1
        self.columns = round(layout.width / PITCH) + 1
        self.numbers = numbers
        self.track = np.full((2, self.rows, self.columns), FREE, dtype=np.int32)
        self.via = np.full((self.rows, self.columns), FREE, dtype=np.int32)
        self.no_via = np.zeros((self.rows, self.columns), dtype=np.uint8)
        self._y, self._x = np.meshgrid(
            np.arange(self.rows) * PITCH, np.arange(self.columns) * PITCH, indexing="ij"
        )
        self._edges(layout)
        for part in placed.values():
            for pad, net in part.pads():
                self._pad(pad.box, pad.sides, pad.hole, numbers.get(net, SHARED))
            for box in part.keepouts():
                away = self._away(box)
                self.track[:, away < HALF + 0.05] = SHARED
                self.via[away < VIA / 2 + 0.05] = SHARED
        for area in layout.areas:
            if area.layer in SIDES and area.priority:
                self._area(area)
        for wire in layout.wires:
            self._wire(wire)

    def cells_in(self, box: Box) -> np.ndarray:
        """Flat numbers (within one side) of the cells in a box; the nearest cell when there is none."""
        inside = (self._x >= box[0]) & (self._x <= box[2]) & (self._y >= box[1]) & (self._y <= box[3])
        found = np.flatnonzero(inside)
        if found.size:
            return found
        row = round((box[1] + box[3]) / 2 / PITCH)
        column = round((box[0] + box[2]) / 2 / PITCH)
        return np.array([row * self.columns + column])

    def cells_of(self, pad: Pad) -> np.ndarray:
        """Flat numbers of the cells on a pad's copper; a pad with a hole is taken as round."""
        flat = self.cells_in(pad.box)
        if not pad.hole:
            return flat
        (x, y), box = pad.centre, pad.box
        dx = (self._x.flat[flat] - x) / (box[2] - box[0]) * 2
        dy = (self._y.flat[flat] - y) / (box[3] - box[1]) * 2
        return flat[dx * dx + dy * dy <= 1]

    def inside(self, area: Area) -> np.ndarray:
        """Mask of the cells in a polygon."""
        points = np.column_stack([self._x.ravel(), self._y.ravel()])
        return Polygon(area.corners).contains_points(points).reshape(self.rows, self.columns)

    def _edges(self, layout: Layout) -> None:
        for margin, of in ((EDGE + HALF, self.track), (EDGE + VIA / 2, self.via)):
            out = (self._x < margin) | (self._x > layout.width - margin)
            out |= (self._y < margin) | (self._y > layout.height - margin)
            of[..., out] = SHARED
        for x, y in layout.holes:
            away = np.hypot(self._x - x, self._y - y)
            self.track[:, away < 3.4 + HALF] = SHARED  # head of an M3 screw: 6.8 mm at most
            self.via[away < 3.4 + VIA / 2] = SHARED

    def _pad(self, box: Box, sides: str, hole: float, net: int) -> None:
        window = self._window(box)
        away = self._away(box, window)
        for side, letter in enumerate(SIDES):
            if letter in sides:
                self._claim(self.track[side][window], away < CLEARANCE + HALF - 1e-6, net)
        self._claim(self.via[window], away < CLEARANCE + VIA / 2 - 1e-6, net)
        if hole:
            self.no_via[window][away < HOLE_TO_HOLE] = 1

    def _area(self, area: Area) -> None:
        net, side = self.numbers[area.net], SIDES.index(area.layer)
        mask = self.inside(area)
        self._claim(self.track[side], grown(mask, area.clearance + HALF), net)
        self._claim(self.via, grown(mask, area.clearance + VIA / 2), net)

    def _wire(self, wire: Wire) -> None:
        net, side = self.numbers[wire.net], SIDES.index(wire.layer)
        for (x0, y0), (x1, y1) in pairwise(wire.corners):
            away = self._away_from_line(x0, y0, x1, y1)
            self._claim(self.track[side], away < wire.width / 2 + CLEARANCE + HALF - 1e-6, net)
            self._claim(self.via, away < wire.width / 2 + CLEARANCE + VIA / 2 - 1e-6, net)

    def _window(self, box: Box) -> tuple[slice, slice]:
        """The cells within a millimetre of a box."""
        x0, y0, x1, y1 = (round(v / PITCH) for v in (box[0] - 1, box[1] - 1, box[2] + 1, box[3] + 1))
        return slice(max(y0, 0), max(y1 + 1, 0)), slice(max(x0, 0), max(x1 + 1, 0))

    def _away(self, box: Box, window: tuple[slice, slice] | slice = EVERY) -> np.ndarray:
        x, y = self._x[window], self._y[window]
        dx = np.maximum(np.maximum(box[0] - x, x - box[2]), 0)
        dy = np.maximum(np.maximum(box[1] - y, y - box[3]), 0)
        return np.hypot(dx, dy)

    def _away_from_line(self, x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
        length2 = (x1 - x0) ** 2 + (y1 - y0) ** 2
        t = np.clip(((self._x - x0) * (x1 - x0) + (self._y - y0) * (y1 - y0)) / length2, 0, 1)
        return np.hypot(self._x - x0 - t * (x1 - x0), self._y - y0 - t * (y1 - y0))

    @staticmethod
    def _claim(of: np.ndarray, mask: np.ndarray, net: int) -> None:
        """Cells nobody claimed become the net's; those of another net nobody's."""
        was = of[mask]
        of[mask] = np.where((was == FREE) | (was == net), net, SHARED)


def grown(mask: np.ndarray, by: float) -> np.ndarray:
    """A mask and what lies within `by` mm of it."""
    from scipy.ndimage import distance_transform_edt

    return np.asarray(distance_transform_edt(~mask) * PITCH < by - 1e-6)
