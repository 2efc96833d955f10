"""`strokebench learn`: from books, CSV files and profiles to a profile that loads."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.parts import load_part

from tests.unit.test_learn import OHM, specimens


def fill(path: Path, count: int = 5, shop: str = "S", verdict: str = "fail", outcome: str = "done") -> None:
    """A book of good parts, all of which the built-in limits fail: their winding is of another size."""
    with Book(path) as book:
        for finding in specimens(count, shop=shop):
            bigger = [
                each.with_(value=2 * each.value) if each.key == OHM.key else each for each in finding.findings
            ]
            info = {"identity": {"uid": "E6614103E7", "calibration_id": 0x0BADCAFE}}
            with book.new_run(
                finding.part, finding.kind, part_serial=finding.serial, profile=finding.profile, info=info
            ) as writer:
                writer.findings(bigger, verdict)
                writer.finish(outcome)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    fill(tmp_path / "shop.book")
    return tmp_path


def shown(capsys: pytest.CaptureFixture[str]) -> Any:
    return json.loads(capsys.readouterr().out.splitlines()[-1])


def test_parts_that_the_built_in_limits_fail_are_learnt_from(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Runs that the built-in limits failed were dropped silently, exactly for those who need new limits."""
    command = ["learn", "--part", "solenoid", "--book", "shop.book", "--good", "all", "-o", "good.toml"]
    assert main(command) == 0
    out = capsys.readouterr().out
    assert "From 5 good parts" in out
    assert "Closer with" in out
    assert max(map(len, out.splitlines())) <= 80
    profile = load_part("good.toml")
    limit = profile.findings["winding_resistance"]
    assert limit.lower is not None
    assert 30 < limit.lower < 39.2, "of parts of that size, not of the built-in one"
    assert profile.procedure == load_part("solenoid").procedure
    assert profile.learnt is not None
    part = profile.learnt.parts[0]
    assert (part.bench, part.calibration, part.runs) == ("E6614103E7", "0badcafe", ["run 1 of shop.book"])
    assert part.measured.startswith("20")
    text = Path("good.toml").read_text(encoding="utf-8")
    assert "# Limits learnt from 5 parts that somebody declared good" in text
    assert main(command) == 6, "not overwritten without --force"


def test_good_is_declared_by_serial_or_by_run(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    learn = ["learn", "--part", "solenoid", "--book", "shop.book", "--json"]
    assert main([*learn, "--good", "S0,S2,S4"]) == 0
    assert [part["serial"] for part in shown(capsys)["parts"]] == ["S0", "S2", "S4"]
    assert main([*learn, "--good", "2-4"]) == 0
    assert [part["serial"] for part in shown(capsys)["parts"]] == ["S1", "S2", "S3"]
    assert main([*learn, "--good", "all", "--without", "S1"]) == 0
    assert len(shown(capsys)["parts"]) == 4
    learn.remove("--json")
    assert main(learn) == 2, "nobody has said which parts are good"
    assert "--good S0,S1,S2,S3" in capsys.readouterr().err
    assert main([*learn, "--good", "X9"]) == 2
    assert "X9, which is not there" in capsys.readouterr().err
    assert main([*learn, "--good", "S0,S1"]) == 7


def test_a_run_that_was_cut_is_left_out_and_said_so(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fill(shop / "shop.book", count=1, shop="T", outcome="stopped")
    assert main(["learn", "--part", "solenoid", "--book", "shop.book", "--good", "all"]) == 0
    assert "Left out: run 6 of shop.book (it ended early: stopped)." in capsys.readouterr().out


def test_a_part_that_does_not_belong_stops_it_until_somebody_has_looked(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Book(shop / "shop.book") as book:
        odd = specimens(1)[0]
        with book.new_run(odd.part, odd.kind, part_serial="ODD", profile=odd.profile) as writer:
            writer.findings(odd.findings, "pass")
            writer.finish("done")
    learn = ["learn", "--part", "solenoid", "--book", "shop.book", "--good", "all", "-o", "good.toml"]
    assert main(learn) == 7
    said = capsys.readouterr().err
    assert "ODD (winding resistance" in said
    assert "--without ODD" in said
    assert not Path("good.toml").exists()
    assert main([*learn, "--keep", "ODD"]) == 0
    assert main([*learn, "--without", "ODD", "--force"]) == 0


def test_it_learns_on_later_and_two_shops_merge(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fill(shop / "later.book", count=4, shop="L")
    together = ["learn", "shop.book", "later.book", "--part", "solenoid", "--good", "all", "-o", "both.toml"]
    assert main(together) == 0
    for name in ("shop", "later"):
        assert (
            main(["learn", f"{name}.book", "--part", "solenoid", "--good", "all", "-o", f"{name}.toml"]) == 0
        )
    assert main(["learn", "later.book", "--add", "shop.toml", "--good", "all", "-o", "on.toml"]) == 0
    assert main(["learn", "--merge", "shop.toml", "later.toml", "-o", "merged.toml"]) == 0
    capsys.readouterr()
    assert main(["learn", "--merge", "shop.toml", "later.toml"]) == 0
    assert "Winding resistance at 20 °C, ohm" in capsys.readouterr().out
    both = load_part("both.toml")
    for name in ("on.toml", "merged.toml"):
        profile = load_part(name)
        assert profile.learnt == both.learnt
        for key, limit in both.findings.items():
            assert (profile.findings[key].lower, profile.findings[key].upper) == (limit.lower, limit.upper), (
                key
            )
    assert main(["learn", "later.book", "--add", "on.toml", "--good", "all"]) == 7, "they count already"
    assert main(["learn", "--merge", "shop.toml", "later.toml", "--good", "all"]) == 2
    assert main(["learn", "shop.book", "--add", "solenoid", "--good", "all"]) == 7, "it was not learnt"
    capsys.readouterr()


@pytest.mark.slow
def test_csv_files_are_learnt_from_like_the_runs_they_were(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "csv").mkdir()
    for seed in (1, 2, 3):
        run = ["run", "solenoid", "--sim", "--seed", str(seed), "--serial", f"A{seed}", "--no-report"]
        assert main([*run, "--book", "shop.book"]) == 0
        assert main(["export", str(seed), "--book", "shop.book", "--csv", f"csv/A{seed}.csv"]) == 0
    capsys.readouterr()
    assert main(["learn", "csv", "--part", "solenoid", "--good", "all", "--json"]) == 0
    of_csv = shown(capsys)
    assert main(["learn", "shop.book", "--part", "solenoid", "--good", "all", "--json"]) == 0
    of_book = shown(capsys)
    for part in (*of_csv["parts"], *of_book["parts"]):
        assert part.pop("runs")
    assert of_csv["parts"] == of_book["parts"]
    for mine, other in zip(of_csv["limits"], of_book["limits"], strict=True):
        assert mine["centre"] == pytest.approx(other["centre"], rel=0.01, abs=0.05), mine["key"]
