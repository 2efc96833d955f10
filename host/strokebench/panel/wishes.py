"""What a page may ask for: every field typed and bounded, ports and parts from what there is to choose.

A page that lies, or a program that pretends to be one, gets a sentence or nothing; it never gets a file of
this computer opened.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

from strokebench.errors import UsageError
from strokebench.panel.choice import Choice, injectable
from strokebench.panel.procedure_run import Papers
from strokebench.parts import load_part, part_names

TEXT_MAX = 2000
NAME_MAX = 200
FAULTS_MAX = 16
SEED_MAX = 2**31 - 1
NETWORK_PORT = re.compile(r"(socket|rfc2217)://(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+):[0-9]{1,5}")
"""A bench behind the network: host and port, none of the options that such a URL may have."""
Message = dict[str, Any]


class Malformed(ValueError):
    """A message that no page of ours sends."""


def found_ports() -> list[str]:
    """Return the names of this computer's serial ports."""
    from strokebench.link.serial import find_ports

    return [port.name for port in find_ports()]


class Wishes:
    """Reads messages. ``named``: what the command line chose; its part and port may be asked for as well."""

    def __init__(self, named: Choice | None = None, ports: Callable[[], list[str]] = found_ports) -> None:
        self._named = named
        self._parts = [named.part] if named is not None else []
        self._ports = [named.port] if named is not None and named.port else []
        self._found_ports = ports

    def choice(self, message: Message) -> Choice:
        """Return the part and bench asked for.

        Raises :class:`UsageError` for a part or port that is not to choose from, :class:`Malformed` for a
        message with other types or sizes.
        """
        simulated = _flag(message, "simulated")
        part = self._part(_text(message, "part", NAME_MAX))
        port = _text(message, "port", NAME_MAX, "")
        return Choice(
            part=part,
            simulated=simulated,
            port="" if simulated else self._port(port),
            faults=_faults(message, part) if simulated else (),
            seed=_whole(message, "seed", SEED_MAX, 1),
            acknowledged=_flag(message, "acknowledged", False),
            troubles=self._named.troubles if self._named is not None and simulated else (),
        )

    def _part(self, name: str) -> str:
        if name not in part_names() and name not in self._parts:
            raise UsageError(
                f"The panel has no part {name!r} to choose.",
                "Start it with your own profile: strokebench panel --part FILE.toml.",
            )
        return name

    def _port(self, name: str) -> str:
        name = name.strip()
        if not name or name in self._ports or NETWORK_PORT.fullmatch(name) or name in self._found_ports():
            return name
        raise UsageError(
            f"There is no port {name!r} on this computer.",
            "Choose one from the list, or type socket://HOST:PORT or rfc2217://HOST:PORT.",
        )


def drive(message: Message) -> float:
    """Return the drive asked for, -1..1; raises :class:`Malformed`."""
    value = message.get("drive")
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise Malformed
    return min(max(float(value), -1.0), 1.0)


def answer(message: Message) -> bool:
    """Return what was answered to a question; raises :class:`Malformed`."""
    return _flag(message, "yes")


def papers(message: Message) -> Papers:
    """Return what was typed about a run; raises :class:`Malformed`."""
    return Papers(*(_text(message, name, TEXT_MAX, "") for name in ("customer", "serial", "note")))


def number(message: Message, name: str) -> int:
    """Return a whole number from 0 up that a page counts with; raises :class:`Malformed`."""
    return _whole(message, name, 2**53)


def _faults(message: Message, part: str) -> tuple[str, ...]:
    wished = message.get("faults", [])
    if not isinstance(wished, list) or len(wished) > FAULTS_MAX:
        raise Malformed
    texts = [text for text in wished if isinstance(text, str) and len(text) <= NAME_MAX]
    if len(texts) != len(wished):
        raise Malformed
    known = {name for name, _ in injectable(load_part(part).simulated)}
    for text in texts:
        if re.split(r"[=:@]", text, maxsplit=1)[0] not in known:
            raise UsageError(f"The simulation knows no defect {text!r}.", "Choose one from the list.")
    return tuple(texts)


def _text(message: Message, name: str, longest: int, otherwise: str | None = None) -> str:
    value = message.get(name, otherwise)
    if not isinstance(value, str):
        raise Malformed
    return value[:longest]


def _flag(message: Message, name: str, otherwise: bool | None = None) -> bool:
    value = message.get(name, otherwise)
    if not isinstance(value, bool):
        raise Malformed
    return value


def _whole(message: Message, name: str, largest: int, otherwise: int | None = None) -> int:
    value = message.get(name, otherwise)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= largest:
        raise Malformed
    return value
