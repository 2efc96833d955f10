"""The commands as a person or a script uses them, on the simulated bench."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from strokebench.book.book import Book

from tests.helpers.process import short_profile, simulated_device, strokebench


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which a good throttle body has been run into ``t.book``."""
    folder = tmp_path_factory.mktemp("job")
    command = ("run", "throttle-body", "--sim", "--book", "t.book", "--customer", "C-17 & Söhne")
    result = strokebench(*command, cwd=folder)
    assert result.returncode == 0, result.stdout + result.stderr
    (folder / "stdout").write_text(result.stdout, encoding="utf-8")
    return folder


def test_a_run_ends_in_the_verdict_a_report_and_the_next_step(job: Path) -> None:
    shown = (job / "stdout").read_text(encoding="utf-8")
    lines = shown.splitlines()
    assert sum(line.startswith("PASS") for line in lines) == 1
    assert "Winding resistance" not in shown and "(all: --all)" in shown
    assert any(line.startswith("Next: nothing to repair") for line in lines)
    assert "Run 1 in t.book" in lines
    assert "Report: t-run-1.html" in lines
    assert (job / "t-run-1.html").stat().st_size > 10_000
    assert max(map(len, lines)) <= 80
    assert "\x1b" not in shown, "no colour and no progress bar where nobody looks"


def test_the_book_holds_it_all(job: Path) -> None:
    with Book(job / "t.book", read_only=True) as book:
        run = book.load(1)
        assert run.info["verdict"] == "pass"
        assert run.info["customer"] == "C-17 & Söhne"
        assert run.info["lost_rows"] == 0
        assert run.info["identity"]["board"] == "simulated bench"
        assert len(run.bursts) == 1
        assert {finding.verdict.value for finding in book.findings(1)} == {"pass", "info"}
        time_s = run.samples["time_s"]
        assert len(time_s) == round((time_s[-1] - time_s[0]) * 1000) + 1, "not one tick missing"


@pytest.mark.slow
def test_judging_the_book_again_gives_the_same(job: Path) -> None:
    told = json.loads(strokebench("judge", "t.book", "--json", "--no-report", cwd=job).stdout)
    assert (told["verdict"], told["exit_code"], told["run_id"], told["report"]) == ("pass", 0, 1, None)
    with Book(job / "t.book", read_only=True) as book:
        assert [finding["key"] for finding in told["findings"]] == [
            finding.key for finding in book.findings(1)
        ]


def test_an_export_judged_as_foreign_file_gives_the_same_verdict(job: Path) -> None:
    assert strokebench("export", "--csv", "t.csv", "--book", "t.book", cwd=job).returncode == 0
    told = json.loads(strokebench("judge", "t.csv", "--json", "--no-report", cwd=job).stdout)
    by_key = {finding["key"]: finding for finding in told["findings"]}
    with Book(job / "t.book", read_only=True) as book:
        stored = {finding.key: finding for finding in book.findings(1)}
    for key in ("winding_resistance", "travel", "friction", "rest_position"):
        assert by_key[key]["value"] == pytest.approx(stored[key].value, rel=1e-3)


def test_export_to_standard_output(job: Path) -> None:
    lines = strokebench("export", "--csv", "-", "--book", "t.book", cwd=job).stdout.splitlines()
    assert lines[0].startswith("time_s,drive,current_a,supply_v")
    assert len(lines) > 10_000


@pytest.mark.slow
def test_the_report_can_be_written_again(job: Path) -> None:
    result = strokebench("report", "1", "--book", "t.book", "-o", "again.html", cwd=job)
    assert result.stdout == "Report: again.html\n"
    assert "Söhne" in (job / "again.html").read_text(encoding="utf-8")


def test_a_defect_fails_the_part(tmp_path: Path) -> None:
    command = ("run", "throttle-body", "--sim", "--inject", "binding:severe", "--json", "--no-report")
    result = strokebench(*command, cwd=tmp_path)
    told = json.loads(result.stdout)
    assert (result.returncode, told["verdict"]) == (1, "fail")
    assert (tmp_path / "strokebench.book").exists()


@pytest.mark.slow
def test_too_little_evidence_is_inconclusive(tmp_path: Path) -> None:
    profile = tmp_path / "rest.toml"
    rest = '[[procedure.segments]]\nkind = "pause"\nlabel = "rest"\nfor_s = 0.5\n'
    profile.write_text(f'based_on = "throttle-body"\n{rest}', encoding="utf-8")
    result = strokebench("run", profile, "--sim", "--no-report", cwd=tmp_path)
    assert result.returncode == 3, result.stdout
    assert "INCONCLUSIVE" in result.stdout


@pytest.mark.slow
def test_a_run_ended_by_protection_is_told_and_kept(tmp_path: Path) -> None:
    profile = short_profile(tmp_path, 2)
    text = profile.read_text(encoding="utf-8").replace(
        "[procedure]", "[limits]\nstall_s = 0.05\nstall_a = 0.5\n[procedure]"
    )
    profile.write_text(text, encoding="utf-8")
    result = strokebench("run", profile, "--sim", "--no-report", cwd=tmp_path)
    assert result.returncode == 5
    assert "stall current without moving" in " ".join(result.stderr.split())
    with Book(tmp_path / "strokebench.book", read_only=True) as book:
        assert book.runs()[0].outcome == "fault"


@pytest.mark.slow
def test_a_simulated_bench_behind_a_device_is_a_bench_like_any_other(tmp_path: Path) -> None:
    profile = short_profile(tmp_path)
    with simulated_device(tmp_path, "--pty", "--seed", "3") as (name, _process):
        info = json.loads(strokebench("info", "--port", name, "--json", cwd=tmp_path).stdout)
        assert info["identity"]["board"] == "simulated bench"
        result = strokebench("run", profile, "--port", name, "--json", "--no-report", cwd=tmp_path)
        assert json.loads(result.stdout)["lost_rows"] == 0
        assert json.loads(result.stdout)["outcome"] == "done"
        stopped = strokebench("stop", "--port", name, cwd=tmp_path)
        assert stopped.stdout.startswith("Stopped: ready, drive +0.00")


@pytest.mark.slow
def test_over_a_socket(tmp_path: Path) -> None:
    with simulated_device(tmp_path, "--tcp", "0", "--json") as (told, _process):
        name = json.loads(told)["port"]
        assert name.startswith("socket://")
        result = strokebench(
            "run", short_profile(tmp_path), "--port", name, "--json", "--no-report", cwd=tmp_path
        )
        assert json.loads(result.stdout)["outcome"] == "done"


@pytest.mark.slow
def test_parts_ports_faults(tmp_path: Path) -> None:
    assert "throttle-body" in strokebench("parts", cwd=tmp_path).stdout
    shown = strokebench("parts", "throttle-body", cwd=tmp_path).stdout
    assert "CAUTION" in shown
    assert "sweep_open" in shown
    assert strokebench("ports", "--no-handshake", cwd=tmp_path).returncode == 0
    stall = strokebench("faults", "37", cwd=tmp_path).stdout
    assert "LED: 3 long, 7 short" in stall
    assert strokebench("faults", "1", cwd=tmp_path).returncode == 2
    assert len(json.loads(strokebench("faults", "--json", cwd=tmp_path).stdout)) > 30


def test_the_book_may_be_chosen_by_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("STROKEBENCH_BOOK", str(tmp_path / "shop.book"))
    strokebench("run", short_profile(tmp_path), "--sim", "--no-report", cwd=tmp_path)
    assert (tmp_path / "shop.book").exists()


def test_a_broken_pipe_is_no_error(job: Path) -> None:
    from tests.helpers.process import start

    process = start("export", "--csv", "-", "--book", "t.book", cwd=job)
    assert process.stdout is not None
    process.stdout.readline()
    process.stdout.close()
    assert process.stderr is not None
    assert process.stderr.read() == ""
    process.stderr.close()
    assert process.wait(30) == 0


def test_a_terminal_without_our_characters(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONIOENCODING", "ascii")
    result = strokebench("judge", "t.book", "--no-report", "--all", cwd=job)
    assert result.returncode == 0, result.stderr
    assert "value ? U" in result.stdout
