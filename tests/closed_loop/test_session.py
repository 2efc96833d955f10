"""A run recorded and judged through the library, in process."""

from __future__ import annotations

import os
import signal
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from pytest_mock import MockerFixture
from strokebench.bench.bench import Bench, SimSpec, open_bench
from strokebench.book.book import Book
from strokebench.book.writer import RunWriter
from strokebench.errors import BookError
from strokebench.parts import load_part
from strokebench.parts.procedure import Procedure
from strokebench.parts.profile import Profile
from strokebench.session import exit_code, record
from strokefw import state

PROFILE = load_part("throttle-body")


def with_procedure(*segments: dict[str, object]) -> Profile:
    return PROFILE.model_copy(update={"procedure": Procedure.model_validate({"segments": list(segments)})})


STEADY = with_procedure(
    {"kind": "pause", "label": "rest", "for_s": 0.2},
    {"kind": "ramp", "label": "up", "to": 0.3, "over_s": 0.3},
    {"kind": "hold", "label": "hold", "for_s": 20.0},
)


@pytest.fixture
def bench() -> Iterator[Bench]:
    with open_bench(sim=SimSpec("throttle-body", seed=2)) as opened:
        opened.set_limits(PROFILE.limits)
        opened.arm()
        yield opened


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "t.book") as opened:
        yield opened


def writer_of(book: Book) -> RunWriter:
    return book.new_run("throttle-body", "throttle")


def test_book_and_memory_hold_the_same(bench: Bench, book: Book) -> None:
    short = with_procedure(
        {"kind": "pause", "label": "rest", "for_s": 0.05},
        {"kind": "step", "label": "go", "to": 0.3, "for_s": 0.1},
        {"kind": "burst", "label": "fast", "channel": "supply", "count": 600, "rate_hz": 100_000},
    )
    with writer_of(book) as writer:
        data = record(bench, short, writer)
    back = book.load(writer.run_id)
    assert back.samples.tobytes() == data.samples.tobytes()
    assert back.marks == data.marks
    assert back.events == data.events
    assert [mark.label for mark in back.marks] == ["rest", "go", "fast"]
    np.testing.assert_array_equal(back.bursts[0].values, data.bursts[0].values)
    assert back.bursts[0].values.mean() == pytest.approx(12.5, abs=0.4)
    assert data.info["outcome"] == "done"


def test_marks_lie_on_the_samples_they_name(bench: Bench, book: Book) -> None:
    with writer_of(book) as writer:
        data = record(bench, with_procedure(
            {"kind": "hold", "label": "low", "drive": 0.1, "for_s": 0.2},
            {"kind": "step", "label": "high", "to": 0.3, "for_s": 0.2},
        ), writer)  # fmt: skip
    low, high = data.marks
    assert high.end_s - low.start_s == pytest.approx(0.4, abs=1e-9)
    assert data.of(low)["drive"].max() == 0.1
    first = data.of(high)["drive"][0]
    assert 0.1 < first <= 0.12, "the first row of a segment shows its first tick"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ramps_down_and_keeps_everything(bench: Bench, book: Book, number: signal.Signals) -> None:
    def watch(run: object, chunk: object) -> None:
        if run.last_s > 1.0 and not sent:  # type: ignore[attr-defined]
            sent.append(1)
            os.kill(os.getpid(), number)

    sent: list[int] = []
    before = signal.getsignal(number)
    with writer_of(book) as writer:
        data = record(bench, STEADY, writer, watch)
    assert data.info["outcome"] == "interrupted"
    assert 1.0 < data.samples["time_s"][-1] < 1.6
    assert data.samples["drive"][-1] == 0
    fall = np.abs(np.diff(data.samples["drive"])).max()
    assert fall <= PROFILE.limits.slew_per_s / 1000 + 1e-9, "ramped, not cut"
    assert signal.getsignal(number) is before
    assert book.runs()[0].outcome == "interrupted"


def test_a_full_book_stops_the_part_and_says_so(bench: Bench, book: Book, mocker: MockerFixture) -> None:
    writer = writer_of(book)
    real = writer._transaction

    transaction = mocker.patch.object(writer, "_transaction")

    def fails(*args: object, **more: object) -> None:
        if transaction.call_count > 6:
            raise sqlite3.OperationalError("database or disk is full")
        real(*args, **more)  # type: ignore[arg-type]

    transaction.side_effect = fails
    with pytest.raises(BookError, match="disk is full"), writer:
        record(bench, STEADY, writer)
    assert bench.status().state in ("ready", "armed")
    assert bench.status().drive == 0


def test_a_run_left_in_the_middle_leaves_the_bench_off_and_usable(bench: Bench) -> None:
    for chunk in bench.run(STEADY.procedure):
        if chunk["drive"][-1] > 0.25:
            break
    bench.close_run()
    assert bench.status().drive == 0
    assert bench.status().state == "ready"
    # a part that still swings back makes its own voltage, and the self-test would refuse
    until_s = bench.link.port.now() + 1.0
    while bench.link.port.now() < until_s:
        bench.link.poll(0.1)
    bench.arm()
    run = bench.run(with_procedure({"kind": "pause", "for_s": 0.1}).procedure)
    assert sum(len(chunk) for chunk in run) >= 100
    assert run.outcome == "done"


def test_an_exit_code_tells_interruption_and_protection_before_the_verdict() -> None:
    from strokebench.data.findings import Verdict
    from strokebench.data.run import RunData

    def code(outcome: str, verdict: Verdict) -> int:
        return exit_code(verdict, RunData(info={"outcome": outcome}))

    assert [code("done", verdict) for verdict in (Verdict.PASS, Verdict.FAIL, Verdict.INCONCLUSIVE)] == [
        0,
        1,
        3,
    ]
    assert code("fault", Verdict.FAIL) == 5
    assert code("interrupted", Verdict.PASS) == 130


def test_status_events_and_selftest_in_words(bench: Bench) -> None:
    status = bench.status()
    assert status.state == "armed"
    assert status.supply_v == pytest.approx(12.6, abs=0.3)
    assert set(status.budget_left) == {"bench", "leads", "part"}
    for left in status.budget_left.values():  # half is assumed spent at power-up, and cools since
        assert 0.5 <= left < 0.7
    assert state.NAMES[state.ARMED] == "armed"
    assert bench.events()[0].kind == "boot"
    bench.disarm()
    rows = bench.selftest()
    assert rows
    assert all(len(row) == 3 for row in rows)
