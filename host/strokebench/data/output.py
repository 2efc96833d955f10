"""The one way in which a file is written for a person: whole or not at all, and over nothing of theirs.

A file that exists is refused unless told to replace it, or unless it carries the mark of the same output.
A job book is never replaced. What is written goes into a new file of its own beside the target, made so that
no file or link planted there can take it, and is then put into place.
"""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path

from strokebench.errors import BookError

MARK_WITHIN = 4096
"""Bytes at the start of a file in which its mark must be."""
BOOK_MARK = b"SQLite format 3\0"


def is_book(path: str | Path) -> bool:
    """Tell whether a file starts like a SQLite database; False when it cannot be read."""
    return _start(Path(path), len(BOOK_MARK)) == BOOK_MARK


def check_output(path: str | Path, *, replace: bool = False, mark: str = "") -> None:
    """Raise :class:`BookError` when ``path`` may not be written: see this module.

    ``mark``: text near the start of a file by which an earlier output of the same thing is known.
    """
    path = Path(path)
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    except OSError as error:
        raise _unwritable(path, error) from None
    if is_book(path):
        raise BookError(f"{path} is a job book, which is never written over.", "Choose another name.")
    if stat.S_ISLNK(mode):
        if not replace:
            raise BookError(
                f"{path} is a link to another file.",
                "Choose another name, or put a file in its place: --force.",
            )
    elif not stat.S_ISREG(mode):
        raise BookError(f"{path} is not a file.", "Choose another name.")
    elif not replace and not (mark and mark.encode() in _start(path, MARK_WITHIN)):
        raise BookError(f"{path} is there already.", "Choose another name, or replace it with --force.")


def free_path(path: Path, mark: str = "") -> Path:
    """Return ``path``, or the first like it (``name-2``, ``name-3`` ...) that may be written."""
    for number in range(1, 10_000):
        tried = path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")
        with contextlib.suppress(BookError):
            check_output(tried, mark=mark)
            return tried
    raise BookError(f"There is no free name like {path}.", "Name the file, or tidy up the folder.")


@contextlib.contextmanager
def output_file(
    path: str | Path, *, replace: bool = False, mark: str = "", folder: bool = False
) -> Iterator[Path]:
    """Give the name of a new empty file to write to; it becomes ``path`` when all went well.

    ``folder``: make its folder too. BookError as :func:`check_output`, and when it cannot be written.
    """
    path = Path(path)
    check_output(path, replace=replace, mark=mark)
    partial = None
    try:
        if folder:
            path.parent.mkdir(parents=True, exist_ok=True)
        number, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:100]}.", suffix=path.suffix)
        os.close(number)
        partial = Path(name)
        yield partial
        partial.chmod(0o666 & ~_umask())
        check_output(path, replace=replace, mark=mark)  # it may have appeared meanwhile
        os.replace(partial, path)
        partial = None
    except OSError as error:
        raise _unwritable(path, error) from error
    finally:
        if partial is not None:
            partial.unlink(missing_ok=True)


def write_whole(
    path: str | Path, data: str | bytes, *, replace: bool = False, mark: str = "", folder: bool = False
) -> None:
    """Write ``data`` (text as UTF-8 with line feeds) to ``path`` by way of :func:`output_file`."""
    with output_file(path, replace=replace, mark=mark, folder=folder) as partial:
        partial.write_bytes(data.encode() if isinstance(data, str) else data)


def _start(path: Path, count: int) -> bytes:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return b""
        with path.open("rb") as file:
            return file.read(count)
    except OSError:
        return b""


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _unwritable(path: Path, error: OSError) -> BookError:
    return BookError(f"{path} cannot be written: {error.strerror}.", "Check folder, permissions and space.")
