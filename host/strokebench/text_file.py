"""Write a text file whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from strokebench.errors import BookError


def write_whole(path: Path, text: str, *, replace: bool = True) -> None:
    """Write ``text`` to ``path``; BookError when that cannot be done, or a file is there and not to be
    replaced.
    """
    if path.exists() and not replace:
        raise BookError(f"{path} is there already.", "Give another name with -o, or --force.")
    partial = path.with_name(path.name + ".part")
    try:
        partial.write_text(text, encoding="utf-8", newline="\n")
        os.replace(partial, path)
    except OSError as error:
        raise BookError(f"{path} cannot be written: {error.strerror}.", "Check folder and space.") from error
