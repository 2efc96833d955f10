"""`strokebench learn`: from a job book to a profile that loads."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.parts import load_part

from tests.unit.test_learn import specimens


def fill(path: Path) -> None:
    with Book(path) as book:
        for finding in specimens(9):
            with book.new_run(
                finding.part, finding.kind, part_serial=finding.serial, profile=finding.profile
            ) as writer:
                writer.findings(finding.findings, "fail" if finding.serial == "S0" else "pass")
                writer.finish("done")


def test_the_command_writes_a_profile_that_loads(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    fill(tmp_path / "shop.book")
    command = ["learn", "--book", "shop.book", "--part", "solenoid", "-o", "good.toml"]
    assert main(command) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80
    profile = load_part("good.toml")
    limit = profile.findings["winding_resistance"]
    assert limit.lower is not None
    assert 17.9 < limit.lower < 19.6, "narrower than the built-in limits"
    assert "8 good parts (8 runs) in shop.book" in limit.note, "the failing one is left out"
    assert limit.required, "what the part requires stays required"
    assert profile.procedure == load_part("solenoid").procedure
    assert main(command) == 6, "not overwritten without --force"
    assert main([*command, "--force", "--runs", "1-9", "--json"]) == 0
    told = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert (told["parts"], told["left"]["supply_lowest"]) == (
        9, "belongs to bench and supply, not to the part",
    )  # fmt: skip
    assert main(["learn", "--book", "shop.book", "--part", "solenoid", "--runs", "1,x"]) == 2
    assert main(["learn", "--book", "shop.book", "--part", "fuel-pump", "--runs", "1"]) == 7
    assert main(["learn", "--book", "shop.book", "--part", "solenoid", "--min", "9"]) == 7
