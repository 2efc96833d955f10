"""The text of a foreign file: its encoding, its first lines, and all the rest in pieces of whole lines."""

from __future__ import annotations

import codecs
import itertools
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TextIO

from strokebench.errors import BookError, DataError

LOOKED_AT = 65_536
"""Bytes by which the encoding is recognised."""
LINES = 200
"""Lines in which names and the pattern of the rows are looked for."""
PIECE = 2_000_000
"""Characters that are worked on at once: memory is bounded by it, whatever the file's size."""
MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
ZEROS = 0.3
"""Share of zero bytes at every other place from which a text is UTF-16 without a mark."""

Progress = Callable[[int, int], None]
"""Is called with the bytes read so far and the bytes of the file."""


def encoding_of(path: Path) -> str:
    """Return the encoding of a text file; DataError for what is none, BookError when it cannot be read."""
    try:
        with path.open("rb") as file:
            start = file.read(LOOKED_AT)
    except OSError as error:
        raise unreadable(path, error) from None
    for mark, encoding in MARKS:
        if start.startswith(mark):
            return encoding
    for place, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        every_other = start[place::2]
        if every_other and every_other.count(0) > ZEROS * len(every_other):
            return encoding
    if 0 in start:
        raise DataError(f"{path.name} is not a text file.", "Export it as CSV.")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(start)  # a character may be cut at the end
    except UnicodeDecodeError:
        return "cp1252"  # Latin-1, with what Windows puts between its letters
    return "utf-8"


def opened(path: Path, encoding: str) -> TextIO:
    """Return the file, opened as text; what its encoding does not know becomes a question mark."""
    try:
        return path.open(encoding=encoding, errors="replace", newline=None)
    except OSError as error:
        raise unreadable(path, error) from None


def unreadable(path: Path, error: OSError) -> BookError:
    """Return the error for a file that cannot be read."""
    return BookError(f"{path} cannot be read: {error.strerror}.", "Check name and permissions.")


def first_lines(path: Path, encoding: str) -> str:
    """Return the file's first lines."""
    with opened(path, encoding) as file:
        return "".join(itertools.islice(iter(lambda: file.readline(LOOKED_AT), ""), LINES))


def pieces(path: Path, encoding: str, skip: int, progress: Progress | None = None) -> Iterator[str]:
    """Yield the text below the first ``skip`` lines in pieces of whole lines."""
    size = path.stat().st_size
    with opened(path, encoding) as file:
        for _ in range(skip):
            file.readline()
        while piece := file.read(PIECE):
            if not piece.endswith("\n"):
                piece += file.readline()
            if progress is not None:
                progress(file.buffer.tell(), size)
            yield piece
