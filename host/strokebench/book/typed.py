"""Values from a job book, each of the kind and size it must have: a book may come from a stranger."""

from __future__ import annotations

import gc
import json
import math
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from strokebench.data.nesting import shallow
from strokebench.errors import BookError

MOST_TEXT = 1_000_000
MOST_JSON = 4_000_000
MOST_WHOLE = 2**53
MOST_NUMBER = 1e300
MOST_DEPTH = 60


def to_json(value: Any) -> str:
    """Return ``value`` as JSON; arrays become lists, what JSON does not know becomes its text."""
    return json.dumps(value, default=_plain, ensure_ascii=False)


def _plain(value: Any) -> Any:
    return value.tolist() if hasattr(value, "tolist") else str(value)


def damaged(what: str) -> BookError:
    """Return the error that says ``what`` in the book cannot be used."""
    return BookError(
        f"The job book is damaged: {what} cannot be read.",
        "`strokebench book check` lists what is wrong; `strokebench book recover` saves the rest.",
    )


def rows(connection: sqlite3.Connection, query: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
    """Return all rows of a question; texts are decoded by SQLite itself unless one of them is damaged.

    The connection's own way costs a call for every text, most of the time of a list of 100 000 runs.
    """
    lenient, connection.text_factory = connection.text_factory, str
    try:
        return connection.execute(query, values).fetchall()
    except sqlite3.OperationalError as error:
        if "decode" not in str(error).lower():
            raise
    finally:
        connection.text_factory = lenient
    return connection.execute(query, values).fetchall()


@contextmanager
def no_collection() -> Iterator[None]:
    """Hold Python's collector of circles: it would look through a long list again and again as it grows."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def as_written(column: Sequence[Any], kinds: frozenset[type]) -> bool:
    """Tell whether all values of a column are of these kinds and of reasonable size.

    It takes a few milliseconds for 100 000 values; looking at each in Python takes a second.
    """
    if not kinds.issuperset(map(type, column)):
        return False
    if str in kinds:
        return max(map(len, filter(None, column)), default=0) <= MOST_TEXT
    most = MOST_WHOLE if int in kinds else MOST_NUMBER
    return (
        all(map(math.isfinite, filter(None, column)))
        and max(map(abs, filter(None, column)), default=0) <= most
    )


WHOLE, TEXT, NUMBER = frozenset([int]), frozenset([str]), frozenset([float])
NOTHING = frozenset([type(None)])


def text(value: Any, what: str) -> str:
    """Return a text of reasonable length."""
    if not isinstance(value, str) or len(value) > MOST_TEXT:
        raise damaged(what)
    return value


def whole(value: Any, what: str) -> int:
    """Return a whole number that a float can hold exactly."""
    if not isinstance(value, int) or abs(value) > MOST_WHOLE:
        raise damaged(what)
    return value


def number(value: Any, what: str) -> float:
    """Return a finite number."""
    if not isinstance(value, (int, float)) or not math.isfinite(value) or abs(value) > MOST_NUMBER:
        raise damaged(what)
    return float(value)


def number_or_none(value: Any, what: str) -> float | None:
    """Return a finite number, None where there is none."""
    return None if value is None else number(value, what)


def table(value: Any, what: str) -> dict[str, Any]:
    """Return a JSON object that is neither huge nor nested without end."""
    if not isinstance(value, str) or len(value) > MOST_JSON or not shallow(value, MOST_DEPTH):
        raise damaged(what)
    try:
        found = json.loads(value)
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise damaged(what)
    return found
