"""The cheapest way from some cells to some others: A* over two layers, compiled by Numba.

Whole numbers only, so that every machine finds the same way.
"""

from __future__ import annotations

import heapq

import numpy as np
from numba import njit

STRAIGHT, SLANTED, CHANGE = 10, 14, 90
AGAINST = 3
"""Extra for a step across a layer's own direction: the front runs left and right, the back up and down."""


@njit(cache=True)
def _passes(track, net, cell, wide, columns):  # type: ignore[no-untyped-def]
    """Whether a track of the net may be at a cell; a wide one needs the four cells around, too."""
    here = track[cell]
    if here != -1 and here != net:
        return False
    if wide:
        for step in (-1, 1, -columns, columns):
            there = track[cell + step]
            if there != -1 and there != net:
                return False
    return True


@njit(cache=True)
def _dear(extra, cell, wide, columns):  # type: ignore[no-untyped-def]
    worst = extra[cell]
    if wide:
        for step in (-1, 1, -columns, columns):
            worst = max(worst, extra[cell + step])
    return worst


@njit(cache=True)
def _left(row, column, box):  # type: ignore[no-untyped-def]
    """Least cost from a cell to the box of the targets (0 for a box that is the whole board)."""
    dy = max(box[0] - row, row - box[2], 0)
    dx = max(box[1] - column, column - box[3], 0)
    return STRAIGHT * max(dx, dy) + (SLANTED - STRAIGHT) * min(dx, dy)


@njit(cache=True)
def find(  # type: ignore[no-untyped-def]
    track, via, no_via, extra, starts, target, plane, box, net, wide, rows, columns
):
    """Cells from a start to the first target, both included; a last cell below 0: down to the plane there.

    `track`, `extra`, `target`: flat, two sides; `via`, `no_via`, `plane`: flat, one side. Empty: no way.
    """
    size = rows * columns
    cost = np.full(2 * size, np.int64(1) << 60)
    came = np.full(2 * size, np.int64(-1))
    heap = [(np.int64(0), np.int64(0))]
    heap.pop()
    for start in starts:
        cost[start] = 0
        flat = start % size
        first = _left(flat // columns, flat % columns, box)
        heapq.heappush(heap, (np.int64(first), np.int64(start)))
    end = np.int64(-1)
    down = False
    while len(heap) > 0:
        key, code = heapq.heappop(heap)
        if code < 0:  # the plane under a cell
            end = -code - 1
            down = True
            break
        cell = code
        side = cell // size
        flat = cell - side * size
        row = flat // columns
        column = flat - row * columns
        so_far = cost[cell]
        if key > so_far + _left(row, column, box):
            continue
        if target[cell]:
            end = cell
            break
        for k in range(8):
            dy = (0, 0, -1, 1, -1, -1, 1, 1)[k]
            dx = (-1, 1, 0, 0, -1, 1, -1, 1)[k]
            new = cell + dy * columns + dx
            if not _passes(track, net, new, wide, columns):
                continue
            price = STRAIGHT
            if k >= 4:
                if not _passes(track, net, cell + dx, wide, columns):
                    continue
                if not _passes(track, net, cell + dy * columns, wide, columns):
                    continue
                price = SLANTED
            elif (side == 0) == (dy != 0):
                price += AGAINST
            total = so_far + price + _dear(extra, new, wide, columns)
            if total < cost[new]:
                cost[new] = total
                came[new] = cell
                heapq.heappush(heap, (total + _left(row + dy, column + dx, box), new))
        here = via[flat]
        if no_via[flat] or (here != -1 and here != net):
            continue
        other = (1 - side) * size + flat
        price = CHANGE + _dear(extra, cell, True, columns) + _dear(extra, other, True, columns)
        if plane[flat]:
            heapq.heappush(heap, (so_far + price, -cell - 1))
        if _passes(track, net, other, wide, columns) and so_far + price < cost[other]:
            cost[other] = so_far + price
            came[other] = cell
            heapq.heappush(heap, (so_far + price + _left(row, column, box), np.int64(other)))
    way = [np.int64(0)]
    way.pop()
    if end < 0:
        return way
    if down:
        way.append(np.int64(-1))
    at = end
    while at >= 0:
        way.append(at)
        at = came[at]
    way.reverse()
    return way
