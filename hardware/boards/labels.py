"""Where the reference of each part is printed: beside its courtyard, where nothing else is, or nowhere."""

from __future__ import annotations

from collections.abc import Iterator

from hardware.boards.layout import Box, Layout
from hardware.boards.shapes import Placed, apart

HEIGHT = 0.8
WIDTH = 0.78
"""Of a letter, mm, its gap included."""
AWAY = 0.25

Spot = tuple[float, float, int]
"""Middle of the text in mm, and its angle in degrees."""


def spots(layout: Layout, placed: dict[str, Placed]) -> dict[str, Spot]:
    """Reference -> spot, for those that have room."""
    taken = [part.yard for part in placed.values()]
    taken += [(x - 3.4, y - 3.4, x + 3.4, y + 3.4) for x, y in layout.holes]
    board = (0.6, 0.6, layout.width - 0.6, layout.height - 0.6)
    found: dict[str, Spot] = {}
    for ref in sorted(placed):
        for spot, box in _candidates(placed[ref].yard, len(ref)):
            if _within(box, board) and all(apart(box, other, 0.05) for other in taken):
                found[ref] = spot
                taken.append(box)
                break
    return found


def _candidates(yard: Box, letters: int) -> Iterator[tuple[Spot, Box]]:
    long, high = letters * WIDTH / 2, HEIGHT / 2 + 0.1
    x0, y0, x1, y1 = yard
    for share in (0.5, 0.25, 0.75, 0.0, 1.0):
        x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
        for cx, cy, angle in (
            (x, y0 - AWAY - high, 0), (x, y1 + AWAY + high, 0),
            (x0 - AWAY - long, y, 0), (x1 + AWAY + long, y, 0),
            (x0 - AWAY - high, y, 90), (x1 + AWAY + high, y, 90),
        ):  # fmt: skip
            w, h = (long, high) if angle == 0 else (high, long)
            yield (round(cx, 3), round(cy, 3), angle), (cx - w, cy - h, cx + w, cy + h)


def _within(box: Box, board: Box) -> bool:
    return box[0] >= board[0] and box[1] >= board[1] and box[2] <= board[2] and box[3] <= board[3]
