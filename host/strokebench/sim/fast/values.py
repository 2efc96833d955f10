"""What an expression is while code is flattened: an object known beforehand, or code that gives a number."""

from __future__ import annotations

import types
from dataclasses import dataclass
from math import inf
from typing import Any


class NotFlat(Exception):
    """Something that cannot be flattened; the text says what and where."""


@dataclass(frozen=True)
class Code:
    """Code that gives a number, or a tuple of numbers; ``value`` where it is a constant."""

    text: str
    value: Any = None


@dataclass(frozen=True, eq=False)
class Known:
    """An object that is settled before the code runs: part of the structure, not of the state."""

    thing: Any


@dataclass(frozen=True)
class Row:
    """A row of a table: ``text`` gives its first place in the memory called ``memory``."""

    memory: str
    text: str
    width: int


@dataclass(frozen=True)
class Pick:
    """One of several known objects; ``text`` gives its index."""

    things: tuple[Any, ...]
    text: str


@dataclass(frozen=True)
class Growing:
    """A list of floats: ``base`` is its first place among the floats, ``length`` that of its length."""

    base: int
    length: int


Value = Code | Known | Row | Pick | Growing


def is_number(thing: Any) -> bool:
    """Return whether ``thing`` is a plain number: state, if it is an attribute of an object."""
    return isinstance(thing, (bool, int, float))


def literal(number: Any) -> Code:
    """Return the code of a constant."""
    if number in (inf, -inf):
        return Code("inf" if number > 0 else "(-inf)", number)
    return Code(f"({number!r})" if number < 0 else repr(number), number)


def rows_of(table: Any) -> tuple[str, int] | None:
    """Return the memory and the width of a table: "i" or "f", 0 for a plain row; None if it is no table."""
    if isinstance(table, (bytes, bytearray, memoryview)) or type(table).__name__ == "array":
        return "i", 0
    if not isinstance(table, (list, tuple)) or not table:
        return None
    first = table[0]
    if is_number(first):
        return ("f" if any(isinstance(each, float) for each in table) else "i"), 0
    if isinstance(first, (list, tuple)) and first and all(is_number(each) for each in first):
        return "f", len(first)
    return None


def is_function(thing: Any) -> bool:
    """Return whether there is source behind a callable."""
    return isinstance(thing, (types.FunctionType, types.MethodType))


def key_of(value: Value) -> Any:
    """Return what tells two bindings of a parameter apart; numbers differ at run time only."""
    if isinstance(value, Code):
        return "code"
    if isinstance(value, Known):
        thing = value.thing
        if isinstance(thing, types.MethodType):
            return "method", id(thing.__self__), thing.__func__
        return "known", id(thing)
    if isinstance(value, Row):
        return "row", value.memory, value.width
    if isinstance(value, Pick):
        return "pick", tuple(map(id, value.things))
    return value
