"""Moving a part by hand from a terminal: what the keys mean, and the hold that stops by itself.

A terminal tells of keys pressed, never of keys released, and over a slow line their repeats come in lumps.
So a key press moves the part for a fixed time (``HOLD_S``); pressing it again, or its automatic repeat, goes
on. Nothing pressed: the part stops by itself. The bench has a dead-man of its own beneath that: without a
word from here for 0.5 s it stops.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

HOLD_S = 0.7
"""Longer than a keyboard's usual delay before it repeats (common practice 0.25 to 0.66 s)."""
STEP = 0.05
ESCAPE, INTERRUPT = "\x1b", "\x03"
KEYS = {
    "\x1b[C": "open", "\x1b[D": "close", "\x1b[A": "more", "\x1b[B": "less",
    "\x1bOC": "open", "\x1bOD": "close", "\x1bOA": "more", "\x1bOB": "less",
    "l": "open", "h": "close", "k": "more", "j": "less", "+": "more", "-": "less",
    " ": "stop", "q": "leave", ESCAPE: "leave", INTERRUPT: "leave",
}  # fmt: skip
"""What the terminal sends for a key -> what it means (ECMA-48 cursor keys, normal and application mode)."""


def meanings(text: str) -> Iterator[str]:
    """Yield what the keys in ``text`` mean; unknown keys and sequences stop, to be safe."""
    while text:
        length = 3 if text[:2] in ("\x1b[", "\x1bO") and len(text) > 2 else 1
        yield KEYS.get(text[:length].lower() if length == 1 else text[:length], "stop")
        text = text[length:]


@dataclass
class Hand:
    """Strength and direction that the keys ask for; times in seconds of the caller's clock."""

    drive_min: float
    drive_max: float
    strength: float = 0.2
    hold_s: float = HOLD_S
    direction: int = 0
    until_s: float = 0.0
    left: bool = False

    def press(self, meaning: str, now_s: float) -> None:
        """Take one key."""
        if meaning in ("more", "less"):
            change = STEP if meaning == "more" else -STEP
            most = max(self.drive_max, -self.drive_min)
            self.strength = min(max(round(self.strength + change, 4), STEP), most)
            return
        self.direction = {"open": 1, "close": -1}.get(meaning, 0)
        self.until_s = now_s + self.hold_s
        self.left = self.left or meaning == "leave"

    def drive(self, now_s: float) -> float:
        """Return the drive asked for now, within the limits; 0 once the hold has run out."""
        if now_s >= self.until_s:
            self.direction = 0
        return min(max(self.direction * self.strength, self.drive_min), self.drive_max)


def bar(drive: float, width: int) -> str:
    """Return ``drive`` (-1..1) as a bar of ``width`` characters, zero in the middle."""
    half = (width - 1) // 2
    filled = min(half, round(abs(drive) * half))
    left = ("#" * filled if drive < 0 else "").rjust(half, ".")
    return f"{left}|{('#' * filled if drive > 0 else '').ljust(half, '.')}"
