"""The compiled twin of a bench says the same bytes as the plain one, and leaves the same numbers behind."""

from __future__ import annotations

import math
import random
from array import array
from typing import Any

import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.errors import StrokebenchError
from strokebench.parts import load_part
from strokebench.parts.procedure import Procedure
from strokebench.sim import fast
from strokebench.sim.board.board import SimBoard
from strokebench.sim.engine import inprocess
from strokebench.sim.engine.inprocess import InProcessPort
from strokebench.sim.plants import PARTS
from strokefw.app import App
from tools.evidence.fingerprint import DEFECTS

from tests.closed_loop.test_protection_stateful import SPEC
from tests.helpers.replay import board_for, perform, play

pytest.importorskip("llvmlite", reason="the extra `fast` is not installed")
from strokebench.sim.fast.flatten import Flattener
from strokebench.sim.fast.load import function
from strokebench.sim.fast.memory import TRAP, Memory
from strokebench.sim.fast.twin import Twin

pytestmark = pytest.mark.extras

SECONDS = 1.2
"""Of each part's procedure: its first rows, movements and events, then the way to a stop."""


def bench_numbers(port: InProcessPort) -> dict[str, Any]:
    """Return every number that board, bridge, plant and firmware are left with."""
    board, app = port.board, port.app
    found: dict[str, Any] = {
        "words": bytes(app.words),
        "ramp": bytes(app.ramp.words),
        "counts": bytes(app.counts),
    }
    for thing in (board, board.bridge, board.plant, app, app.guard):
        for name, value in vars(thing).items():
            if isinstance(value, (bool, int, float)) or name == "_nodes":
                found[f"{type(thing).__name__}.{name}"] = list(value) if name == "_nodes" else value
            elif isinstance(value, array):
                found[f"{type(thing).__name__}.{name}"] = bytes(value)
    return {name: "nan" if value != value else value for name, value in found.items()}


def live(
    spec: SimSpec, compiled: bool, seconds: float = SECONDS, procedure: Procedure | None = None
) -> tuple[bytes, dict[str, Any], InProcessPort]:
    """Stroke a part for a while; return what the bench said, the numbers left behind, and the port."""
    port, said, profile = InProcessPort(spec), bytearray(), load_part(spec.part)
    port._plain_ticks = 0 if compiled else 10**9
    read = port.read

    def heard(timeout_s: float) -> bytes:
        data = read(timeout_s)
        said.extend(data)
        return data

    port.read = heard  # type: ignore[method-assign]
    try:
        with Bench(port, spec.part, spec.engine) as bench:
            bench.set_limits(profile.limits)
            bench.arm()
            began_s = port.now()
            for _rows in bench.run(procedure or profile.procedure):
                if port.now() - began_s > seconds:
                    break
    except StrokebenchError as error:
        said += str(error).encode()
    assert (port._twin is not None) == compiled
    return bytes(said), bench_numbers(port), port


def assert_same(spec: SimSpec, seconds: float = SECONDS) -> None:
    plain, numbers, port = live(spec, compiled=False, seconds=seconds)
    said, found, twin_port = live(spec, compiled=True, seconds=seconds)
    assert said == plain
    assert found == numbers
    assert twin_port.board.tick == port.board.tick > 300


@pytest.mark.parametrize("part", sorted(DEFECTS))
def test_a_good_part_says_the_same_bytes(part: str) -> None:
    assert_same(SimSpec(part, seed=3))


IN_EACH_RUN = ("egr-motor", "fuel-pump", "solenoid")


@pytest.mark.parametrize(
    "part",
    [part if part in IN_EACH_RUN else pytest.param(part, marks=pytest.mark.long) for part in sorted(DEFECTS)],
)
def test_a_defective_part_says_the_same_bytes(part: str) -> None:
    assert_same(SimSpec(part, seed=11, faults=DEFECTS[part][-1:], supply_v=11.7, ambient_c=31.0))


def test_a_run_with_a_burst_says_the_same_bytes() -> None:
    assert_same(SimSpec("idle-actuator", seed=8), seconds=3.6)


def test_a_bench_as_built_says_the_same_bytes() -> None:
    assert_same(SimSpec("egr-motor", seed=12, as_built=True))


@pytest.mark.parametrize(("trouble", "bench"), [("", "small"), ("estop@0.9", "beginner")])
def test_another_bench_says_the_same_bytes(trouble: str, bench: str) -> None:
    assert_same(SimSpec("solenoid", seed=4, bench=bench, bench_faults=(trouble,) if trouble else ()))


def test_captures_one_after_the_other_are_followed_without_compiling_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made: list[Twin] = []
    make = Twin._make

    def counted(twin: Twin) -> None:
        made.append(twin)
        make(twin)

    monkeypatch.setattr(Twin, "_make", counted)
    burst = {"kind": "burst", "channel": "current_coarse", "rate_hz": 50_000, "count": 1000}
    pause = {"kind": "pause", "for_s": 0.2}
    procedure = Procedure.model_validate({"segments": [pause, burst, pause, burst, pause, burst, pause]})
    spec = SimSpec("fuel-pump", seed=8)
    plain, numbers, _port = live(spec, compiled=False, procedure=procedure)
    said, found, _twin_port = live(spec, compiled=True, procedure=procedure)
    assert said == plain and found == numbers
    assert len(made) == 2  # before there was a capture, and with one


def test_a_run_to_its_end_says_the_same_bytes() -> None:
    assert_same(SimSpec("wiring", seed=9), seconds=60.0)


@pytest.mark.parametrize(
    "trouble",
    [
        "supply=9.1@0.9+0.3", "estop@0.9+0.1", "heatsink=84@0.8", "mosfet_short_bl@0.9", "supply=17.5@0.9",
        "mosfet_open_ah@0.7", "leads_off@0.8+0.1", "leads_shorted@0.9+0.2", "feed=4.2@0.8", "main_open@0.9",
        "fine_zero=2@0.8+0.2", "link_silent@0.8", "heatsink_ntc_open@0.7+0.1", "comparator_dead@0.9",
    ],
)  # fmt: skip
def test_troubles_of_the_bench_say_the_same_bytes(trouble: str) -> None:
    assert_same(SimSpec("throttle-body", seed=5, bench_faults=(trouble,)))


@pytest.mark.parametrize("seed", [1, 2])
def test_random_lives_with_noise_and_resets_say_the_same_bytes(seed: int) -> None:
    ticks = 0
    for life in perform(seed, 10):
        port = InProcessPort(SPEC, board_for(life, SPEC))
        port._plain_ticks = 0
        said, outputs = play(life, port, port.board)
        assert said == bytes(life.said)
        assert outputs == life.outputs
        ticks += len(outputs)
    assert ticks > 2000


def test_every_part_compiles() -> None:
    for part in PARTS:
        board = SimBoard(SimSpec(part))
        assert fast.twin_of(board, App(board)) is not None, part


def test_a_plant_that_breaks_the_rules_runs_in_plain_python() -> None:
    spec = SimSpec("wiring", seed=2)
    board = SimBoard(spec)
    seen: list[float] = []
    advance = board.plant.advance

    def spied(drive: float, gate: bool, rail: int, dt_s: float = 1e-3) -> None:
        advance(drive, gate, rail, dt_s)
        seen.append(board.plant.current_a)

    board.plant.advance = spied  # type: ignore[method-assign]
    port = InProcessPort(spec, board)
    port._plain_ticks = 0
    port.read(0.05)
    port.board.to_host.clear()
    port.read(0.05)
    assert port._twin is None and len(seen) == board.tick >= 50


def test_what_is_put_on_an_object_between_two_reads_counts() -> None:
    ports = [InProcessPort(SimSpec("throttle-body", seed=4)) for _ in range(2)]
    for port, patience in zip(ports, (0, 10**9), strict=True):
        port._plain_ticks = patience
        for _ in range(30):
            port.read(0.02)
        plant: Any = port.board.plant
        plant.angle_rad, plant.winding_c, port.app.words[0] = 0.9, 95.5, 123456
        port.app.counts[3] = 17
        for _ in range(20):
            port.read(0.02)
    assert bench_numbers(ports[0]) == bench_numbers(ports[1])
    assert ports[0]._twin is not None


def test_a_bench_that_is_hardly_used_is_not_compiled(monkeypatch: pytest.MonkeyPatch) -> None:
    port = InProcessPort(SimSpec("wiring"))
    port.read(0.02)
    assert port._twin is None and port._plain_ticks > 0
    monkeypatch.setenv(fast.SWITCH, "0")
    port = InProcessPort(SimSpec("wiring"))
    for _ in range(inprocess.PATIENCE_TICKS):
        port.read(0.02)
    assert port._twin is None


# -- the compiler by itself ----------------------------------------------------------------------------------


class Sums:
    """One of each operation, for numbers of both kinds."""

    def __init__(self) -> None:
        self.a, self.b, self.x, self.y = 1, 1, 1.0, 1.0
        self.whole, self.rest, self.bits, self.ends, self.part, self.wave = 0, 0, 0, 0.0, 0.0, 0.0
        self.table = [0.25 * n * n for n in range(64)]
        self.cells = [(n, n * 0.5, -1.0 * n) for n in range(16)]
        self.kept: list[float] = []
        self.true = False

    def go(self) -> None:
        a, b, x, y = self.a, self.b, self.x, self.y
        self.whole = a // b + a // 7 - a // -3
        self.rest = a % b + a % 5 - a % -4
        self.bits = (a << 3) + (a >> 2) + (a & b) + (a | b) + (a ^ b) + int(x) - int(-y) + abs(a) + ~b
        self.part = x % y + x % 0.7 + y % -1.3
        self.ends = max(x, y) - min(x, y, 0.5) + max(a, b) + abs(x) * (1 if x > 0 else -1)
        self.wave = (
            math.exp(-abs(x)) + math.sin(y) + math.cos(x) + math.tanh(y) + math.sqrt(abs(x)) + math.atan(y)
        )
        self.wave += math.log(abs(x) + 1e-9) + math.tan(x) + a / b
        low, half, down = self.cells[a % 16]
        nodes = [low + half]
        for place in range(a % 5):
            nodes.append(self.table[(place + b) % 64] - down)
            if place == 3:
                continue
        for node in range(len(nodes)):
            nodes[node] += y
        self.kept = nodes
        self.ends += max(nodes) - min(nodes)
        self.true = ((x < y or a == b) and not (0 <= a < 5 and b in (1, 2, 3))) or x != x
        while self.whole > 50:
            self.whole -= 17
            if self.whole == 30:
                break


def compiled_sums() -> tuple[Sums, Memory, list[Any]]:
    """Return sums, their memory, and their ``go`` as compiled with little and with much effort."""
    sums, memory = Sums(), Memory()
    flat = Flattener(memory)
    name = flat.add(sums.go)
    text = f"{flat.module()}\ndef start(_i, _f):\n    {name}(_i, _f)\n    return 1\n"
    memory.ready()
    return sums, memory, [function(text, "start", "", effort) for effort in (0, 2)]


def test_operations_give_what_python_gives() -> None:
    plain, dice = Sums(), random.Random(5)
    compiled, memory, starts = compiled_sums()
    seen = set()
    for turn in range(3000):
        a, b = dice.randint(-900, 900), dice.choice((-9, -3, 1, 2, 8, 77))
        x, y = dice.uniform(-40, 40), dice.choice((0.0, dice.uniform(-3, 3))) or 2.5
        if turn % 50 == 0:
            x = dice.choice((-0.0, 0.0, y, -y))
        for sums in (plain, compiled):
            sums.a, sums.b, sums.x, sums.y = a, b, x, y
        plain.go()
        memory.take()
        starts[turn % 2](memory.ints.ctypes.data, memory.floats.ctypes.data)
        memory.give()
        assert memory.ints[TRAP] == 0
        assert repr(vars(compiled)) == repr(vars(plain)), (a, b, x, y)
        seen.add((plain.true, len(plain.kept)))
    assert len(seen) == 10


@pytest.mark.parametrize("effort", [0, 1])
def test_a_division_by_zero_sets_the_trap(effort: int) -> None:
    sums, memory, starts = compiled_sums()
    sums.b = 0
    memory.take()
    starts[effort](memory.ints.ctypes.data, memory.floats.ctypes.data)
    assert memory.ints[TRAP] != 0


def test_a_trap_ends_the_simulation() -> None:
    board = SimBoard(SimSpec("wiring", seed=2))
    twin = fast.twin_of(board, App(board))
    assert twin is not None and twin.run(1) == 1
    twin._block = lambda ints, floats, *rest: twin._memory.ints.__setitem__(TRAP, 7) or 1
    with pytest.raises(ArithmeticError, match="trap 7"):
        twin.run(1)
