"""What is in the lake is what is in the book, without names, wherever the lake is."""

from __future__ import annotations

import json
import os
import shutil
import stat
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from strokebench.book.book import Book, Wanted
from strokebench.cli import main
from strokebench.errors import LinkError
from strokebench.lake import many
from strokebench.lake.ask import QUANTILES, Asked, quantiles
from strokebench.lake.many import amounts, judged_again
from strokebench.lake.names import Pseudonyms, load_key
from strokebench.lake.place import Place, open_place
from strokebench.lake.put import Wish, put
from strokebench.lake.rows import OTHER, known_labels
from strokebench.parts import load_part, profile_of
from strokebench.verdict.examine import examine

from tests.lake.conftest import PRIVATE

pytestmark = pytest.mark.extras


def test_duckdb_answers_as_the_book_does(lake: Place, shop: Path) -> None:
    found = {each.key: each for each in quantiles(lake, Asked(part="solenoid"))}
    with Book(shop, read_only=True) as book:
        keys = {finding.key for finding in book.findings(1) if finding.known}
        assert keys <= set(found) and len(keys) > 5
        for key, each in found.items():
            points = [point for point in book.trend(key, Wanted()) if np.isfinite(point.value)]
            values = [point.value for point in points]
            assert (each.count, each.failed) == (len(values), sum(p.verdict == "fail" for p in points))
            assert each.mean == pytest.approx(np.mean(values), rel=1e-12)
            assert each.quantiles == pytest.approx(np.quantile(values, QUANTILES), rel=1e-12)
            assert each.simulated and each.unit == points[0].unit


def test_by_bench(lake: Place) -> None:
    found = quantiles(lake, Asked(key="winding_resistance", by="bench"))
    assert sorted(each.count for each in found) == [1, 2] and len({each.group for each in found}) == 2


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """Address of a scheduler with a worker in a process of its own."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=1, threads_per_worker=2, dashboard_address=None) as running:
        yield running.scheduler_address


@pytest.mark.filterwarnings("ignore:The inplace keyword in DataFrame.reset_index")  # in dask
def test_dask_counts_the_samples_that_the_book_has(lake: Place, shop: Path) -> None:
    pytest.importorskip("dask")
    (found,) = amounts(lake, "", "")
    with Book(shop, read_only=True) as book:
        rows = [book.load(number).samples["current_a"] for number in book.run_numbers()]
    amps = np.concatenate(rows)
    assert (found.recordings, found.samples) == (3, len(amps))
    assert found.most_a == pytest.approx(np.abs(amps).max())
    assert found.rms_a == pytest.approx(np.sqrt(np.mean(amps**2)))


@pytest.mark.slow
def test_recordings_are_judged_again_as_from_the_book(lake: Place, shop: Path, cluster: str) -> None:
    """On a cluster, where the lake is a folder. The limits are such that they fail one of the two parts."""
    table = load_part("solenoid").model_dump(mode="json", exclude_none=True)
    table["findings"] |= telling_limits(shop)
    profile = profile_of(table, "new")
    judged = {each.run: each for each in judged_again(lake, "solenoid", table, cluster)}
    names = [path.rsplit("/", 1)[1].removesuffix(".parquet") for path in lake.files("samples")]
    assert sorted(judged) == sorted(names)
    with Book(shop, read_only=True) as book:
        expected = []
        for number in book.run_numbers():
            findings, verdict = examine(book.load(number), profile)
            failing = tuple(finding.key for finding in findings if finding.verdict.value == "fail")
            expected.append((verdict.value, failing))
    assert sorted((each.now, each.failing) for each in judged.values()) == sorted(expected)
    assert len({verdict for verdict, _ in expected}) == 2
    assert all(each.before == "pass" and not each.error for each in judged.values())


def telling_limits(shop: Path) -> dict[str, dict[str, float]]:
    """Return a limit in the middle of that finding in which the two parts differ most clearly."""
    with Book(shop, read_only=True) as book:
        first, second = ({each.key: each for each in book.findings(n) if each.known} for n in (1, 2))
    apart = {
        key: abs(each.value - second[key].value) / each.u
        for key, each in first.items() if key in second and each.u > 0 and each.lower is not None
    }  # fmt: skip
    key = max(apart, key=lambda name: apart[name])
    assert apart[key] > 4
    return {key: {"lower": (first[key].value + second[key].value) / 2}}


def test_a_scheduler_that_does_not_answer_is_said(lake: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(many, "WAIT_S", 0.5)
    with pytest.raises(LinkError, match="No Dask scheduler answers"), many.cluster("tcp://127.0.0.1:9"):
        pass


def test_nobody_can_be_found_in_it(lake: Place, shop: Path) -> None:
    with Book(shop, read_only=True) as book:
        data = book.load(1)
    secret = [*PRIVATE, data.info["identity"]["uid"], data.info["uid"], data.info["started_at"][:19]]
    files = [path for kind in ("runs", "findings", "good", "samples", "bursts") for path in lake.files(kind)]
    assert len(files) >= 6
    for path in files:
        assert not any(word in path for word in secret)
        table = lake.read(path)
        said = json.dumps(table.slice(0, 100).to_pylist(), default=str)
        said += str({key: value.decode() for key, value in (table.schema.metadata or {}).items()})
        assert not any(word in said for word in secret), path


def test_labels_that_a_person_made_up_stay_outside() -> None:
    assert "rest" in known_labels() and OTHER in known_labels() and "Huber's pump" not in known_labels()


def test_putting_again_adds_nothing_and_a_new_judgement_counts_once(shop: Path, tmp_path: Path) -> None:
    book_file, names = tmp_path / "a.book", load_key(tmp_path / "key")
    shutil.copyfile(shop, book_file)
    lake = open_place(str(tmp_path / "lake"), there=False)
    with Book(book_file) as book:
        assert put(book, lake, names, Wish(samples=False)).runs == 3
        assert put(book, lake, names, Wish(samples=False)).there == 3
        changed = [finding.with_(value=1000.0) for finding in book.findings(1) if finding.known][:1]
        key = changed[0].key
        book.judged(1, changed, "fail")
        assert put(book, lake, names, Wish(samples=False)).runs == 1
    (found,) = quantiles(lake, Asked(key=key))
    assert found.count == 3 and found.quantiles[-1] > 800
    others = [each for each in quantiles(lake, Asked()) if each.key != key]
    assert others and all(each.count <= 2 for each in others), "the old judgement of run 1 does not count"


def test_two_workshops_with_the_same_book_do_not_meet(shop: Path, tmp_path: Path) -> None:
    lake = open_place(str(tmp_path / "lake"), there=False)
    with Book(shop, read_only=True) as book:
        for name in ("ours", "theirs"):
            assert put(book, lake, load_key(tmp_path / name), Wish(samples=False)).runs == 3
    found = quantiles(lake, Asked(key="winding_resistance", by="shop"))
    assert [each.count for each in found] == [3, 3]
    assert len(quantiles(lake, Asked(key="winding_resistance", by="bench"))) == 4


def test_a_put_that_was_cut_short_is_done_again(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is there already without its findings is written once more, and counts once."""
    lake, names = open_place(str(tmp_path / "lake"), there=False), load_key(tmp_path / "key")
    whole = Place.write

    def broken(self: Place, table: object, path: str) -> None:
        if "/findings/" in path:
            raise KeyboardInterrupt
        whole(self, table, path)

    with Book(shop, read_only=True) as book:
        monkeypatch.setattr(Place, "write", broken)
        with pytest.raises(KeyboardInterrupt):
            put(book, lake, names, Wish())
        monkeypatch.undo()
        assert put(book, lake, names, Wish()).runs == 3
    assert [each.count for each in quantiles(lake, Asked(key="winding_resistance"))] == [3]


def test_the_key_is_the_workshops_own(tmp_path: Path) -> None:
    names = load_key(tmp_path / "key")
    assert load_key(tmp_path / "key") == names != load_key(tmp_path / "other")
    assert names.bench("x") != names.specimen("x", "x") and names.bench("") == ""
    assert Pseudonyms(b"k" * 32).bench("x") != names.bench("x")
    others = stat.S_IRGRP | stat.S_IROTH
    assert os.name == "nt" or not (tmp_path / "key").stat().st_mode & others


def test_commands(shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lake, key = str(tmp_path / "lake"), str(tmp_path / "key")
    command = ["lake", "put", lake, "--book", str(shop), "--key", key, "--json"]
    assert main(["lake", "find", lake]) == 2
    assert main([*command, "--good", "nobody"]) == 2
    assert main([*command, "--called", "4711"]) == 2
    capsys.readouterr()
    assert (
        main([*command, "--part", "solenoid", "--called", "valve-4711", "--findings-only", "--good", "all"])
        == 0
    )
    assert json.loads(capsys.readouterr().out)["runs"] == 3
    assert main(["lake", "find", lake, "--finding", "winding_resistance"]) == 0
    shown = capsys.readouterr().out
    assert "valve-4711" in shown and "(simulated)" in shown
    assert main(["lake", "limits", lake, "--part", "solenoid"]) == 7
    assert "declared a part solenoid" in capsys.readouterr().err
    assert main(["lake", "limits", lake, "--part", "solenoid", "--called", "valve-4711"]) == 7
    assert "two or more parts" in capsys.readouterr().err
    assert main(["lake", "samples", lake]) == 7
    assert main(["lake", "find", lake, "--part", "toaster"]) == 7
    (tmp_path / "key").write_text("no key", encoding="ascii")
    assert main(command) == 2
