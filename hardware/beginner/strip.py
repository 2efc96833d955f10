"""Where each part sits on the stripboard, where strips are cut, which wires join them.

Rows are strips, columns holes, both counted from 0; the copper is below. Chips stand over cuts in three
blocks; the two-legged parts stand between strips of a field beside them. Orders of placing are drawn by
chance from a fixed seed, and the layout with the fewest wires is kept.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache

from hardware.beginner.parts import PARTS, Part, nets

ROWS, COLUMNS = 39, 62
Hole = tuple[int, int]
"""Row and column."""
SPAN = {"axial4": (3, 8), "axial2": (2, 5), "led": (1, 4)}
"""Rows between the legs, least and most: a resistor lies or stands, a capacitor's legs are bent."""
TRIES, SEED = 60, 1
BLOCK_CUTS = (14, 27, 40, 51)
"""Columns in which every strip is cut."""
CHIPS = {
    "A1": (0, 3, 10, 7), "U3": (0, 19, 22, 20), "U5": (9, 19, 22, 20), "U9": (18, 19, 22, 20),
    "U1": (27, 19, 22, 20),
    "U2": (32, 19, 22, 20),
    "U6": (0, 32, 35, 33), "U7": (8, 32, 35, 33),
    "U8": (16, 32, 35, 33), "U4": (21, 32, 35, 33),
}  # fmt: skip
"""First row, columns of the left and right pins, column of the cut between them."""
IN_LINE = {
    "RN1": (21, 3, 1), "J3": (31, 3, 2), "Q1": (21, 10, 1), "Q2": (24, 10, 1), "Q3": (27, 10, 1),
    "U10": (30, 10, 1),
    "U11": (33, 10, 1),
}  # fmt: skip
"""First row, column, rows from pin to pin."""
FIELDS = ((0, 38, 41, 50), (0, 38, 52, 61), (26, 38, 28, 39))
"""First and last row, first and last column of each field of two-legged parts."""
HALF_CUT = (20, 38, 7)
"""Rows of the first block below the Pico, and the column in which they are cut."""


@dataclass
class Board:
    """``at``: hole of each pin; ``cuts``; ``wires`` from hole to hole; ``leads``: to what is beside."""

    at: dict[tuple[str, str], Hole] = field(default_factory=dict)
    cuts: set[Hole] = field(default_factory=set)
    wires: list[tuple[Hole, Hole, str]] = field(default_factory=list)
    leads: list[tuple[Hole, str, str]] = field(default_factory=list)
    used: set[Hole] = field(default_factory=set)

    def strip(self, hole: Hole) -> tuple[int, int, int]:
        """Row, first and last column of the piece of strip under a hole."""
        row, first = hole
        last = first
        while first > 0 and (row, first - 1) not in self.cuts:
            first -= 1
        while last < COLUMNS - 1 and (row, last + 1) not in self.cuts:
            last += 1
        return row, first, last

    def free(self, strip: tuple[int, int, int]) -> Iterator[Hole]:
        """Holes of a piece of strip in which nothing is."""
        row, first, last = strip
        return ((row, c) for c in range(first, last + 1) if (row, c) not in self.used)

    def put(self, ref: str, number: str, hole: Hole) -> None:
        """A pin into a hole."""
        assert hole not in self.used and hole not in self.cuts, (ref, number, hole)
        self.at[ref, number] = hole
        self.used.add(hole)


def _chips(board: Board) -> None:
    known = {part.ref: part for part in PARTS}
    board.cuts |= {(row, column) for row in range(ROWS) for column in BLOCK_CUTS}
    board.cuts |= {(row, HALF_CUT[2]) for row in range(HALF_CUT[0], HALF_CUT[1] + 1)}
    for ref, (top, left, right, cut) in CHIPS.items():
        count = {"pico": 40}.get(known[ref].box) or int(known[ref].box[3:])
        for number in range(1, count + 1):
            low = number <= count // 2
            row = top + (number - 1 if low else count - number)
            board.cuts.add((row, cut))
            board.put(ref, str(number), (row, left if low else right))
    for ref, (top, column, step) in IN_LINE.items():
        for i, pin in enumerate(known[ref].pins):
            board.put(ref, pin.number, (top + i * step, column))


class Field:
    """The fields under way: which net a row has, which holes of a column are under a body."""

    def __init__(self) -> None:
        self.net: dict[tuple[int, int], str] = {}
        self.taken: set[tuple[int, int, int]] = set()

    def place(self, part: Part) -> tuple[int, int, int, int]:
        """Field, rows of the two legs, column; the choice that needs fewest new strips, then the shortest."""
        low, high = SPAN[part.box]
        a, b = part.pins[0].net, part.pins[1].net
        best: tuple[int, int, tuple[int, int, int, int]] | None = None
        for which, (first, last, left, right) in enumerate(FIELDS):
            for near in range(first, last + 1):
                have = self.net.get((which, near))
                if have not in (None, a):
                    continue
                for far in (*range(near - high, near - low + 1), *range(near + low, near + high + 1)):
                    there = self.net.get((which, far))
                    if not first <= far <= last or there not in (None, b):
                        continue
                    price = 3 * ((have is None) + (there is None)), abs(near - far)
                    if best is not None and price >= best[:2]:
                        continue
                    column = self._column(which, min(near, far), max(near, far), left, right)
                    if column is not None:
                        best = (*price, (which, near, far, column))
        if best is None:
            raise ValueError(f"no room for {part.ref}")
        which, near, far, column = best[2]
        self.net[which, near], self.net[which, far] = a, b
        self.taken |= {(which, row, column) for row in range(min(near, far), max(near, far) + 1)}
        return best[2]

    def _column(self, which: int, top: int, bottom: int, left: int, right: int) -> int | None:
        for column in range(left, right):  # the last column is left to wires
            if all((which, row, column) not in self.taken for row in range(top, bottom + 1)):
                return column
        return None


def _legs(board: Board, order: Iterable[Part]) -> None:
    fields = Field()
    for part in order:
        _which, near, far, column = fields.place(part)
        board.put(part.ref, part.pins[0].number, (near, column))
        board.put(part.ref, part.pins[1].number, (far, column))


def _join(board: Board) -> None:
    """Wires that make a single net of its strips (nearest first), and a hole for each lead."""
    for net, pins in nets().items():
        strips = list(dict.fromkeys(board.strip(board.at[pin]) for pin in pins if pin in board.at))
        beside = [pin for pin in pins if pin not in board.at]
        if not strips:
            continue
        joined, left = [strips[0]], strips[1:]
        while left:
            pairs = [(abs(a[0] - b[0]) + abs(a[1] - b[1]), a, b) for a in joined for b in left]
            for _far, a, b in sorted(pairs):
                begin, end = next(board.free(a), None), next(board.free(b), None)
                if begin and end:
                    break
            else:
                raise ValueError(f"no free hole for {net}")
            board.used |= {begin, end}
            board.wires.append((begin, end, net))
            joined.append(b)
            left.remove(b)
        for ref, number in beside:
            hole = next((h for strip in joined for h in board.free(strip)), None)
            if hole is None:
                raise ValueError(f"no free hole for the lead of {ref}")
            board.used.add(hole)
            board.leads.append((hole, f"{ref}.{number}", net))


@cache
def board() -> Board:
    """The layout with the fewest wires of those tried."""
    draw = random.Random(SEED)
    legged = [part for part in PARTS if part.box in SPAN]
    best: Board | None = None
    for _ in range(TRIES):
        found = Board()
        _chips(found)
        try:
            _legs(found, draw.sample(legged, len(legged)))
            _join(found)
        except ValueError:
            continue
        if best is None or len(found.wires) < len(best.wires):
            best = found
    if best is None:
        raise ValueError("the parts do not fit")
    return best


def connected(made: Board) -> dict[str, set[tuple[str, str]]]:
    """Net of the drawing -> pins that copper and wires join to its first pin: read from the layout alone."""
    parent: dict[tuple[int, int, int], tuple[int, int, int]] = {}

    def root(strip: tuple[int, int, int]) -> tuple[int, int, int]:
        while parent.get(strip, strip) != strip:
            strip = parent[strip]
        return strip

    for begin, end, _net in made.wires:
        parent[root(made.strip(begin))] = root(made.strip(end))
    groups: dict[tuple[int, int, int], set[tuple[str, str]]] = {}
    for pin, hole in made.at.items():
        groups.setdefault(root(made.strip(hole)), set()).add(pin)
    for hole, name, _net in made.leads:
        ref, number = name.split(".")
        groups.setdefault(root(made.strip(hole)), set()).add((ref, number))
    return {min(f"{ref}.{number}" for ref, number in pins): pins for pins in groups.values()}
