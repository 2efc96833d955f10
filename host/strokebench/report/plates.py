"""Figures on paper: which of them fill a sheet together, so that no sheet ends in a hole.

A figure cannot be broken, text can. So figures come first, in sheets that are full; what is left of them
comes before the text, which fills the rest of that sheet. On a screen there are no sheets.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from strokebench.report.pictures.drawing import HALF, WIDE

if TYPE_CHECKING:
    from strokebench.report.pictures.drawing import Picture

ROOM_PT = {"A4": (521.0, 765.0), "letter": (538.0, 715.0)}
"""Paper -> width and height within the margins that ``paper.css`` leaves."""
TITLE_PT, LINE_PT, GAP_PT, HEAD_PT = 15.0, 10.5, 12.0, 30.0
LETTER_PT = 3.9
"""Mean width of a letter below a figure."""
SURE = 0.97
"""Share of a sheet that is counted on: letters are not all of the same width."""
FULL = (0.88, 1.25)
"""Heights that a sheet is filled with, as shares of it; above 1 its figures are made smaller."""
MOST_ROWS = 6


@dataclass(frozen=True)
class Shape:
    """A picture with its height in print, pt."""

    picture: Picture
    ink_pt: float


@dataclass(frozen=True)
class Row:
    """One wide figure, or up to two of half the width; ``height_pt`` with titles and captions."""

    shapes: tuple[Shape, ...]
    height_pt: float


@dataclass
class Plate:
    """The figures of one sheet; ``full`` if they take all of it, else text follows below them.

    ``scale``: of the figures' heights; ``gap_pt``: more room below each row.
    """

    rows: list[Row] = field(default_factory=list)
    full: bool = False
    scale: float = 1.0
    gap_pt: float = 0.0


def plates(pictures: Sequence[Picture], paper: str) -> list[Plate]:
    """Return all figures in sheets, those that fill a sheet first."""
    width_pt, height_pt = ROOM_PT[paper]
    left = _rows(pictures, width_pt)
    made: list[Plate] = []
    while left:
        room_pt = SURE * height_pt - (HEAD_PT if not made else 0.0)
        chosen = _filling(left, room_pt)
        if chosen is None:
            return [*made, Plate(left)]
        made.append(_full([left[number] for number in chosen], room_pt))
        left = [row for number, row in enumerate(left) if number not in chosen]
    return made


def _full(rows: list[Row], room_pt: float) -> Plate:
    """Return a sheet that these rows fill: too high ones are made smaller, others are put further apart."""
    whole_pt = sum(row.height_pt for row in rows)
    if whole_pt <= room_pt:
        # half a share stays at the foot, where too many lines counted for a caption add to it
        return Plate(rows, full=True, gap_pt=round((room_pt - whole_pt) / max(1, len(rows) - 0.5), 1))
    ink_pt = sum(max(shape.ink_pt for shape in row.shapes) for row in rows)
    return Plate(rows, full=True, scale=round(1 - (whole_pt - room_pt) / ink_pt, 3))


def _rows(pictures: Sequence[Picture], width_pt: float) -> list[Row]:
    """Return the figures in rows, in their order; a half one waits for the next half one."""
    rows: list[Row] = []
    waiting: Picture | None = None
    for picture in pictures:
        if picture.wide:
            rows.append(_row(width_pt, picture))
        elif waiting is None:
            waiting = picture
        else:
            rows.append(_row(width_pt, waiting, picture))
            waiting = None
    return rows if waiting is None else [*rows, _row(width_pt, waiting)]


def _row(width_pt: float, *pictures: Picture) -> Row:
    own_pt = width_pt if pictures[0].wide else 0.5 * width_pt - 8
    shapes = tuple(Shape(each, round(each.height * own_pt / _drawn_pt(each), 1)) for each in pictures)
    lines = max(-(-len(each.caption) * LETTER_PT // own_pt) for each in pictures)
    return Row(shapes, TITLE_PT + max(each.ink_pt for each in shapes) + lines * LINE_PT + GAP_PT)


def _drawn_pt(picture: Picture) -> float:
    return 72 * (WIDE if picture.wide else HALF)


def _filling(rows: Sequence[Row], room_pt: float) -> tuple[int, ...] | None:
    """Return which rows fill a sheet best, the first among them; None when none do."""
    best: tuple[float, tuple[int, ...]] | None = None
    for many in range(min(MOST_ROWS, len(rows))):
        for more in itertools.combinations(range(1, len(rows)), many):
            chosen = (0, *more)
            share = sum(rows[number].height_pt for number in chosen) / room_pt
            if FULL[0] <= share <= FULL[1] and (best is None or abs(1 - share) < best[0]):
                best = abs(1 - share), chosen
    return None if best is None else best[1]
