"""The simulated bench in real time behind a terminal or a socket, used through pyserial like a real one."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing

import numpy as np
import pytest
from pytest_mock import MockerFixture
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.errors import UsageError
from strokebench.sim.board.board import SimBoard
from strokebench.sim.engine import serve
from strokebench.sim.engine.inprocess import InProcessPort
from strokefw import faults

from tests.helpers.process import environment
from tests.helpers.served import served
from tests.helpers.strokes import procedure, throttle_limits
from tests.helpers.waiting import wait_until

pytestmark = pytest.mark.slow

needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo terminals on Windows")
SPEC = SimSpec(seed=2)
SHORT = procedure(
    {"kind": "ramp", "to": 0.4, "over_s": 0.3, "label": "open"},
    {"kind": "pause", "for_s": 0.2, "label": "release"},
)


@pytest.fixture(params=[pytest.param(serve.serve_pty, marks=needs_pty), serve.serve_tcp])
def name(request: pytest.FixtureRequest) -> Iterator[str]:
    with served(request.param, SPEC) as announced:
        yield announced


def test_a_run_takes_as_long_as_on_a_real_bench(name: str) -> None:
    with open_bench(name) as bench:
        bench.set_limits(throttle_limits())
        bench.arm()
        began_s = time.monotonic()
        samples = np.concatenate(list(bench.run(SHORT)))
        took_s = time.monotonic() - began_s
    assert len(samples) >= 500
    assert took_s > 0.45  # real time, not as fast as it can


def test_a_client_may_leave_and_another_come(name: str) -> None:
    for _ in range(3):
        with open_bench(name) as bench:
            assert bench.status() is not None


@contextlib.contextmanager
def living(line: serve.Line) -> Iterator[SimBoard]:
    """A bench in real time on ``line``; yield its board, to be looked at from outside."""
    port, ended = InProcessPort(SPEC), threading.Event()
    thread = threading.Thread(target=serve.run, args=(line, port, ended.is_set))
    thread.start()
    try:
        yield port.board
    finally:
        ended.set()
        thread.join()
        line.close()


@pytest.mark.parametrize("line", [pytest.param(serve.PtyLine, marks=needs_pty), serve.TcpLine])
def test_a_client_that_vanishes_in_a_run_leaves_a_bench_that_stops_by_itself(
    line: Callable[[], serve.Line],
) -> None:
    device = line()
    with living(device) as board:
        bench = open_bench(device.name)
        bench.set_limits(throttle_limits())
        bench.arm()
        run = iter(bench.run(procedure({"kind": "step", "to": 0.3, "for_s": 20.0, "label": "on"})))
        next(run)
        wait_until(lambda: bool(board.bridge.gate) and board.bridge.drive > 0)
        bench.link.port.close()  # no word of farewell
        wait_until(lambda: board.bridge.drive == 0)
        with open_bench(device.name) as again:
            now = again.status()
            assert (now.drive, now.fault) == (0.0, faults.HEARTBEAT_LOST)


def test_a_client_that_reads_late_loses_nothing(name: str) -> None:
    with open_bench(name) as bench:
        bench.set_limits(throttle_limits())
        bench.arm()
        run = bench.run(SHORT)
        rows = 0
        for n, chunk in enumerate(run):
            rows += len(chunk)
            if n == 1:
                time.sleep(0.3)  # 8 kB come meanwhile, twice what a pseudo terminal holds
    assert run.lost_rows == 0 and rows >= 500


def test_a_second_socket_client_is_turned_away() -> None:
    with served(serve.serve_tcp, SPEC) as name, open_bench(name) as bench:
        host, _, port = name.removeprefix("socket://").partition(":")
        with closing(socket.create_connection((host, int(port)), timeout=5)) as second:
            assert second.recv(10) == b""
        assert bench.status() is not None


def test_a_taken_socket_is_a_plain_error() -> None:
    with (
        closing(socket.create_server(("127.0.0.1", 0))) as taken,
        pytest.raises(UsageError, match="cannot be opened"),
    ):
        serve.serve_tcp(SPEC, taken.getsockname()[1])


def test_a_client_that_does_not_read_does_not_stop_the_bench() -> None:
    with served(serve.serve_tcp, SPEC) as name:
        host, _, port = name.removeprefix("socket://").partition(":")
        with closing(socket.create_connection((host, int(port)), timeout=5)):
            time.sleep(0.5)  # a time is what is tested: so long nobody reads
        with open_bench(name) as bench:
            assert bench.status() is not None


@needs_pty
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_signals_end_it_cleanly(number: int) -> None:
    command = [sys.executable, "-m", "strokebench", "sim", "throttle-body"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    process = subprocess.Popen(command, text=True, env=environment(), **pipes)
    assert process.stdout is not None
    device = process.stdout.readline().strip()
    assert os.path.exists(device)
    process.send_signal(number)
    _out, errors = process.communicate(timeout=10)
    assert process.returncode == 0
    assert errors.splitlines() == [
        f"Simulated bench; try: strokebench info --port {device}   (Ctrl-C ends it)"
    ]
    assert not os.path.exists(device)


def test_no_terminals_on_windows(mocker: MockerFixture) -> None:
    mocker.patch.object(serve.sys, "platform", "win32")
    with pytest.raises(UsageError, match="Windows") as caught:
        serve.serve_pty(SPEC)
    assert "--tcp" in caught.value.hint
