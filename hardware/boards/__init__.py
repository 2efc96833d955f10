"""Boards made from the netlists: placement, copper areas, routing, files to order.

`python -m hardware.boards` makes them anew. What is where, and why, is in `small` and `reference`.
"""

from __future__ import annotations

from collections.abc import Callable

from hardware.boards.layout import Layout


def _small() -> Layout:
    from hardware.boards.small import BOARD

    return BOARD


def _reference() -> Layout:
    from hardware.boards.reference import BOARD

    return BOARD


BOARDS: dict[str, Callable[[], Layout]] = {"small": _small, "reference": _reference}
