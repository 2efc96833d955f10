"""The board as two layers of cells: which net may pass where, by clearance to pads, edge, areas and wires."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
from matplotlib.path import Path as Polygon

from hardware.boards.layout import Area, Box, Corner, Layout, Wire
from hardware.boards.shapes import Pad, Placed

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
            self._empty(part.keepouts())
        self._empty(layout.empty)
        for area in layout.areas:
            if area.layer in SIDES and area.priority:
                self._area(area)
        for wire in layout.wires:
            self._wire(wire)

    def cells_in(self, box: Box) -> np.ndarray:
        """Flat numbers (within one side) of the cells in a box; the nearest cell when there is none."""
        window = self._window(box)
        x, y = self._x[window], self._y[window]
        rows, columns = np.nonzero((x >= box[0]) & (x <= box[2]) & (y >= box[1]) & (y <= box[3]))
        if rows.size:
            return (rows + window[0].start) * self.columns + columns + window[1].start
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
        found = np.zeros((self.rows, self.columns), dtype=bool)
        window = self._window(outer(area.corners))
        found[window] = self._inside(area, window)
        return found

    def _inside(self, area: Area, window: tuple[slice, slice]) -> np.ndarray:
        x, y = self._x[window], self._y[window]
        return Polygon(area.corners).contains_points(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)

    def _edges(self, layout: Layout) -> None:
        for margin, of in ((EDGE + HALF, self.track), (EDGE + VIA / 2, self.via)):
            out = (self._x < margin) | (self._x > layout.width - margin)
            out |= (self._y < margin) | (self._y > layout.height - margin)
            of[..., out] = SHARED
        for x, y in layout.holes:
            away = np.hypot(self._x - x, self._y - y)
            self.track[:, away < 3.4 + HALF] = SHARED  # head of an M3 screw: 6.8 mm at most
            self.via[away < 3.4 + VIA / 2] = SHARED

    def _empty(self, boxes: Iterable[Box]) -> None:
        for box in boxes:
            away = self._away(box)
            self.track[:, away < HALF + 0.05] = SHARED
            self.via[away < VIA / 2 + 0.05] = SHARED

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
        window = self._window(outer(area.corners))
        mask = self._inside(area, window)
        self._claim(self.track[side][window], grown(mask, area.clearance + HALF), net)
        self._claim(self.via[window], grown(mask, area.clearance + VIA / 2), net)

    def _wire(self, wire: Wire) -> None:
        net, side = self.numbers[wire.net], SIDES.index(wire.layer)
        for a, b in pairwise(wire.corners):
            window = self._window(outer((a, b)))
            away = self._away_from_line(a, b, window)
            self._claim(self.track[side][window], away < wire.width / 2 + CLEARANCE + HALF - 1e-6, net)
            self._claim(self.via[window], away < wire.width / 2 + CLEARANCE + VIA / 2 - 1e-6, net)

    def _window(self, box: Box) -> tuple[slice, slice]:
        """The cells within some two millimetres of a box: more than any clearance."""
        x0, y0, x1, y1 = (round(v / PITCH) for v in (box[0] - 2, box[1] - 2, box[2] + 2, box[3] + 2))
        return slice(max(y0, 0), max(y1 + 1, 0)), slice(max(x0, 0), max(x1 + 1, 0))

    def _away(self, box: Box, window: tuple[slice, slice] | slice = EVERY) -> np.ndarray:
        x, y = self._x[window], self._y[window]
        dx = np.maximum(np.maximum(box[0] - x, x - box[2]), 0)
        dy = np.maximum(np.maximum(box[1] - y, y - box[3]), 0)
        return np.hypot(dx, dy)

    def _away_from_line(self, a: Corner, b: Corner, window: tuple[slice, slice]) -> np.ndarray:
        (x0, y0), (x1, y1) = a, b
        x, y = self._x[window], self._y[window]
        length2 = (x1 - x0) ** 2 + (y1 - y0) ** 2
        t = np.clip(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length2, 0, 1)
        return np.hypot(x - x0 - t * (x1 - x0), y - y0 - t * (y1 - y0))

    @staticmethod
    def _claim(of: np.ndarray, mask: np.ndarray, net: int) -> None:
        """Cells nobody claimed become the net's; those of another net nobody's."""
        was = of[mask]
        of[mask] = np.where((was == FREE) | (was == net), net, SHARED)


def outer(corners: Sequence[Corner]) -> Box:
    """The box round some points."""
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return min(xs), min(ys), max(xs), max(ys)


def grown(mask: np.ndarray, by: float) -> np.ndarray:
    """A mask and what lies within `by` mm of it."""
    from scipy.ndimage import distance_transform_edt

    return np.asarray(distance_transform_edt(~mask) * PITCH < by - 1e-6)
