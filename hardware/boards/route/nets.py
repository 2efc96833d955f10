"""What each net has to join: groups of cells of pads, areas and hand-drawn wires, and the plane below."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from hardware.boards.layout import Layout
from hardware.boards.route.grid import HALF, SIDES, Grid
from hardware.boards.shapes import Placed


@dataclass
class Net:
    """One net: groups of cells (flat, both sides) that must become one; `plane`: mask of one side."""

    name: str
    number: int
    width: float
    groups: list[np.ndarray] = field(default_factory=list)
    plane: np.ndarray | None = None
    size: float = 0.0
    """Half of the circumference of what is to be joined, mm: short nets go first."""


def collect(layout: Layout, placed: dict[str, Placed], grid: Grid) -> list[Net]:
    """Nets with something to join, the first to be routed first."""
    found = []
    for name, number in grid.numbers.items():
        net = Net(name, number, layout.widths.get(name, 2 * HALF))
        if name in layout.planes:
            net.plane = _plane(layout, grid, name, layout.planes[name])
        spots = _pads(net, placed, grid)
        net.groups += _areas(net, layout, grid) + _wires(net, layout, grid)
        net.groups = merged(net.groups)
        if (net.plane is None and len(net.groups) < 2) or not net.groups:
            continue
        xs, ys = [s[0] for s in spots], [s[1] for s in spots]
        net.size = max(xs) - min(xs) + max(ys) - min(ys)
        found.append(net)
    return sorted(found, key=lambda n: (n.plane is not None, -n.width, n.size, n.name))


def _pads(net: Net, placed: dict[str, Placed], grid: Grid) -> list[tuple[float, float]]:
    spots = []
    for part in placed.values():
        for pad, name in part.pads():
            if name != net.name:
                continue
            spots.append(pad.centre)
            flat = grid.cells_of(pad)
            middle = grid.cells_in((*pad.centre, *pad.centre))[0]
            if pad.hole and net.plane is not None and net.plane.flat[middle]:
                continue  # its hole meets the plane
            size = grid.rows * grid.columns
            sides = [i for i, letter in enumerate(SIDES) if letter in pad.sides]
            group = np.concatenate([flat + side * size for side in sides])
            net.groups.append(group)
    return spots


def _plane(layout: Layout, grid: Grid, name: str, layer: str) -> np.ndarray:
    """Where a via of the net meets its plane, a millimetre inside of the edge of its areas."""
    from hardware.boards.route.grid import grown

    mask = np.zeros((grid.rows, grid.columns), dtype=bool)
    for area in layout.areas:
        if area.layer != layer:
            continue
        inside = grid.inside(area)
        if area.net == name:
            mask |= ~grown(~inside, 1.0)
        elif area.priority > _priority(layout, name, layer):
            mask &= ~grown(inside, 1.0)
    return mask


def _priority(layout: Layout, name: str, layer: str) -> int:
    return max(a.priority for a in layout.areas if a.net == name and a.layer == layer)


def _areas(net: Net, layout: Layout, grid: Grid) -> list[np.ndarray]:
    if net.name == "GND":
        return []
    groups = []
    size = grid.rows * grid.columns
    for area in layout.areas:
        if area.net == net.name and area.layer in SIDES:
            side = SIDES.index(area.layer)
            mine = grid.inside(area) & (grid.track[side] == net.number)
            groups.append(np.flatnonzero(mine) + side * size)
    return groups


def _wires(net: Net, layout: Layout, grid: Grid) -> list[np.ndarray]:
    groups = []
    for wire in layout.wires:
        if wire.net == net.name:
            side = SIDES.index(wire.layer)
            spots = [grid.cells_in((x, y, x, y))[0] for x, y in wire.corners]
            groups.append(np.array(spots) + side * grid.rows * grid.columns)
    return groups


def merged(groups: list[np.ndarray]) -> list[np.ndarray]:
    """Groups that share a cell become one."""
    rest = [np.unique(g) for g in groups]
    done: list[np.ndarray] = []
    while rest:
        now = rest.pop(0)
        again = True
        while again:
            again = False
            for other in list(rest):
                if np.intersect1d(now, other, assume_unique=True).size:
                    now = np.union1d(now, other)
                    rest = [r for r in rest if r is not other]
                    again = True
        done.append(now)
    return done
