"""Trials of the coverage table: gone on with after a break, and the same from processes and from Dask."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.sim.trials import Trial, plan
from tools.evidence.coverage import GRADES
from tools.evidence.coverage_page import page
from tools.evidence.workers import run

PART = "wiring"


@pytest.fixture(autouse=True)
def plain(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two short trials are not worth compiling."""
    monkeypatch.setenv("STROKEBENCH_FAST", "0")


def some_trials() -> list[Trial]:
    return list(plan(PART, 2, 1, 70_001, SimSpec(family="second", as_built=True), GRADES))[:2]


def test_resumed_records_are_the_same(tmp_path: Path) -> None:
    kept = tmp_path / "kept.jsonl"
    whole = run(some_trials(), kept, 1)
    lines = kept.read_text(encoding="utf-8").splitlines()
    kept.write_text(lines[0] + "\n" + lines[1][:40], encoding="utf-8")
    assert run(some_trials(), kept, 1) == whole
    assert all(record["found"]["supply_rest"][2] > 10 for record in whole)
    assert json.loads(lines[0])["spec"]["family"] == "second"


@pytest.mark.extras
@pytest.mark.filterwarnings("ignore")  # of Dask's own
def test_a_dask_scheduler_gives_the_same_page(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra `fleet` is not installed")
    here = run(some_trials(), tmp_path / "here.jsonl", 1)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        there = run(some_trials(), tmp_path / "there.jsonl", 1, scheduler=cluster.scheduler_address)
    assert there == here
    assert page({(PART, "second"): there}, 1) == page({(PART, "second"): here}, 1)
