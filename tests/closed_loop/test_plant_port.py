"""The classroom's way: firmware in another process behind a serial line, readings from the plant here.

The other process is the firmware's main loop on a board with nothing on it, in CPython and in the real
MicroPython, at the other end of a pseudo terminal. What a real Pico would add is its own link and clock.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pytest_mock import MockerFixture
from strokebench import lessons
from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.spec import SimSpec
from strokebench.book.book import Book
from strokebench.cli import main
from strokebench.errors import LinkError, LinkLost, ProtectionTripped, Refused, UsageError
from strokebench.image.files import firmware_sources, lean, write_files
from strokebench.sim import open_port
from strokebench.sim.engine import micropython, plant_port
from strokebench.sim.engine.plant_port import PlantPort
from strokefw import faults, state

from tests.helpers.engine_runs import run_stroke
from tests.helpers.strokes import stroke, throttle_limits

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo terminal")]
ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "tests" / "firmware" / "bare_pico.py"
USERS = {path.name: path.read_bytes() for path in (SCRIPT, SCRIPT.with_name("fake_board.py"))}
SPEC = SimSpec(engine="plant")

try:
    MICROPYTHON: str | None = micropython.find_interpreter()
except LinkError:
    MICROPYTHON = None

INTERPRETERS = [
    pytest.param([sys.executable], id="cpython"),
    pytest.param(
        [str(MICROPYTHON), "-X", "heapsize=16M"],
        id="micropython",
        marks=pytest.mark.skipif(MICROPYTHON is None, reason="no MicroPython interpreter installed"),
    ),
]


class Pico:
    """The other process; ``name`` is its serial port."""

    def __init__(self, interpreter: list[str], firmware: Path) -> None:
        import pty
        import tty

        master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.name = os.ttyname(self._slave)
        command = [*interpreter, str(SCRIPT), str(firmware), str(SCRIPT.parent)]
        self.process = subprocess.Popen(command, stdin=master, stdout=master, stderr=subprocess.PIPE)
        os.close(master)

    def end(self) -> str:
        """Ask for the REPL, which ends it, and return its last words."""
        os.write(self._slave, b"\0\r\x03")
        return self.process.communicate(timeout=20)[1].decode()

    def close(self) -> None:
        """Unplug."""
        self.process.kill()
        self.process.communicate()
        os.close(self._slave)


@pytest.fixture(scope="session")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the firmware as MicroPython gets it; CPython runs it as well."""
    folder = tmp_path_factory.mktemp("firmware")
    write_files(folder, lean({**firmware_sources(), **USERS}))
    return folder


@pytest.fixture(params=INTERPRETERS)
def pico(request: pytest.FixtureRequest, firmware: Path) -> Iterator[Pico]:
    with contextlib.closing(Pico(request.param, firmware)) as plugged:
        yield plugged


@pytest.fixture
def one_pico(firmware: Path) -> Iterator[Pico]:
    """What does not depend on the interpreter: MicroPython where it is installed."""
    with contextlib.closing(Pico(INTERPRETERS[MICROPYTHON is not None].values[0], firmware)) as plugged:
        yield plugged


def test_a_stroke_gives_the_bytes_of_the_simulation_again_and_again(pico: Pico) -> None:
    spec = replace(SPEC, port=pico.name)
    samples, bursts, heard = run_stroke(spec)
    expected, captures, bytes_expected = run_stroke(replace(SPEC, engine="inprocess"))
    assert len(samples) > 1000 and samples["current_a"].max() > 3
    assert heard == bytes_expected
    assert np.array_equal(samples, expected)
    assert len(captures) == 1 and np.array_equal(bursts[0].values, captures[0].values)
    # a second class on the same Pico, without a reset: the bench begins anew
    assert run_stroke(spec)[2] == bytes_expected
    assert pico.end().split()[-4:] == ["held", "1", "touched", "0"]


def test_the_laptop_says_which_bench_the_pico_is(one_pico: Pico) -> None:
    for kind, board, most_a in (
        ("small", "small bench", 6.0),
        ("beginner", "beginner bench", 5.0),
        ("reference", "simulated bench", 60.0),
    ):
        with open_bench(sim=replace(SPEC, port=one_pico.name, bench=kind)) as bench:
            assert (bench.identity.board, bench.identity.current_max_a) == (board, most_a)
    assert one_pico.end().split()[-4:] == ["held", "1", "touched", "0"]


def test_protection_works_and_nothing_is_touched(pico: Pico) -> None:
    spec = replace(SPEC, port=pico.name, bench_faults=("supply=7@1.0",))
    with open_bench(sim=spec) as bench:
        assert bench.identity.board == "simulated bench"
        bench.set_limits(throttle_limits())
        bench.arm()
        with pytest.raises(ProtectionTripped) as caught:
            list(bench.run(stroke()))
    assert faults.row(caught.value.code)[1] == "supply_low"
    assert pico.end().split()[-4:] == ["held", "1", "touched", "0"]


def test_who_does_not_feed_it_is_answered_but_not_driven(pico: Pico) -> None:
    with open_bench(pico.name) as bench:  # as it is before: a bare board
        assert bench.identity.board == "bare board"
    with open_bench(sim=replace(SPEC, port=pico.name)) as bench:
        bench.set_limits(throttle_limits())
        bench.arm()
    with open_bench(pico.name) as bench:
        assert bench.identity.board == "simulated bench"
        bench.set_limits(throttle_limits())
        assert bench.status().terminals_v == 0
        with pytest.raises(Refused):
            bench.arm()
    assert pico.end().split()[-4:] == ["held", "1", "touched", "0"]


def test_a_laptop_that_vanishes_leaves_a_pico_that_begins_anew(one_pico: Pico) -> None:
    spec = replace(SPEC, port=one_pico.name)
    bench = open_bench(sim=spec)
    bench.set_limits(throttle_limits())
    bench.arm()
    run = bench.run(stroke())
    next(iter(run))
    bench.link.port.close()  # no stop, no disarm
    with contextlib.suppress(LinkError):
        bench.close()
    with open_bench(sim=spec) as again:
        assert again.status().state == "check"  # from power-up on
        again.set_limits(throttle_limits())
        again.arm()
    assert one_pico.end().split()[-4:] == ["held", "1", "touched", "0"]


def test_the_command_marks_screen_recording_and_report(
    one_pico: Pico, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    book, report = tmp_path / "class.book", tmp_path / "class.html"
    whole = ["run", "wiring", "--port", one_pico.name, "--plant"]
    assert main([*whole, "--book", str(book), "--report", str(report)]) == 0
    told = capfd.readouterr()
    assert "PASS" in told.out and "(simulated)" in told.out and "SIMULATED" in told.err
    assert "no real part was driven" in report.read_text("utf-8")
    with Book(book) as kept:
        info = kept.load(1).info
        assert info["engine"] == "plant" and info["identity"]["board"] == "simulated bench"


def test_an_interruption_in_the_middle_of_a_turn_still_stops(one_pico: Pico, mocker: MockerFixture) -> None:
    port = PlantPort(replace(SPEC, port=one_pico.name))
    with Bench(port, "test", "plant") as bench:
        bench.set_limits(throttle_limits())
        bench.arm()
        run = bench.run(stroke())
        next(iter(run))
        assert bench.status().state == "driving"
        wait = mocker.patch.object(port, "_await_outputs")

        def interrupted() -> None:
            mocker.stop(wait)
            raise KeyboardInterrupt

        wait.side_effect = interrupted
        with pytest.raises(KeyboardInterrupt):
            list(run)
        assert bench.status().state == "ready"  # closing the run stopped and disarmed it
        assert (port.board.bridge.gate, port.board.bridge.rail) == (0, 0)


def test_a_pico_that_hangs_is_told_once(one_pico: Pico, mocker: MockerFixture) -> None:
    mocker.patch.object(plant_port, "HANGS_S", 0.3)
    spec = replace(SPEC, port=one_pico.name)
    with pytest.raises(LinkLost, match="did not end a tick"), open_bench(sim=spec) as bench:
        one_pico.process.send_signal(signal.SIGSTOP)
        began_s = time.monotonic()
        bench.status()
    assert time.monotonic() - began_s < 3


def test_a_lesson_on_the_pico_gives_the_same_numbers(one_pico: Pico) -> None:
    assert lessons.run(1, one_pico.name).values == lessons.numbers(1)
    assert one_pico.end().split()[-4:] == ["held", "1", "touched", "0"]
    with pytest.raises(UsageError, match="needs no Pico"):
        lessons.run(2, one_pico.name)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["run", "solenoid", "--port", "nowhere", "--plant"], "There is no port nowhere"),
        (["run", "solenoid", "--plant", "--port", "x", "--engine", "micropython"], "runs on the Pico"),
        (["run", "solenoid", "--plant", "--port", "x", "--memory", "d"], "--memory does not go"),
        (["lesson", "1", "--run", "--port", "x"], "never drives a real part"),
    ],
)
def test_wrong_words_are_told_plainly(
    words: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert main(words) != 0
    assert message in capsys.readouterr().err


def test_only_a_real_pico_can(tmp_path: Path) -> None:
    with pytest.raises(LinkError, match="cannot take readings"):
        PlantPort(SPEC, open_port(SimSpec()))
    with pytest.raises(UsageError, match="--memory"):
        PlantPort(replace(SPEC, memory=str(tmp_path)), open_port(SimSpec()))
    with pytest.raises(UsageError, match="needs a Pico"):
        PlantPort(SPEC)


def test_an_armed_bench_refuses_it() -> None:
    from tools.evidence.rig import Rig

    rig = Rig(SimSpec())
    rig.board.hold = lambda: None  # type: ignore[attr-defined]
    rig.arm(throttle_limits())
    assert rig.app.state == state.ARMED and rig.result("plant", 2) == faults.NOT_NOW
    assert not rig.app.link.plant
    assert rig.result("disarm") == 0 and rig.result("plant", 3) == faults.OUT_OF_RANGE
    assert rig.result("plant", 2) == 0 and rig.app.link.plant_due()
