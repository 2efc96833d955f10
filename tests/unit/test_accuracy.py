"""The counting of right and wrong: what is planned, resuming, and the page's figures."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pytest_mock import MockerFixture
from strokebench.sim.faults import parse
from strokebench.sim.plants import available
from strokebench.sim.trials import FIRST_REPORTING_SEED, Trial, plan
from tools.evidence import workers
from tools.evidence.accuracy_page import page, write_page

PART = "throttle-body"


def record(
    name: str, verdict: str, named: list[str], grade: str = "severe", **errors: float
) -> dict[str, Any]:
    return {"name": name, "grade": grade, "size": 1.0, "verdict": verdict, "named": named, "errors": errors}


def test_plan_holds_every_defect_and_can_be_repeated() -> None:
    first, second = list(plan(PART, 3, 2, 500)), list(plan(PART, 3, 2, 500))
    assert first == second
    assert len({trial.key for trial in first}) == len(first)
    assert {trial.name for trial in first} == {"good"} | {kind.name for kind in available(PART)}
    for trial in first:
        assert trial.spec.seed >= 500
        for text in trial.spec.faults:
            assert parse(text, PART, available(PART)).name == trial.name
        assert 11.0 <= trial.spec.supply_v <= 14.5 and 0 <= trial.spec.ambient_c <= 45


def test_tuning_and_reporting_seeds_are_apart() -> None:
    # The closed-loop tests (seeds to 100) belong to tuning.
    assert FIRST_REPORTING_SEED > 1000


def test_finished_trials_are_not_run_again(tmp_path: Path, mocker: MockerFixture) -> None:
    trials = list(plan(PART, 2, 0, 1))
    kept = tmp_path / "kept.jsonl"
    done = {"key": trials[0].key, "verdict": "pass"}
    kept.write_text(json.dumps(done) + "\n" + '{"key": "cut off', encoding="utf-8")

    def fake(trial: Trial, _simulate: object) -> dict[str, Any]:
        return {"key": trial.key, "verdict": "fail"}

    class InLine:
        """A pool that works at once, so that the fake is seen."""

        def __init__(self, jobs: int, **_: object) -> None: ...
        def __enter__(self) -> InLine:
            return self

        def __exit__(self, *_: object) -> None: ...
        def submit(self, work: Any, trial: Trial) -> Any:
            from concurrent.futures import Future

            future: Future[Any] = Future()
            future.set_result(work(trial))
            return future

    examine = mocker.patch.object(workers, "examine", side_effect=fake)
    mocker.patch.object(workers, "ProcessPoolExecutor", InLine)
    records = workers.run(trials, kept, 1)
    assert [call.args[0] for call in examine.call_args_list] == [trials[1]]
    assert [record["verdict"] for record in records] == ["pass", "fail"]
    assert set(workers.load(kept)) == {trial.key for trial in trials}


def test_page_counts_found_named_and_missed(tmp_path: Path) -> None:
    records = [record("good", "pass", [], "good")] * 29 + [record("good", "fail", ["sticky"], "good")]
    records += [record("binding", "fail", ["binding"], place=1.0)] * 3
    records += [record("binding", "fail", ["sticky"]), record("binding", "pass", [])]
    text = page({PART: records}, 10_000, 9_999, {})
    assert f"| {PART} | 30 | 3.3 % (0.6-16.7) | 0.0 % (0.0-11.4) | - | 60.0 % (23.1-88.2) | - |" in text
    row = next(line for line in text.splitlines() if line.startswith("| binding"))
    cells = [cell.strip().split(" ")[0] for cell in row.strip("|").split("|")]
    assert cells == ["binding", "severe", "5", "80.0", "60.0", "20.0", "0.0", "20.0"]
    assert "| place of a binding spot | 3 | +1.00 % of travel | - | 1.00 % of travel |" in text


def test_page_is_written_with_its_plot(tmp_path: Path) -> None:
    spread = [record("sticky", "fail", ["sticky"], "spread") | {"size": 0.2 * n} for n in range(1, 12)]
    out = tmp_path / "docs" / "accuracy.md"
    write_page({PART: [record("good", "pass", [], "good"), *spread]}, 10_000, 9_999, out)
    assert "img/accuracy-throttle-body.svg" in out.read_text(encoding="utf-8")
    assert "<svg" in (out.parent / "img" / "accuracy-throttle-body.svg").read_text(encoding="utf-8")
