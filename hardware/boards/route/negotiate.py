"""Routes all nets: each the cheapest way, then again those in conflict, while a contested cell gets dearer.

The scheme is that of McMurchie and Ebeling, "PathFinder: a negotiation-based performance-driven router for
FPGAs", 1995.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from hardware.boards.route.grid import CLEARANCE, DRILL, HALF, HOLE_TO_HOLE, PITCH, VIA, Grid
from hardware.boards.route.nets import Net
from hardware.boards.route.search import FAR, find

ROUNDS = 60
HISTORY = 6
PRESENT = 12


@dataclass
class Routed:
    """Ways of one net (cells, each way from end to end) and the cells at which it has vias."""

    ways: list[list[int]] = field(default_factory=list)
    vias: list[int] = field(default_factory=list)
    stamp: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    """Cells (both sides) at whose middle no other net's usual track may be."""


class Board:
    """The grid with what is routed on it so far."""

    def __init__(self, grid: Grid, nets: list[Net]) -> None:
        self.grid = grid
        self.nets = nets
        self.size = grid.rows * grid.columns
        self.used = np.zeros(2 * self.size, dtype=np.int32)
        self.history = np.zeros(2 * self.size, dtype=np.int32)
        self.done: dict[int, Routed] = {}
        self._track = np.ascontiguousarray(grid.track.ravel())
        self._no_via = grid.no_via.ravel().copy()
        self._barred: list[np.ndarray] = []
        self._via = np.ascontiguousarray(grid.via.ravel())
        self._cost = np.full(2 * self.size, np.int64(FAR))
        self._came = np.full(2 * self.size, np.int64(-1))

    def route(self, report: Callable[[str], None]) -> None:
        """Until nothing is in conflict; RuntimeError when that does not come."""
        todo = self.nets
        for turn in range(ROUNDS):
            for net in todo:
                self._clear(net)
                self._net(net, PRESENT * (turn + 1) * (turn + 1))
            fighting, contested = self._conflicts()
            report(f"round {turn + 1}: {len(todo)} nets routed, {len(fighting)} in conflict")
            if not fighting:
                return
            self.history[contested] += HISTORY
            todo = fighting
        raise RuntimeError("no way found: " + ", ".join(n.name for n in todo))

    def _clear(self, net: Net) -> None:
        old = self.done.pop(net.number, None)
        if old is not None:
            self.used[old.stamp] -= 1

    def _net(self, net: Net, present: int) -> None:
        result = Routed()
        groups = list(net.groups)
        tree = np.zeros(2 * self.size, dtype=np.uint8)
        if net.plane is None:
            tree[groups.pop(0)] = 1
        while groups:
            groups = self._join(net, result, groups, tree, present)
        self._free()
        result.stamp = self._stamp(result, net.width)
        self.used[result.stamp] += 1
        self.done[net.number] = result

    def _join(
        self, net: Net, result: Routed, groups: list[np.ndarray], tree: np.ndarray, present: int
    ) -> list[np.ndarray]:
        """Join the group nearest to the tree; what is left of the groups."""
        grid = self.grid
        spots = np.flatnonzero(tree)
        plane = np.zeros(self.size, dtype=np.uint8)
        if net.plane is not None:
            plane = net.plane.ravel().astype(np.uint8)
            box, nearest = np.array([0, 0, grid.rows, grid.columns]), 0
        else:
            flat = spots % self.size
            rows, columns = flat // grid.columns, flat % grid.columns
            box = np.array([rows.min(), columns.min(), rows.max(), columns.max()])
            nearest = self._nearest(groups, rows, columns)
        group = groups[nearest]
        way = find(
            self._track, self._via, self._no_via, self.history, self.used, present, group, tree, plane, box,
            net.number, net.width > 2 * HALF + 1e-6, grid.columns, self._cost, self._came,
        )  # fmt: skip
        if not way:
            row, column = divmod(int(group[0]) % self.size, grid.columns)
            raise RuntimeError(f"{net.name}: no way from {column * PITCH:.2f}, {row * PITCH:.2f}")
        self._keep(result, tree, [int(c) for c in way])
        tree[group] = 1
        return [g for i, g in enumerate(groups) if i != nearest]

    def _nearest(self, groups: list[np.ndarray], rows: np.ndarray, columns: np.ndarray) -> int:
        """The group whose middle is nearest to any cell of the tree."""
        best, least = 0, np.inf
        for i, group in enumerate(groups):
            middle = int(group[len(group) // 2]) % self.size
            row, column = divmod(middle, self.grid.columns)
            away = float(np.min(np.hypot(rows - row, columns - column)))
            if away < least - 1e-9:
                best, least = i, away
        return best

    def _keep(self, result: Routed, tree: np.ndarray, way: list[int]) -> None:
        if way[-1] < 0:
            way.pop()
            result.vias.append(way[-1] % self.size)
            self._bar(way[-1] % self.size)
        for a, b in pairwise(way):
            if a // self.size != b // self.size:
                result.vias.append(a % self.size)
                self._bar(a % self.size)
        tree[way] = 1
        for flat in result.vias:
            tree[flat] = tree[flat + self.size] = 1
        result.ways.append(way)

    def _bar(self, flat: int) -> None:
        """A second hole of the net being routed would be too near to this one."""
        near = flat + _disc(DRILL + HOLE_TO_HOLE, self.grid.columns)
        self._barred.append(near[self._no_via[near] == 0])
        self._no_via[near] = 1

    def _free(self) -> None:
        while self._barred:
            self._no_via[self._barred.pop()] = 0

    def _stamp(self, result: Routed, width: float) -> np.ndarray:
        columns = self.grid.columns
        wide = _disc(width / 2 + CLEARANCE + HALF, columns)
        parts = [np.array(way, dtype=np.int64)[:, None] + wide[None, :] for way in result.ways if way]
        holes = _disc(VIA / 2 + CLEARANCE + HALF, columns)
        vias = np.array(result.vias, dtype=np.int64)[:, None] + holes[None, :]
        every = np.concatenate([p.ravel() for p in parts] + [vias.ravel(), (vias + self.size).ravel()])
        return np.unique(every[(every >= 0) & (every < 2 * self.size)]).astype(np.int64)

    def _conflicts(self) -> tuple[list[Net], np.ndarray]:
        fighting, contested = [], []
        for net in self.nets:
            routed = self.done[net.number]
            self.used[routed.stamp] -= 1
            here = self._reach(routed, net.width)
            bad = here[self.used[here] > 0]
            self.used[routed.stamp] += 1
            if bad.size:
                fighting.append(net)
                contested.append(bad)
        return fighting, np.unique(np.concatenate(contested)) if contested else np.zeros(0, dtype=np.int64)

    def _reach(self, routed: Routed, width: float) -> np.ndarray:
        """Cells that must be out of all other nets' stamps."""
        columns = self.grid.columns
        ring = np.array([0, -1, 1, -columns, columns])
        steps = ring if width > 2 * HALF + 1e-6 else ring[:1]
        parts = [(np.array(way)[:, None] + steps[None, :]).ravel() for way in routed.ways]
        vias = (np.array(routed.vias, dtype=np.int64)[:, None] + ring[None, :]).ravel()
        return np.unique(np.concatenate([*parts, vias, vias + self.size])).astype(np.int64)

    def stitch(self, number: int, spots: np.ndarray) -> list[int]:
        """Of these cells those where a via of the net may be; each is taken as it is given."""
        columns = self.grid.columns
        ring = np.array([0, -1, 1, -columns, columns])
        taken = self.grid.no_via.ravel().copy()
        for other in self.done.values():
            for flat in other.vias:
                taken[flat + _disc(DRILL + HOLE_TO_HOLE, columns)] = 1
        own = self.done.get(number)
        used = self.used.copy()
        if own is not None:
            used[own.stamp] -= 1
        kept = []
        for flat in spots:
            near = flat + ring
            if self._via[flat] not in (-1, number) or taken[flat]:
                continue
            if used[near].any() or used[near + self.size].any():
                continue
            kept.append(int(flat))
            taken[flat + _disc(DRILL + HOLE_TO_HOLE, columns)] = 1
        return kept


def _disc(radius: float, columns: int) -> np.ndarray:
    """Steps to the cells nearer than `radius` mm."""
    n = int(radius / PITCH) + 1
    steps = [
        dy * columns + dx
        for dy in range(-n, n + 1)
        for dx in range(-n, n + 1)
        if np.hypot(dx, dy) * PITCH < radius - 1e-6
    ]
    return np.array(steps, dtype=np.int64)
