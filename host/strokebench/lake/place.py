"""Where a lake is: a folder, or an object store that fsspec knows (``memory://``, ``s3://`` and others).

``DATASET/part=NAME/month=2026-05/FILE.parquet`` for the datasets ``runs``, ``findings``, ``good``,
``samples`` and ``bursts``. The folder names are the usual key=value ones: DuckDB, Dask and Spark see ``part``
and ``month`` as columns.
"""

from __future__ import annotations

import os
import re
import uuid
from dataclasses import dataclass
from typing import Any

from strokebench.errors import BookError, UsageError

HOW = "Install it with: pip install 'strokebench[fleet]'"
DATASETS = ("runs", "findings", "good", "samples", "bursts")


def needed(name: str) -> Any:
    """Return the package ``name`` of the extra ``fleet``; UsageError when it is not installed."""
    import importlib

    try:
        return importlib.import_module(name)
    except ImportError:
        raise UsageError(f"A lake needs the package {name.split('.')[0]}.", HOW) from None


@dataclass(frozen=True)
class Place:
    """An open lake: ``system`` is fsspec's file system, ``root`` the lake in it without the protocol."""

    url: str
    system: Any
    root: str

    @property
    def local(self) -> bool:
        """Whether it is a folder of this computer."""
        return "file" in (self.system.protocol if isinstance(self.system.protocol, tuple) else ())

    def files(self, dataset: str, part: str = "*", month: str = "*", name: str = "*") -> list[str]:
        """Return the files of a dataset, sorted, as the file system names them."""
        pattern = f"{self.root}/{dataset}/part={part}/month={month}/{name}.parquet"
        return sorted(str(path) for path in self.system.glob(pattern))

    def path(self, dataset: str, part: str, month: str, name: str) -> str:
        """Return the file of that name."""
        return f"{self.root}/{dataset}/part={part}/month={month}/{name}.parquet"

    def named(self, path: str) -> str:
        """Return one of the lake's files as other programs name it."""
        return path if self.local else str(self.system.unstrip_protocol(path))

    def write(self, table: Any, path: str) -> None:
        """Write an Arrow table: whole or not at all. A file of that name holds the same and is replaced."""
        parquet = needed("pyarrow.parquet")
        self.system.makedirs(self.system._parent(path), exist_ok=True)
        partial = f"{path}.{uuid.uuid4().hex}.part" if self.local else path  # a store puts a whole object
        try:
            with self.system.open(partial, "wb") as file:
                parquet.write_table(table, file, compression="zstd")
            if self.local:
                os.replace(partial, path)
        except OSError as error:
            raise BookError(f"{self.named(path)} cannot be written: {error}.", "Is there room?") from None

    def read(self, path: str, columns: list[str] | None = None) -> Any:
        """Return the Arrow table in one of the lake's files."""
        parquet = needed("pyarrow.parquet")
        try:
            with self.system.open(path, "rb") as file:
                return parquet.read_table(file, columns=columns, partitioning=None)
        except (OSError, ValueError) as error:
            raise BookError(f"{self.named(path)} cannot be read: {error}.", "Was it damaged?") from None


def open_place(url: str, *, there: bool = True) -> Place:
    """Return the lake at ``url``; ``there``: it must hold something.

    UsageError for a protocol or a lake that is not there.
    """
    fsspec = needed("fsspec")
    try:
        system, root = fsspec.core.url_to_fs(url)
    except (ImportError, ValueError) as error:
        raise UsageError(
            f"{url} cannot be opened: {error}.", "Name a folder, or install its package."
        ) from None
    place = Place(url, system, str(root).rstrip("/"))
    if there and not place.files("runs"):
        raise UsageError(f"There is no lake at {url}.", "Fill one: strokebench lake put LAKE --book FILE.")
    return place


def plain_name(text: str) -> str:
    """Return ``text`` as a piece of a file's name, whatever a stranger's book has in its place."""
    return re.sub(r"[^A-Za-z0-9_-]", "_", text)[:60] or "none"
