"""Hidden defects: the seed decides, the book keeps the secret, predictions are kept and compared."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.errors import UsageError
from strokebench.lessons import hidden

SEED = "walnut"


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with an exercise of two solenoids."""
    path = tmp_path_factory.mktemp("class") / "class.book"
    made = ["exercise", "make", "--seed", SEED, "--count", "2", "--parts", "solenoid", "--book", str(path)]
    assert main(made) == 0
    return path


def test_a_seed_stands_for_the_same_parts_and_another_for_others() -> None:
    kinds = ("solenoid", "throttle-body")
    drawn = [hidden.draw(seed, kinds, 12) for seed in (SEED, SEED, "hazel")]
    assert drawn[0] == drawn[1] != drawn[2]
    truths = [each.truth for each in drawn[0] + drawn[2]]
    assert 2 <= truths.count(hidden.GOOD) <= 14
    assert all(each.truth in hidden.possible(each.spec.part) for each in drawn[0])


def test_drawn_parts_are_good_in_about_a_third() -> None:
    truths = [each.truth for n in range(30) for each in hidden.draw(f"seed {n}", ("solenoid",), 10)]
    assert 0.22 < truths.count(hidden.GOOD) / len(truths) < 0.38  # 300 draws: three standard deviations


@pytest.mark.slow
def test_the_book_holds_neither_seed_nor_truth(book: Path) -> None:
    raw = book.read_bytes()
    assert SEED.encode() not in raw and b"53494d00" not in raw
    with Book(book) as opened:
        for run in hidden.runs_of(opened):
            assert opened.findings(run) == [] and opened.load(run).info["identity"]["uid"] == ""


@pytest.mark.slow
def test_predictions_are_kept_and_compared(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    truth = [each.truth for each in hidden.draw(SEED, ("solenoid",), 2)]
    with Book(book) as kept:
        hidden.predict(kept, 1, "Anna and Ben", "sticky")
        hidden.predict(kept, 1, "Anna and Ben", truth[0])  # the last one counts
        wrong = next(name for name in hidden.possible("solenoid") if name != truth[1])
        hidden.predict(kept, 2, "Anna and Ben", wrong)
        for number, group, says in ((1, "C", "binding"), (1, "two\nlines", "good"), (3, "C", "good")):
            with pytest.raises(UsageError):
                hidden.predict(kept, number, group, says)
        assert kept.problems() == []
    capsys.readouterr()
    compare = ["exercise", "compare", "--book", str(book), "--json", "--seed"]
    assert main([*compare, "almond"]) == 2
    capsys.readouterr()
    assert main([*compare, SEED]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["right"]["Anna and Ben"] == 1
    assert [answer["truth"] for answer in shown["answers"]] == truth
    assert shown["right"]["the program"] == 2
    assert main(["exercise", "predict", "1", "--group", "C", "--says", "good", "--book", str(book)]) == 2


def test_wrong_use_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(tmp_path / "a.book")
    assert main(["exercise", "make", "--seed", "abc", "--book", path]) == 2
    assert main(["exercise", "make", "--seed", SEED, "--count", "21", "--book", path]) == 2
    assert main(["exercise", "make", "--seed", SEED, "--parts", "door", "--book", path]) == 2
    assert main(["exercise", "show", "--book", path]) == 6
    assert "exercise make" in capsys.readouterr().err
