"""What strangers wrote into profiles and books, shown by the real commands."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import pytest
from strokebench.bench.bench import Bench
from strokebench.cli import main

PROFILE = """based_on = "throttle-body"
[part]
title = "Body \\u001b]52;c;aGFjaw==\\u0007"
"""


def test_a_profiles_title_does_not_reach_the_clipboard(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its title came through raw."""
    profile, book = tmp_path / "part.toml", tmp_path / "a.book"
    profile.write_text(PROFILE, encoding="utf-8")
    note = "fine\x1b]52;c;aGFjaw==\x07"
    arguments = ["run", str(profile), "--sim", "--no-report", "--book", str(book), "--note", note]
    assert main(arguments) == 0
    assert main(["book", "show", "1", "--book", str(book)]) == 0
    assert main(["book", "list", "--book", str(book)]) == 0
    shown = "".join(capsys.readouterr())
    assert "Body" in shown
    assert not re.search("[\x1b\x07]", shown)


def test_what_a_bench_says_of_itself_does_not_reach_the_clipboard(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sequence in its build text came through."""
    hostile = "built_by=x\x1b]52;c;aGFjaw==\x07\x9b2J\n"
    monkeypatch.setattr(Bench, "identity_text", lambda bench: hostile)
    assert main(["info", "--sim"]) == 0
    assert main(["info", "--sim", "--json"]) == 0
    shown = "".join(capsys.readouterr())
    assert "built_by" in shown
    assert not re.search("[\x1b\x07\x9b]", shown)


def test_streams_are_given_back_as_they_were(tmp_path: Path) -> None:
    before = sys.stdout, sys.stderr
    main(["book", "list", "--book", str(tmp_path / "none.book")])
    assert (sys.stdout, sys.stderr) == before


def test_a_supply_of_nothing_is_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """It was taken for "not given", and the battery had 12.6 V."""
    assert main(["info", "--sim", "--supply", "0", "--json"]) == 0
    assert abs(json.loads(capsys.readouterr().out)["status"]["terminals_v"]) < 0.1
