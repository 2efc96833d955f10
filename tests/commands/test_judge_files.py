"""`judge` and `compare` with files from elsewhere: the part is named or carried, folders end in a table."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from strokebench.cli import main
from strokebench.commands.shared import recordings
from strokebench.commands.shared.recordings import LARGEST_ABOUT
from strokebench.foreign.read import read_csv
from strokebench.parts import load_part

FILE = "t;I\n" + "".join(f"{n / 1000};{5 if 100 < n < 700 else 0}\n" for n in range(800))
MAP = 'time="t",current_a="I"'


@pytest.fixture
def csv(tmp_path: Path) -> Path:
    (tmp_path / "a.csv").write_text(FILE)
    return tmp_path / "a.csv"


def judge(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main([*words, "--no-report"])
    shown = capsys.readouterr()
    return code, " ".join(shown.out.split()), " ".join(shown.err.split())


def test_judge_without_a_part_exits_2_with_a_sentence(csv: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (("judge", str(csv)), ("compare", str(csv), str(csv))):
        code, out, err = judge(capsys, *command, "--map", MAP)
        assert (code, out) == (2, "")
        assert "does not say which part it is of" in err and "--part PART" in err


def test_what_carries_its_part_needs_no_name(csv: Path, capsys: pytest.CaptureFixture[str]) -> None:
    profile = load_part("fuel-pump").model_dump(mode="json", exclude_none=True)
    (csv.parent / "a.about.json").write_text(json.dumps({"profile": profile}))
    code, out, _ = judge(capsys, "judge", str(csv), "--map", MAP, "--json")
    assert (code, json.loads(out)["part"]) == (3, "fuel-pump")


def test_a_file_beside_an_export_that_is_too_large_is_not_read(
    csv: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    profile = load_part("fuel-pump").model_dump(mode="json", exclude_none=True)
    padded = json.dumps({"profile": profile}) + " " * LARGEST_ABOUT
    (csv.parent / "a.about.json").write_text(padded)
    code, out, err = judge(capsys, "judge", str(csv), "--map", MAP)
    assert (code, out) == (2, "")
    assert "does not say which part it is of" in err


def test_a_large_file_shows_its_progress_on_a_terminal(
    csv: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recordings, "LARGE", 1000)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    show = recordings.progress_of(str(csv))
    assert show is not None
    read_csv(csv, MAP, show)
    err = capsys.readouterr().err
    assert err.endswith(": 100 %\n") and f"Reading {csv}" in err
    monkeypatch.setattr(recordings, "LARGE", 10**9)
    assert recordings.progress_of(str(csv)) is None


def test_compare_takes_a_mapping(csv: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (csv.parent / "b.csv").write_text(FILE.replace(";5", ";6"))
    other = str(csv.parent / "b.csv")
    code, out, _ = judge(capsys, "compare", str(csv), other, "--part", "fuel-pump", "--map", MAP)
    assert code == 0
    assert "Running current" in out


def test_a_proposal_stays_in_one_line(csv: Path, capsys: pytest.CaptureFixture[str]) -> None:
    csv.write_text(FILE.replace("t;I", "a name that is long;another name that is long as well and longer"))
    assert main(["judge", str(csv), "--part", "fuel-pump"]) == 7
    last = capsys.readouterr().err.splitlines()[-1]
    assert (
        last
        == '--map \'time="a name that is long",current_a="another name that is long as well and longer*100"\''
    )


def test_a_folder_is_judged_in_one_go_with_a_table(csv: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (csv.parent / "b.csv").write_text("nothing\n")
    (csv.parent / "c.csv").write_text(FILE)
    words = ("judge", str(csv.parent), "--part", "fuel-pump", "--map", MAP)
    code, out, _ = judge(capsys, *words)
    assert code == 7
    assert out.count("INCONCLUSIVE") == 2
    assert "b.csv NOT JUDGED b.csv has no column 't', which the mapping names" in out
    code, out, _ = judge(capsys, *words, "--json")
    assert [row["verdict"] for row in json.loads(out)["files"]] == ["inconclusive", "", "inconclusive"]


def test_a_folder_without_a_recording(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = judge(capsys, "judge", str(tmp_path))
    assert code == 2
    assert "holds no CSV file" in err


def test_what_was_understood_is_shown_before_anything_is_judged(
    csv: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = csv.parent / "a.svg"
    words = ("judge", str(csv), "--part", "fuel-pump", "--map", MAP, "--show", str(picture))
    code, out, _ = judge(capsys, *words)
    assert code == 0
    assert "current_a I 1 0 0 5" in out and "800 rows, 1000 a second" in out
    assert "Found in it: rest, steady" in out and "INCONCLUSIVE" not in out
    assert picture.read_text(encoding="utf-8").startswith("<svg")
    code, _, err = judge(capsys, *words)
    assert code == 6 and "is there already" in err
    code, _, err = judge(capsys, "judge", str(csv.parent), "--show", str(picture))
    assert code == 2 and "this is a folder" in err
