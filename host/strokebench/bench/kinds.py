"""The kinds of bench: their names, and how much finer a kind's current ranges are."""

from __future__ import annotations

from strokefw import channels

BOARDS = ("reference bench", "small bench", "simulated bench", "bare board", "beginner bench")
"""By the number that a board gives of itself (see :meth:`strokebench.link.board.Board.kind`)."""


def few_of(board: str) -> bool:
    """Return whether a kind of bench measures three signals only: current, bridge supply, sensor A.

    It is built with ordinary resistors of 1 %, and a regulator in place of a reference.
    """
    return board == BOARDS[channels.FEW]


def finer_of(board: str) -> int:
    """Return how much finer the current ranges are than the reference bench's; 1 for an unknown board."""
    return int(channels.FINER[BOARDS.index(board)]) if board in BOARDS else 1
