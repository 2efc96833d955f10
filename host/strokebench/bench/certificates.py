"""Where the record of each calibration is kept on the host: a JSON file by bench and calibration identity.

The chip keeps the numbers, the day and a short note; what the uncertainty was made of is here.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

FOLDER = "strokebench-calibrations"
Certificate = dict[str, Any]


def folder() -> Path:
    """Return where certificates are kept: $STROKEBENCH_CALIBRATIONS, else a folder in the current one."""
    return Path(os.environ.get("STROKEBENCH_CALIBRATIONS") or FOLDER)


def file_for(uid: str, number: int, where: Path | None = None) -> Path:
    """Return the file of a bench's calibration ``number`` (its identity as told at the handshake)."""
    return (folder() if where is None else where) / f"{uid}-{number:08x}.json"


def find(uid: str, number: int, where: Path | None = None) -> Certificate | None:
    """Return a certificate, None when there is no readable one here."""
    if not number:
        return None
    try:
        data: Certificate = json.loads(file_for(uid, number, where).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    fits = isinstance(data, dict) and data.get("uid") == uid and data.get("number") == number
    return data if fits and isinstance(data.get("channels"), dict) else None
