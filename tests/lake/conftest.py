"""A workshop's job book with runs of three parts, and its lake."""

from __future__ import annotations

from pathlib import Path

import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.lake.names import load_key
from strokebench.lake.place import Place, open_place
from strokebench.lake.put import Wish, put

PRIVATE = ("Huber", "SN-4711", "owed money")


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with runs of two benches, the second of which has measured its part twice."""
    path = tmp_path_factory.mktemp("shop") / "shop.book"
    for seed in ("1", "2", "2"):
        command = ["run", "solenoid", "--sim", "--seed", seed, "--no-report", "--book", str(path)]
        command += ["--customer", PRIVATE[0], "--serial", f"{PRIVATE[1]}-{seed}", "--note", PRIVATE[2]]
        assert main(command) == 0
    return path


@pytest.fixture(scope="session", params=["folder", "memory"])
def lake(request: pytest.FixtureRequest, shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """The book's runs in a folder, and in fsspec's store in memory, in the place of an object store."""
    pytest.importorskip("pyarrow")
    pytest.importorskip("fsspec")
    folder = tmp_path_factory.mktemp("lake")
    url = str(folder / "lake") if request.param == "folder" else "memory://shops/lake"
    place = open_place(url, there=False)
    with Book(shop, read_only=True) as book:
        done = put(book, place, load_key(folder / "key"), Wish(good=(1, 2, 3)))
    assert (done.runs, done.there, done.good, done.lost) == (3, 0, 2, [])
    return place
