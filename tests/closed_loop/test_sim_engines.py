"""What the engines of the simulated board promise beyond the contract of every bench (tests/contract)."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pytest_mock import MockerFixture
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.errors import LinkError, LinkLost, ProtectionTripped, UsageError
from strokebench.link.port import Port
from strokebench.sim import open_port
from strokebench.sim.engine import micropython

from tests.helpers.engine_runs import run_stroke
from tests.helpers.strokes import procedure, throttle_limits

try:
    micropython.find_interpreter()
    HAS_MICROPYTHON = True
except LinkError:
    HAS_MICROPYTHON = False

needs_micropython = pytest.mark.skipif(not HAS_MICROPYTHON, reason="no MicroPython interpreter installed")
ENGINES = ["inprocess", pytest.param("micropython", marks=needs_micropython)]


@pytest.fixture(params=ENGINES)
def engine(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def live(port: Port, seconds: float) -> None:
    """Let ``seconds`` of the bench's time pass, whatever it says meanwhile."""
    end_s = port.now() + seconds
    while (left_s := end_s - port.now()) > 1e-9:
        port.read(left_s)


def test_a_stroke_from_end_to_end(engine: str) -> None:
    samples, bursts, _ = run_stroke(SimSpec(engine=engine))
    assert np.allclose(np.diff(samples["time_s"]), 1e-3)
    assert samples["sensor_a_v"].max() > 4.4 and samples["sensor_a_v"].min() < 0.55
    assert np.abs(samples["sensor_a_v"] + samples["sensor_b_v"] - 5).max() < 0.15
    assert samples["sensor_a_v"][-1] == pytest.approx(samples["sensor_a_v"][0], abs=0.1)  # back at its rest
    stalled = samples[(samples["drive"] == 0.5)][-20:]
    assert 3.0 < stalled["current_a"].mean() < 5.0
    assert [(burst.channel, len(burst.values)) for burst in bursts] == [("current_fine", 1000)]
    # the ripple of half drive: V D (1 - D) / (L f), L 1.5 mH within its spread
    # as a triangle, whose fundamental is 4/pi^2 of its height; 100 kHz x 10 ms put 20 kHz into bin 200
    spectrum = np.abs(np.fft.rfft(bursts[0].values)) * 2 / 1000
    assert spectrum[200] == pytest.approx(4 / np.pi**2 * 12.5 * 0.25 / (1.5e-3 * 20e3), rel=0.25)


@needs_micropython
@pytest.mark.parametrize(
    "spec",
    [
        SimSpec(seed=5),
        SimSpec(seed=6, faults=("binding:severe", "worn_track"), bench_faults=("supply=11.6@1.0+0.1",)),
        SimSpec(part="fuel-pump", seed=7),
        SimSpec(part="egr-solenoid", seed=8),
    ],
)
def test_same_bytes_in_process_and_under_micropython(spec: SimSpec) -> None:
    ours = run_stroke(spec)[2]
    theirs = run_stroke(replace(spec, engine="micropython"))[2]
    assert len(ours) > 40_000
    assert ours == theirs


def test_same_seed_same_bytes_other_seed_others() -> None:
    assert run_stroke(SimSpec(seed=3))[2] == run_stroke(SimSpec(seed=3))[2]
    assert run_stroke(SimSpec(seed=3))[2] != run_stroke(SimSpec(seed=4))[2]


def test_time_stands_still_until_the_host_waits(engine: str) -> None:
    with closing(open_port(SimSpec(engine=engine))) as port:
        assert port.now() == 0.0
        assert port.read(0.0) == b""
        assert port.now() == 0.0
        live(port, 0.25)
        assert port.now() == pytest.approx(0.25)


def test_a_closed_port_says_so(engine: str) -> None:
    port = open_port(SimSpec(engine=engine))
    port.close()
    port.close()
    with pytest.raises(LinkLost):
        port.read(0.01)
    with pytest.raises(LinkLost):
        port.write(b"x")


def test_stored_calibration_is_kept(engine: str) -> None:
    from strokefw.sensing import calib

    record = calib.Calibration().record()
    with open_bench(sim=SimSpec(engine=engine)) as bench:
        live(bench.link.port, 1.2)  # its first self-test
        bench.link.request("calib_write", tail=record)
        assert bench.link.port.board.load(calib.SLOT) == record  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "trouble, code", [("estop@1.0", 19), ("supply=7@1.0", 12), ("heatsink_ntc_open@1.0", 51)]
)
def test_bench_troubles_end_a_run(engine: str, trouble: str, code: int) -> None:
    with open_bench(sim=SimSpec(engine=engine, bench_faults=(trouble,))) as bench:
        bench.set_limits(throttle_limits())
        bench.arm()
        with pytest.raises(ProtectionTripped) as caught:
            list(bench.run(procedure({"kind": "step", "to": 0.4, "for_s": 3.0, "label": "on"})))
        assert caught.value.code == code
        live(bench.link.port, 0.1)
        assert bench.link.port.board.plant.current_a == pytest.approx(0, abs=0.02)  # type: ignore[attr-defined]


def test_shorted_mosfet_is_refused_before_power(engine: str) -> None:
    with open_bench(sim=SimSpec(engine=engine, bench_faults=("mosfet_short_bl",))) as bench:
        bench.set_limits(throttle_limits())
        with pytest.raises(LinkError, match="pulled to ground"):
            bench.arm()
        assert bench.link.port.board.bridge.rail == 0  # type: ignore[attr-defined]


def test_shorted_leads_are_found_before_power() -> None:
    with open_bench(sim=SimSpec(bench_faults=("leads_shorted",))) as bench:
        bench.set_limits(throttle_limits())
        with pytest.raises(LinkError, match="shorted"):
            bench.arm()


def test_leads_that_come_to_touch_end_the_run() -> None:
    with open_bench(sim=SimSpec(bench_faults=("leads_shorted@1.2",))) as bench:
        bench.set_limits(throttle_limits())
        bench.arm()
        with pytest.raises(ProtectionTripped):
            list(bench.run(procedure({"kind": "step", "to": 0.4, "for_s": 3.0, "label": "on"})))


def test_unknown_engine_is_named() -> None:
    with pytest.raises(UsageError, match="no engine called 'steam'"):
        open_port(SimSpec(engine="steam"))


# -- MicroPython alone ---------------------------------------------------------------------------------------


@pytest.fixture
def micropython_port() -> Iterator[micropython.MicroPythonPort]:
    port = micropython.MicroPythonPort(SimSpec(engine="micropython"))
    yield port
    port.close()


@needs_micropython
def test_killed_interpreter_is_a_lost_link(micropython_port: micropython.MicroPythonPort) -> None:
    micropython_port.read(0.1)
    os.kill(micropython_port.process.pid, signal.SIGKILL)
    with pytest.raises(LinkLost, match="MicroPython process ended"):
        micropython_port.read(1.0)
    with pytest.raises(LinkLost):
        micropython_port.write(b"\0")


@needs_micropython
def test_what_the_firmware_dies_of_is_passed_on(micropython_port: micropython.MicroPythonPort) -> None:
    micropython_port.read(0.05)
    micropython_port._send(b"\xff" * 3)  # half a message, then the end: not what its protocol allows
    assert micropython_port.process.stdin is not None
    micropython_port.process.stdin.close()
    with pytest.raises(LinkLost):
        micropython_port.read(0.5)


@needs_micropython
def test_closing_leaves_neither_process_nor_files(micropython_port: micropython.MicroPythonPort) -> None:
    folder = micropython_port._folder.name
    assert os.path.isdir(folder)
    micropython_port.close()
    assert not os.path.exists(folder)
    assert micropython_port.process.returncode is not None


def test_absent_interpreter_says_how_to_get_it(mocker: MockerFixture) -> None:
    mocker.patch.object(micropython.sys, "executable", "/nowhere/python")
    mocker.patch.object(micropython.shutil, "which", return_value=None)
    with pytest.raises(LinkError, match="not installed") as caught:
        open_port(SimSpec(engine="micropython"))
    assert "pip install" in caught.value.hint


def test_windows_is_told_that_there_is_no_interpreter(mocker: MockerFixture) -> None:
    mocker.patch.object(micropython, "os", SimpleNamespace(name="nt"))
    with pytest.raises(LinkError, match="none for Windows"):
        micropython.find_interpreter()
