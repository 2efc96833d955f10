"""Whose report it is: ``workshop.toml`` with name, address, logo, technician, paper and time zone."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime, timezone, tzinfo
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from strokebench.data.photo import Photo, prepared
from strokebench.errors import BookError, ProfileError
from strokebench.parts.limits import STRICT
from strokebench.parts.toml import parse, read_text, validate

VARIABLE = "STROKEBENCH_WORKSHOP"
FILE = "workshop.toml"
LOGO_PIXELS = 600
Line = Annotated[str, Field(max_length=80)]


class WorkshopFile(BaseModel):
    """What ``workshop.toml`` may say; all of it may be left out."""

    model_config = STRICT

    name: Line = ""
    address: Annotated[list[Line], Field(max_length=5)] = []
    logo: str = ""
    """JPEG or PNG file, from the folder of the file on."""
    technician: Line = ""
    paper: Literal["A4", "letter"] = "A4"
    time_zone: str = ""
    """Name in the IANA database, such as Europe/Berlin; empty: the computer's."""


@dataclass(frozen=True)
class Workshop:
    """A workshop as a report needs it; ``zone`` None is the computer's."""

    name: str = ""
    address: tuple[str, ...] = ()
    logo: Photo | None = None
    technician: str = ""
    paper: str = "A4"
    zone: tzinfo | None = None

    def moment(self, value: Any, *, seconds: bool = False) -> str:
        """Return a time (ISO 8601, or seconds since 1970) as date, time and offset in the workshop's zone.

        Text that is no time, or has no zone, comes back as it is.
        """
        form = "%Y-%m-%d %H:%M:%S %z" if seconds else "%Y-%m-%d %H:%M"
        if isinstance(value, (int, float)):
            return datetime.fromtimestamp(value, timezone.utc).astimezone(self.zone).strftime(form)
        text = str(value or "")
        try:
            found = datetime.fromisoformat(text)
        except ValueError:
            return text
        here = found if found.tzinfo is None else found.astimezone(self.zone)
        return here.strftime(form).strip()


def workshop_for(source: str | Path) -> Workshop:
    """Return the workshop of ``source``: that in $STROKEBENCH_WORKSHOP, else in workshop.toml beside it.

    Without either an empty one. Raises ProfileError and BookError as :func:`load_workshop`.
    """
    named = os.environ.get(VARIABLE)
    path = Path(named) if named else Path(source).with_name(FILE)
    if not named and not path.exists():
        return Workshop()
    return load_workshop(path)


def load_workshop(path: Path) -> Workshop:
    """Return the workshop in a file; ProfileError when it is malformed, BookError when it cannot be read."""
    if not path.exists():
        raise BookError(f"There is no file {path}.", f"Correct ${VARIABLE}, or unset it.")
    text = read_text(path)
    found = validate(WorkshopFile, parse(text, path.name), text, path.name)
    return Workshop(
        found.name,
        tuple(found.address),
        _logo(path, found.logo),
        found.technician,
        found.paper,
        _zone(found.time_zone, path.name),
    )


def _logo(path: Path, name: str) -> Photo | None:
    if not name:
        return None
    file = path.parent / name
    try:
        data = file.read_bytes()
    except OSError as error:
        raise BookError(f"The logo {file} cannot be read: {error.strerror}.", f"See {path}.") from None
    return prepared(data, str(file), LOGO_PIXELS)


def _zone(name: str, file: str) -> tzinfo | None:
    from zoneinfo import ZoneInfo

    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise ProfileError(
            f"{file}: time_zone = {name!r} is not known here.",
            "Name one like Europe/Berlin, or leave it out.",
        ) from None
