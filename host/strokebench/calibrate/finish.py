"""From readings to the chip and the certificate."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.bench import certificates
from strokebench.calibrate import certificate, record
from strokebench.calibrate.instrument import instrument_for
from strokebench.calibrate.points import checked
from strokebench.calibrate.quantities import Quantity
from strokebench.calibrate.solve import Correction, solve
from strokebench.calibrate.unfinished import State
from strokebench.data.output import write_whole
from strokebench.errors import DataError, LinkError

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench


def corrections(state: State, known: dict[str, Quantity], channels: list[str]) -> list[Correction]:
    """Return the corrections of ``channels`` that were read; :class:`DataError` for the first nonsense."""
    found = []
    for name in channels:
        readings = state.of(name)
        if not readings:
            continue
        instrument = instrument_for(name, state.instruments)
        if instrument is None:
            raise DataError(
                f"No reference instrument is given for {name}.",
                "Name it with --reference FILE.toml ([[instrument]]: name, percent, absolute, resolution).",
            )
        found.append(solve(known[name], readings, instrument))
    if not found:
        raise DataError("There are no readings to calibrate with.", "Take some, or give --readings FILE.")
    return found


def make(
    bench: Bench, found: list[Correction], person: str, day: datetime.date, where: Path | None = None
) -> dict[str, Any]:
    """Return the certificate of a calibration that is not stored yet (``record`` holds the chip's part)."""
    if not person.strip():
        raise DataError("A calibration needs the name of whoever makes it.", "Give --person NAME.")
    mine, old = bench.identity, bench.calibration
    names = list(dict.fromkeys(correction.instrument.name for correction in found))
    data = record.build(found, old, day, person, names)
    number = record.identity(data)
    channels = {
        correction.quantity.name: certificate.channel_entry(correction, old, number, day.isoformat(), person)
        for correction in found
    }
    before = certificates.find(mine.uid, mine.calibration_id, where)
    return {
        "format": 1,
        "number": number,
        "uid": mine.uid,
        "board": mine.board,
        "firmware": mine.firmware,
        "simulated": bench.engine != "serial" or mine.board == "simulated bench",
        "date": day.isoformat(),
        "person": person,
        "record": data.hex(),
        "channels": {**(before["channels"] if before else {}), **channels},
    }


def store(bench: Bench, made: dict[str, Any], where: Path | None = None) -> Path:
    """Put a calibration on the chip, see that it is there, keep the certificate; return its JSON file.

    The file is written first: a chip with numbers that nobody can look up is worse than a file too many.
    """
    path = certificates.file_for(made["uid"], made["number"], where)
    write_whole(path, json.dumps(made, indent=1, ensure_ascii=False), folder=True, replace=True)
    checked(bench)  # it takes no calibration meanwhile
    bench.store_calibration(bytes.fromhex(made["record"]))
    if bench.identity.calibration_id != made["number"]:
        raise LinkError(
            f"The bench took the calibration but reports another one ({bench.identity.calibration_id:08x}).",
            "Store it again; if it repeats, its flash is worn or the firmware differs.",
        )
    return path
