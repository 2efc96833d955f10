"""How deep brackets are nested in a text, before a reader that calls itself for each is let at it."""

from __future__ import annotations


def shallow(text: str, most: int) -> bool:
    """Tell whether brackets ([ and {) are nested at most ``most`` deep; those inside strings count too."""
    depth = 0
    for character in text:
        if character in "[{":
            depth += 1
            if depth > most:
                return False
        elif character in "]}":
            depth = max(0, depth - 1)
    return True
