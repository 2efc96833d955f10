"""What a bring-up has come to so far, in a file that is written after every step."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from strokebench.data.output import write_whole
from strokebench.errors import BookError, UsageError

OK, DIFFERS, LEFT_OUT = "ok", "differs", "left out"


@dataclass(frozen=True)
class Outcome:
    """One step's result: ``value`` None where there was none; bounds as they held; when (ISO date, time)."""

    status: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    when: str
    note: str = ""


@dataclass
class Record:
    """All steps so far by their id; ``path`` None keeps no file."""

    uid: str
    board: str
    path: Path | None = None
    steps: dict[str, Outcome] = field(default_factory=dict)

    def put(self, step_id: str, outcome: Outcome) -> None:
        """Keep a result."""
        self.steps[step_id] = outcome
        if self.path is not None:
            data = {
                "uid": self.uid,
                "board": self.board,
                "steps": {k: asdict(v) for k, v in self.steps.items()},
            }
            write_whole(self.path, json.dumps(data, indent=1, ensure_ascii=False), folder=True, replace=True)

    def passed(self, step_id: str) -> bool:
        """Tell whether a step was well already."""
        return step_id in self.steps and self.steps[step_id].status == OK


def default_path(uid: str) -> Path:
    """Return where a bench's bring-up is kept unless another place is named."""
    return Path(f"strokebench-bringup-{uid}.json")


def open_record(path: Path, uid: str, board: str, fresh: bool = False) -> Record:
    """Return the record in ``path`` or a new one; refused when the file is another bench's."""
    if fresh or not path.exists():
        return Record(uid, board, path)
    data = _read(path)
    if data["uid"] != uid:
        raise UsageError(
            f"{path} is the record of another bench ({data['uid']}).", "Give another --record, or --fresh."
        )
    return Record(uid, board, path, {name: Outcome(**fields) for name, fields in data["steps"].items()})


def _read(path: Path) -> dict[str, Any]:
    try:
        data: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        [Outcome(**fields) for fields in data["steps"].values()], data["uid"]
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise BookError(f"{path} is no record of a bring-up.", "Give another --record, or --fresh.") from None
    return data
