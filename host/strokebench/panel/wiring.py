"""What the page of the wiring shows: how far the check or the pin finder is, and what it asks."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Wiring:
    """``question``: what a person is to answer: move, polarity, clips, connect, or nothing.

    ``asks`` is that question in words; ``red`` and ``black``: where the clips go; ``measured``: a line for
    each touch so far. ``as_drawn`` is None while it is not known.
    """

    headline: str = ""
    as_drawn: bool | None = None
    sentences: tuple[str, ...] = ()
    to_do: str = ""
    question: str = ""
    asks: str = ""
    red: str = ""
    black: str = ""
    measured: tuple[str, ...] = ()


NOTHING = Wiring()
