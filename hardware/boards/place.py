"""Places the parts: the fixed ones first, then each small part at the best free place near the pin it serves.

A place's cost is the way from the part's pad to that pin, and a share of the ways of its other pads to the
nearest pads already placed. Nothing is random.
"""

from __future__ import annotations

import numpy as np
from matplotlib.path import Path as Polygon

from hardware.boards.layout import Box, Layout
from hardware.boards.shapes import Placed, Shape, turned, turned_point

CELL = 0.25
STEP = 2
"""Parts are placed on every second cell: half a millimetre."""
GAP = 0.4
"""Between courtyards, so that a track finds a way."""
OTHER = 0.35
"""Weight of the ways of a part's other pads."""
REACH = 25.0
"""How far from its pin a part is looked for, mm."""
FAR = 40.0
"""A way longer than this (mm) counts as this much: the router crosses the board anyway."""


class Floor:
    """Which cells are taken by courtyards, and which net's copper area is at a cell of the front."""

    def __init__(self, layout: Layout) -> None:
        self._shape = (round(layout.height / CELL), round(layout.width / CELL))
        self._taken = np.zeros(self._shape, dtype=np.int32)
        self._summed: np.ndarray | None = None
        self._nets = ["", *sorted({a.net for a in layout.areas})]
        self._area = self._areas(layout)
        for box in layout.avoid:
            self.take(box)
        for x, y in layout.holes:
            self.take((x - 3.5, y - 3.5, x + 3.5, y + 3.5))

    def _areas(self, layout: Layout) -> np.ndarray:
        y, x = np.meshgrid(*(np.arange(n) * CELL for n in self._shape), indexing="ij")
        points = np.column_stack([x.ravel(), y.ravel()])
        found = np.zeros(self._shape, dtype=np.int32)
        for area in layout.areas:
            if area.layer == "F" and area.net != "GND":
                mask = Polygon(area.corners).contains_points(points, radius=0.4).reshape(self._shape)
                found[mask] = self._nets.index(area.net)
        return found

    def foreign(self, x: np.ndarray, y: np.ndarray, net: str) -> np.ndarray:
        """Whether another net's area is at points of the front."""
        row = np.clip(np.round(y / CELL).astype(int), 0, self._shape[0] - 1)
        column = np.clip(np.round(x / CELL).astype(int), 0, self._shape[1] - 1)
        here = self._area[row, column]
        own = self._nets.index(net) if net in self._nets else -1
        return (here != 0) & (here != own)

    def take(self, box: Box) -> None:
        """Mark a box as taken."""
        x0, y0, x1, y1 = (round(v / CELL) for v in box)
        self._taken[max(y0, 0) : y1, max(x0, 0) : x1] = 1
        self._summed = None

    def _sums(self) -> np.ndarray:
        """How many cells are taken above and left of each."""
        if self._summed is None:
            self._summed = np.zeros((self._shape[0] + 1, self._shape[1] + 1), dtype=np.int32)
            self._summed[1:, 1:] = self._taken.cumsum(0).cumsum(1)
        return self._summed

    def free(
        self, width: float, height: float, near: tuple[float, float]
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Middles (x, y in mm) round `near` for a box of that size, and whether it fits, gap included."""
        w = int(np.ceil((width + GAP) / CELL))
        h = int(np.ceil((height + GAP) / CELL))
        sums = self._sums()
        tops = _range(near[1], self._shape[0] - h)
        lefts = _range(near[0], self._shape[1] - w)
        t, left = np.meshgrid(tops, lefts, indexing="ij")
        count = sums[t + h, left + w] - sums[t, left + w] - sums[t + h, left] + sums[t, left]
        return (left + w / 2) * CELL, (t + h / 2) * CELL, count == 0


def _range(near: float, end: int) -> np.ndarray:
    """Cells at which a part may begin, a millimetre from the edge and `REACH` from the pin."""
    every = np.arange(4, end - 4, STEP)
    return every[np.abs(every * CELL - near) < REACH]


def place(layout: Layout, shapes: dict[str, Shape], nets: dict[str, dict[str, str]]) -> dict[str, Placed]:
    """Every part at its place; ValueError when a part has no place or none is asked for."""
    floor = Floor(layout)
    placed: dict[str, Placed] = {}
    for ref, (x, y, turn) in layout.fixed.items():
        placed[ref] = Placed(ref, shapes[ref], x, y, turn, nets[ref])
        floor.take(placed[ref].yard)
    for pin, refs in layout.near:
        for ref in refs.split():
            placed[ref] = _best(layout, floor, placed, shapes[ref], (ref, pin), nets[ref])
            floor.take(placed[ref].yard)
    missing = sorted(set(nets) - set(placed))
    if missing:
        raise ValueError(f"no place given for {' '.join(missing)}")
    return placed


def _best(
    layout: Layout,
    floor: Floor,
    placed: dict[str, Placed],
    shape: Shape,
    names: tuple[str, str],
    nets: dict[str, str],
) -> Placed:
    ref, pin = names
    anchor, number = pin.rsplit(".", 1)
    goal = placed[anchor].pin(number)
    net = placed[anchor].nets.get(number, "")
    others = _targets(layout, placed, nets, net)
    best: tuple[float, float, float, int] | None = None
    for turn in (0, 90, 180, 270):
        box = turned(shape.yard, turn)
        x, y, fits = floor.free(box[2] - box[0], box[3] - box[1], goal)
        cost = _cost(shape, turn, nets, (goal, net), others, x, y)
        cost = np.where(fits & ~_in_foreign(floor, shape, turn, nets, x, y), cost, np.inf)
        at = np.unravel_index(int(np.argmin(cost)), cost.shape)
        if best is None or cost[at] < best[0] - 1e-9:
            best = float(cost[at]), float(x[at]), float(y[at]), turn
    if best is None or not np.isfinite(best[0]):
        raise ValueError(f"{ref}: no free place")
    return Placed(ref, shape, best[1], best[2], best[3], nets)


def _targets(
    layout: Layout, placed: dict[str, Placed], nets: dict[str, str], own: str
) -> dict[str, list[tuple[float, float]]]:
    """For each net of the part but planes and the anchor's: where its pads already are."""
    wanted = set(nets.values()) - set(layout.planes) - {own}
    found: dict[str, list[tuple[float, float]]] = {}
    for part in placed.values():
        for pad, net in part.pads():
            if net in wanted:
                found.setdefault(net, []).append(pad.centre)
    return found


def _in_foreign(
    floor: Floor, shape: Shape, turn: int, nets: dict, x: np.ndarray, y: np.ndarray
) -> np.ndarray:
    """Whether a pad would be in another net's copper area, where no track reaches it."""
    middle = turned_point((shape.yard[0] + shape.yard[2]) / 2, (shape.yard[1] + shape.yard[3]) / 2, turn)
    bad = np.zeros(x.shape, dtype=bool)
    for pad in shape.pads:
        box = turned(pad.box, turn)
        for px in (box[0], box[2]):
            for py in (box[1], box[3]):
                bad |= floor.foreign(x + px - middle[0], y + py - middle[1], nets.get(pad.number, ""))
    return bad


def _cost(
    shape: Shape, turn: int, nets: dict, goal: tuple, others: dict, x: np.ndarray, y: np.ndarray
) -> np.ndarray:
    (goal_x, goal_y), net = goal
    middle = turned_point((shape.yard[0] + shape.yard[2]) / 2, (shape.yard[1] + shape.yard[3]) / 2, turn)
    total = 0.02 * np.hypot(x - goal_x, y - goal_y)
    ways = []
    for pad in shape.pads:
        px, py = turned_point(*pad.centre, turn)
        at_x, at_y = x + px - middle[0], y + py - middle[1]
        name = nets.get(pad.number, "")
        if name == net:
            ways.append(np.hypot(at_x - goal_x, at_y - goal_y))
        elif name in others:
            near = np.min([np.hypot(at_x - tx, at_y - ty) for tx, ty in others[name]], axis=0)
            total = total + OTHER * np.minimum(near, FAR)
    first = np.min(ways, axis=0) if ways else np.hypot(x - goal_x, y - goal_y)
    return total + first
