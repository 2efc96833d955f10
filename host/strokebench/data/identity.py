"""What a run's info says of the bench that made it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def identity_of(info: Mapping[str, Any]) -> dict[str, Any]:
    """Return the bench's identity; empty where the info has none, or something else in its place."""
    found = info.get("identity")
    return found if isinstance(found, dict) else {}
