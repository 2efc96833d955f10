"""A calibration under way, kept in a file after every reading so that it can be taken up again."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from strokebench.calibrate.instrument import Instrument
from strokebench.calibrate.solve import Reading
from strokebench.data.output import write_whole
from strokebench.errors import BookError, UsageError

DEFAULT_STATE = "strokebench-calibration.json"


@dataclass
class State:
    """Who calibrates which bench against what, and the readings so far; ``path`` None keeps no file."""

    uid: str
    path: Path | None = None
    person: str = ""
    instruments: list[Instrument] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)

    def of(self, channel: str) -> list[Reading]:
        """Return the readings of one channel."""
        return [reading for reading in self.readings if reading.channel == channel]

    def add(self, reading: Reading) -> None:
        """Keep a reading."""
        self.readings.append(reading)
        self.save()

    def drop_last(self) -> Reading | None:
        """Forget the newest reading and return it."""
        last = self.readings.pop() if self.readings else None
        self.save()
        return last

    def forget(self, channel: str) -> None:
        """Forget the readings of one channel."""
        self.readings = [reading for reading in self.readings if reading.channel != channel]
        self.save()

    def save(self) -> None:
        """Write the file whole, then put it in place."""
        if self.path is None:
            return
        data = {
            "uid": self.uid,
            "person": self.person,
            "instruments": [instrument.model_dump() for instrument in self.instruments],
            "readings": [asdict(reading) for reading in self.readings],
        }
        write_whole(self.path, json.dumps(data, indent=1), folder=True, replace=True)

    def done(self) -> None:
        """Take the file away: everything is in the certificate now."""
        if self.path is not None:
            self.path.unlink(missing_ok=True)


def open_state(path: Path, uid: str, fresh: bool = False) -> State:
    """Return the state in ``path``, or a new one; refused when the file is another bench's."""
    if fresh or not path.exists():
        return State(uid, path)
    data = _read(path)
    if data["uid"] != uid:
        raise UsageError(
            f"{path} holds a calibration of another bench ({data['uid']}).",
            "Give another --state file, or --fresh to begin anew.",
        )
    return State(
        uid,
        path,
        data["person"],
        [Instrument.model_validate(instrument) for instrument in data["instruments"]],
        [Reading(**reading) for reading in data["readings"]],
    )


def _read(path: Path) -> dict[str, Any]:
    try:
        data: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        data["uid"], data["person"], data["instruments"], data["readings"]
    except (OSError, ValueError, KeyError, TypeError):
        raise BookError(
            f"{path} is not a calibration under way.", "Give another --state file, or --fresh."
        ) from None
    return data
