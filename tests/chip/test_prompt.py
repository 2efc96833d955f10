"""The USB line carries any byte, and yet there is a way to the prompt and back; the gates stay low on it."""

from __future__ import annotations

import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.parts import load_part
from strokebench.sim.chip.machine import ChipUnavailable
from strokebench.sim.chip.world import GATES, ChipWorld, PinClock
from strokebench.sim.engine import chip
from strokebench.sim.engine.chip import ChipPort

pytestmark = [pytest.mark.chip, pytest.mark.long]
EVERY_CONTROL_BYTE = b"\x03\x04\x01\x02\x03\x03\x04\x04\0"
LIVE = (*GATES, "BRIDGE_ENABLE", "MAIN_SWITCH", "PRECHARGE")
WISH = b"\r\x03"


class Watch:
    """Notes every rising edge of gates, enable and rails."""

    def __init__(self, world: ChipWorld) -> None:
        self.rose: list[str] = []
        self._clocks = [PinClock(world.machine, net) for net in LIVE]
        for clock in self._clocks:
            clock.changed = lambda high, _ns, net=clock.net: self.rose.append(net) if high else None  # type: ignore

    def quiet(self) -> bool:
        """Nothing is high and nothing was since the last look."""
        rose, self.rose = self.rose, []
        return not rose and not any(clock.high for clock in self._clocks)


@pytest.fixture
def port() -> ChipPort:
    try:
        return ChipPort(SimSpec("throttle-body"), chip.find_image())
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")


def _until_self_test(port: ChipPort) -> None:
    """From power-up or reset to the first thing that is switched: the self-test's precharge."""
    fed_ns = port.world.fed_ns
    assert port.machine.run(4, lambda: port.world.fed_ns > fed_ns)
    assert port.machine.run(1, lambda: port.world.clocks["PRECHARGE"].high)


def _self_test(port: ChipPort) -> None:
    bridge = port.world.board.bridge
    for rail in (1, 0):
        assert port.machine.run(2, lambda rail=rail: bridge.rail == rail)  # type: ignore[misc]


def test_any_byte_is_data_and_the_prompt_is_reached_and_left_with_the_gates_low(port: ChipPort) -> None:
    """Two starts, two self-tests, armed once. About 115 CPU s."""
    machine, usb = port.machine, port.machine.usb
    machine.run(0.3)
    usb.send(EVERY_CONTROL_BYTE)  # while the modules load
    _until_self_test(port)
    _self_test(port)

    bench = Bench(port, "emulated chip", "chip")
    before = bench.link.request("status", answer="status_report").fields
    usb.send(EVERY_CONTROL_BYTE)
    for _ in range(2):  # of these requests, too, one has the number 3 and one 4
        after = bench.link.request("status", answer="status_report").fields
    assert bench.link._seq >= 4
    assert 0 < after["tick"] - before["tick"] < 1000  # neither interrupted nor reset
    assert after["bad_frames"] == before["bad_frames"] + 1
    assert bench.status().state == "ready" and usb.connections == 1

    bench.set_limits(load_part("throttle-body").limits)
    bench.arm()
    usb.send(WISH)
    machine.run(0.05)
    usb.send(b"\0")  # ends the half frame that the return has begun
    assert bench.status().state == "armed"  # the wish is forgotten
    bench.stop_quietly()
    assert bench.status().state == "ready"

    watch = Watch(port.world)
    usb.send(b"\r\x01" + WISH)  # not where a frame would begin
    machine.run(0.05)
    assert b">>>" not in usb.inbox
    machine.run(0.3)
    usb.send(WISH)
    assert machine.run(1, lambda: usb.inbox.endswith(b">>> "))
    assert machine.execute("print(6 * 7)") == "42\n"
    machine.run(0.05)
    assert watch.quiet()

    usb.send(b"\x02\x04")  # from the raw to the friendly prompt, then Ctrl-D
    assert machine.run(1, lambda: b"soft reboot" in usb.inbox)
    _until_self_test(port)
    assert watch.rose[0] == "PRECHARGE"  # nothing before the self-test, which begins by that
    _self_test(port)
    usb.take()
    again = Bench(port, "emulated chip", "chip")
    assert again.status().state == "ready" and again.status().fault == 0
    watch.rose.clear()  # the self-test's own pulses
    machine.run(0.02)
    assert watch.quiet()
    port.close()
