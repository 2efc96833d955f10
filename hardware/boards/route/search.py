"""The cheapest way from some cells to some others: A* over two layers, compiled by Numba.

Whole numbers only, so that every machine finds the same way.
"""

from __future__ import annotations

import heapq

import numpy as np
from numba import njit

STRAIGHT, SLANTED, CHANGE = 10, 14, 90
FAR = 1 << 60
"""Cost of a cell that no way has reached."""
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
def _price(history, used, present, cell):  # type: ignore[no-untyped-def]
    return np.int64(history[cell]) + present * min(np.int64(used[cell]), 20)


@njit(cache=True)
def _dear(history, used, present, cell, wide, columns):  # type: ignore[no-untyped-def]
    worst = _price(history, used, present, cell)
    if wide:
        for step in (-1, 1, -columns, columns):
            worst = max(worst, _price(history, used, present, cell + step))
    return worst


@njit(cache=True)
def _left(row, column, box):  # type: ignore[no-untyped-def]
    """Least cost from a cell to the box of the targets (0 for a box that is the whole board)."""
    dy = max(box[0] - row, row - box[2], 0)
    dx = max(box[1] - column, column - box[3], 0)
    return STRAIGHT * max(dx, dy) + (SLANTED - STRAIGHT) * min(dx, dy)


@njit(cache=True)
def find(  # type: ignore[no-untyped-def]
    track, via, no_via, history, used, present, starts, target, plane, box, net, wide, columns, cost, came
):
    """Cells from a start to the first target, both included; a last cell below 0: down to the plane there.

    `track`, `history`, `used`, `target`: flat, two sides; `via`, `no_via`, `plane`: flat, one side. Empty: no
    way. `cost` (FAR everywhere, and left so) and `came` are room to work in.
    """
    size = no_via.size
    touched = [np.int64(0)]
    touched.pop()
    heap = [(np.int64(0), np.int64(0))]
    heap.pop()
    for start in starts:
        cost[start] = 0
        came[start] = -1
        touched.append(np.int64(start))
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
            total = so_far + price + _dear(history, used, present, new, wide, columns)
            if total < cost[new]:
                if cost[new] == FAR:
                    touched.append(np.int64(new))
                cost[new] = total
                came[new] = cell
                heapq.heappush(heap, (total + _left(row + dy, column + dx, box), new))
        here = via[flat]
        if no_via[flat] or (here != -1 and here != net):
            continue
        other = (1 - side) * size + flat
        price = (
            CHANGE
            + _dear(history, used, present, cell, True, columns)
            + _dear(history, used, present, other, True, columns)
        )
        if plane[flat]:
            heapq.heappush(heap, (so_far + price, -cell - 1))
        if _passes(track, net, other, wide, columns) and so_far + price < cost[other]:
            if cost[other] == FAR:
                touched.append(np.int64(other))
            cost[other] = so_far + price
            came[other] = cell
            heapq.heappush(heap, (so_far + price + _left(row, column, box), np.int64(other)))
    way = [np.int64(0)]
    way.pop()
    if down:
        way.append(np.int64(-1))
    at = end
    while at >= 0:
        way.append(at)
        at = came[at]
    for cell in touched:
        cost[cell] = FAR
    way.reverse()
    return way
