"""Commands by header: short and long forms, optional nodes, the suffix 1 (SCPI-1999, volume 1, chapter 6)."""

from __future__ import annotations

import itertools
import re
from collections.abc import Awaitable, Callable, Iterable
from dataclasses import dataclass
from typing import Any

from strokebench.scpi.errors import ScpiError
from strokebench.scpi.syntax import Parameter, Unit

Handler = Callable[..., Awaitable["str | bytes | None"]]
Converter = Callable[[Parameter], Any]
_NODE = re.compile(r"(\[:?)?:?([A-Za-z*]+)(\])?")


@dataclass(frozen=True)
class Command:
    """One header. ``handler`` gets the client and the converted parameters; a query's returns its answer.

    ``takes``: how each parameter is read; ``may_take``: the same for those that may be left out.
    ``about``: one sentence for the reference.  ``free``: allowed before the token of a guarded server came.
    """

    pattern: str
    query: bool
    handler: Handler
    about: str
    takes: tuple[Converter, ...] = ()
    may_take: tuple[Converter, ...] = ()
    free: bool = False


class Tree:
    """Finds the command of a unit."""

    def __init__(self, commands: Iterable[Command]) -> None:
        self.commands = tuple(commands)
        self._by_path: dict[tuple[tuple[str, ...], bool], Command] = {}
        self._paths: set[tuple[str, ...]] = set()
        for command in self.commands:
            for path in spellings(command.pattern):
                if (path, command.query) in self._by_path:
                    raise ValueError(f"two commands are called {':'.join(path)}")
                self._by_path[path, command.query] = command
                self._paths.add(path)

    def find(self, unit: Unit) -> Command:
        """Return the command of ``unit``; raises :class:`ScpiError` -113 or -114."""
        path = tuple(each[:-1] if each.endswith("1") else each for each in unit.path)
        command = self._by_path.get((path, unit.query))
        if command is None:
            header = ":".join(unit.path) + "?" * unit.query
            bare = tuple(each.rstrip("0123456789") for each in unit.path)
            raise ScpiError(-114 if bare != path and bare in self._paths else -113, header)
        return command


def arguments(command: Command, unit: Unit) -> list[Any]:
    """Return the unit's parameters as the command's handler takes them; raises :class:`ScpiError`."""
    given, takes = unit.parameters, command.takes + command.may_take
    if len(given) > len(takes):
        raise ScpiError(-108, given[len(takes)].text)
    if len(given) < len(command.takes):
        raise ScpiError(-109)
    return [convert(each) for convert, each in zip(takes, given, strict=False)]


def short(mnemonic: str) -> str:
    """Return the short form: the capitals of a mnemonic as the standard writes it."""
    return "".join(sign for sign in mnemonic if not sign.islower())


def spellings(pattern: str) -> set[tuple[str, ...]]:
    """Return every path that stands for ``pattern``, such as ``OUTPut[:STATe]``, in upper case."""
    nodes: list[tuple[tuple[str, ...], ...]] = []
    for opening, mnemonic, _closing in _NODE.findall(pattern):
        forms = tuple({(mnemonic.upper(),), (short(mnemonic),)})
        nodes.append((*forms, ()) if opening else forms)
    return {tuple(itertools.chain(*path)) for path in itertools.product(*nodes)}
