"""Programs that only the project runs, from the folder ``host``: ``python -m tools.evidence.accuracy``."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
"""The repository."""
DOCS = ROOT / "docs"
"""Where pages go that a tool writes."""
