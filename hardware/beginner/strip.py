"""Where each part is on the stripboard, where strips are cut, which wires join them.

Rows are strips, columns holes, both counted from 0; the copper is below. places.txt has the parts' places.
Cuts and wires follow from them: a strip is cut between neighbouring pins of different nets, and the pieces
that a net then has are joined by short wires.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from pathlib import Path

from hardware.beginner.parts import PARTS, Part, nets

ROWS, COLUMNS = 26, 38
Hole = tuple[int, int]
"""Row and column."""
PICO_WIDE, CHIP_WIDE = 7, 3
"""Columns from the left to the right row of pins."""
STEPS = {"to92": 1, "sip7": 1, "j3": 2}
"""Rows from pin to pin of what stands in a line."""
LEGS = {"axial4": (2, 8), "axial2": (1, 4)}
"""Rows between the two legs, least and most: a resistor lies or stands, a capacitor's legs are bent."""


@dataclass(frozen=True)
class Place:
    """First row and left column of a part; ``turned``: by half a turn; ``span``: rows between two legs."""

    row: int
    column: int
    turned: bool
    span: int


@cache
def places() -> dict[str, Place]:
    """What places.txt says, by reference."""
    table = Path(__file__).with_name("places.txt").read_text(encoding="utf-8")
    found = {}
    for line in table.splitlines():
        if line and not line.startswith("#"):
            ref, row, column, turned, span = line.split()
            found[ref] = Place(int(row), int(column), turned == "turned", int(span))
    return found


@dataclass
class Board:
    """``at``: hole of each pin; ``cuts``; ``wires`` from hole to hole; ``leads``: to what is beside."""

    at: dict[tuple[str, str], Hole] = field(default_factory=dict)
    cuts: set[Hole] = field(default_factory=set)
    wires: list[tuple[Hole, Hole, str]] = field(default_factory=list)
    leads: list[tuple[Hole, str, str]] = field(default_factory=list)
    used: set[Hole] = field(default_factory=set)
    covered: set[Hole] = field(default_factory=set)
    """Holes under a body."""

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
        """Holes of a piece of strip in which nothing is and which no body covers."""
        row, first, last = strip
        taken = self.used | self.covered
        return ((row, c) for c in range(first, last + 1) if (row, c) not in taken)

    def put(self, ref: str, number: str, hole: Hole) -> None:
        """A pin into a hole."""
        row, column = hole
        assert hole not in self.used and 0 <= row < ROWS and 0 <= column < COLUMNS, (ref, number, hole)
        self.at[ref, number] = hole
        self.used.add(hole)


def pins_of(part: Part) -> int:
    """How many pins a body has, those that are not connected among them."""
    if part.box == "pico":
        return 40
    return int(part.box[3:]) if part.box.startswith("dip") else len(part.pins)


def _stand(board: Board, part: Part) -> None:
    """Put a part's pins into their holes, and cover what is under its body."""
    place, count = places()[part.ref], pins_of(part)
    row, column = place.row, place.column
    if part.box == "pico" or part.box.startswith("dip"):
        wide, half = PICO_WIDE if part.box == "pico" else CHIP_WIDE, count // 2
        for number in range(1, count + 1):
            low = number <= half
            down = number - 1 if low else count - number
            right = low if place.turned else not low
            at = row + (half - 1 - down if place.turned else down)
            board.put(part.ref, str(number), (at, column + (wide if right else 0)))
        board.covered |= {(row + i, column + k) for i in range(half) for k in range(wide + 1)}
        return
    if part.box in LEGS:
        least, most = LEGS[part.box]
        assert least <= place.span <= most, part.ref
    step = place.span if part.box in LEGS else STEPS[part.box]
    for i, pin in enumerate(reversed(part.pins) if place.turned else part.pins):
        board.put(part.ref, pin.number, (row + i * step, column))
    board.covered |= {(row + i, column) for i in range((count - 1) * step + 1)}


def _cut(board: Board) -> None:
    """Cut every strip between neighbouring pins of different nets; under a body, if there is a choice."""
    net = {pin: name for name, members in nets().items() for pin in members}
    rows: dict[int, list[tuple[int, tuple[str, str]]]] = {}
    for pin, (row, column) in board.at.items():
        rows.setdefault(row, []).append((column, pin))
    for row, found in rows.items():
        for (left, a), (right, b) in pairwise(sorted(found)):
            if net.get(a, a) == net.get(b, b):
                continue
            between = [(row, column) for column in range(left + 1, right)]
            hidden = [hole for hole in between if hole in board.covered] or between
            board.cuts.add(hidden[len(hidden) // 2])
    board.used |= board.cuts


Piece = tuple[int, int, int]


def _nearest(board: Board, some: list[Piece], others: list[Piece]) -> tuple[Hole, Hole, Piece]:
    """The two free holes that are nearest to each other, and the piece that the second is on.

    A piece with a single free hole comes last: nothing can be joined to it any more.
    """
    ways = (
        (last, abs(a[0] - b[0]) + abs(a[1] - b[1]), abs(a[1] - b[1]), a, b, other)
        for other in others
        for last in [len(list(board.free(other))) == 1]
        for b in board.free(other)
        for piece in some
        for a in board.free(piece)
    )
    *_, a, b, other = min(ways)
    return a, b, other


def _join(board: Board) -> None:
    """Wires that make a single net of its pieces, nearest first; a hole for the lead to what is beside."""
    beside: dict[str, list[str]] = {}
    for net, pins in nets().items():
        pieces = list(dict.fromkeys(board.strip(board.at[pin]) for pin in pins if pin in board.at))
        outside = [f"{ref}.{number}" for ref, number in pins if (ref, number) not in board.at]
        if not pieces:
            continue
        pieces.sort(key=lambda piece: -len(list(board.free(piece))))
        joined, left = pieces[:1], pieces[1:]
        while left:
            begin, end, piece = _nearest(board, joined, left)
            board.used |= {begin, end}
            board.wires.append((begin, end, net))
            joined.append(piece)
            left.remove(piece)
        if outside:
            beside[net] = outside
    for net, outside in beside.items():
        pieces = {
            board.strip(hole) for (ref, number), hole in board.at.items() if (ref, number) in nets()[net]
        }
        free = [hole for piece in pieces for hole in board.free(piece)]
        hole = min(free, key=lambda hole: min(hole[1], COLUMNS - 1 - hole[1]))
        board.used.add(hole)
        board.leads.append((hole, " ".join(outside), net))


@cache
def board() -> Board:
    """The layout."""
    made = Board()
    for part in PARTS:
        if part.box:
            _stand(made, part)
    _cut(made)
    _join(made)
    return made


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
    for hole, names, _net in made.leads:
        for name in names.split():
            ref, number = name.split(".")
            groups.setdefault(root(made.strip(hole)), set()).add((ref, number))
    return {" ".join("".join(pin) for pin in sorted(group)[:1]): group for group in groups.values()}
