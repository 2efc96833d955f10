"""Where Apache ECharts is: the files that the package NiceGUI brings along, served as they are.

Nothing else of that package is used; see docs/decisions/panel-pages.md.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

PACKAGE = "nicegui"
FOLDER = "elements/echart/dist"


def chart_files() -> Path:
    """Return the folder with ``index.js``; :class:`ModuleNotFoundError` names the package that lacks."""
    found = find_spec(PACKAGE)  # without running any of it
    folder = Path(found.origin).parent / FOLDER if found is not None and found.origin else None
    if folder is None or not (folder / "index.js").is_file():
        raise ModuleNotFoundError(f"no chart library in {PACKAGE}", name=PACKAGE)
    return folder
