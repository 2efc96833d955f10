"""The tick in a hard timer interrupt: no byte of heap, from power-up through a self-test, arming and a run.

The self-test comes once, with arming: as after a reset by the watchdog, none comes before.
"""

from __future__ import annotations

import ast

import pytest
from strokebench.bench.spec import SimSpec
from strokebench.link.conversion import limits_values
from strokebench.parts import load_part
from strokebench.sim.board.board import SimBoard
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.chip.world import ChipWorld
from strokebench.sim.engine.chip import quiet_machine
from strokefw import state
from strokefw.guard import guards as guard
from strokefw.tick import kernel as app_kernel

pytestmark = pytest.mark.chip
LIMITS = tuple(int(value) for value in limits_values(load_part("throttle-body").limits))

SETUP = f"""
import gc, time, micropython
gc.threshold(12000)
from strokefw.app import App
from strokefw.pico.board import Board
from strokefw.link.wire import Limits
b = Board()
micropython.kbd_intr(3)
a = App(b)
w, own = a.words, a.guard.own_words
w[{app_kernel.UNASKED}] = a.always = 1  # no self-test before it is asked for; a row in every tick
limits = Limits({LIMITS})
a.limits = limits
a.guard.set_limits(limits)
b.trip_level(limits.current_max_ma)
p = a.ramp
p.bounds(limits.drive_min, limits.drive_max, limits.slew_per_ms)
p.begin(4)
segments = (1, 2000, 40, 0, 0, 0), (4, 1500, 1, 5, 5, 2), (5, 0, 10, 0, 0, 0), (3, -1000, 30, 0, 0, 0)
for i, s in enumerate(segments):
    p.put(i, s + (0, 0, 0, 0, 0, 0))
def live(until, ticks):
    # what the main loop does for the tick, and nothing that takes heap
    end = w[{app_kernel.TICKS}] + ticks
    while w[{app_kernel.STATE}] != until and w[{app_kernel.TICKS}] < end:
        w[{app_kernel.ALIVE}] = 8
        own[{guard.SILENT}] = 0
        time.sleep_us(300)
    return w[{app_kernel.STATE}]
before = taken = off = armed = driving = again = ready = 0  # names take heap when they are new
gc.collect()
gc.disable()
"""
WHOLE = f"""
b.start(a.tick)
before = gc.mem_alloc()
off = live({state.READY}, 20)
w[{app_kernel.ASK}] = {state.ASK_ARM}
live({state.CHECK}, 5)
armed = live({state.ARMED}, 1500)
w[{app_kernel.ASK}] = {state.ASK_RUN}
driving = live({state.DRIVING}, 5)
again = live({state.ARMED}, 400)
w[{app_kernel.ASK}] = {state.ASK_DISARM}
ready = live({state.READY}, 5)
taken = gc.mem_alloc() - before
print((taken, w[{app_kernel.FAULT}], off, armed, driving, again, ready, w[{app_kernel.TICKS}],
    w[{app_kernel.OVERRUNS}]))
"""
GREEDY = """
def greedy():
    a.tick()
    return [w[0], w[1]]
b.start(greedy)
time.sleep_ms(20)
"""


def test_from_power_up_through_a_run() -> None:
    try:
        machine = quiet_machine()
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    ChipWorld(machine, SimBoard(SimSpec("throttle-body")))
    machine.execute(SETUP, 20)
    taken, fault, *states, ticks, overruns = ast.literal_eval(machine.execute(WHOLE, 30))
    assert fault == 0, f"fault {fault} after {ticks} ticks, {overruns} of them missed"
    assert states == [state.OFF, state.ARMED, state.DRIVING, state.ARMED, state.READY]
    assert ticks > 500 and overruns == 0
    assert taken == 0
    # and one that takes heap would be seen: the interrupt has the heap locked, and ends for ever
    assert "MemoryError" in machine.execute(GREEDY, 30)
