"""The external converter's reader (PIO) against a model of the chip, clock edge by clock edge.

Model: MCP3208, Microchip DS21298, figure 5-1: command bits at rising edges, null bit after clock 6's falling
edge, then twelve bits, most significant first, each valid from a falling edge on.
"""

from collections import deque
from itertools import pairwise

import pytest
from pioemu import State, emulate

from tests.firmware.pio_asm import programs

CS_N, CLK, DIN, DOUT = 17, 18, 19, 16
converter = programs().converter


class Model:
    """Fed with pin values, gives its output pin."""

    def __init__(self, codes: list[int]) -> None:
        self.codes, self.commands = codes, []
        self.clocks = self.command = self.word = self.out = 0
        self.last = 1 << CS_N

    def see(self, pins: int) -> int:
        rising, falling = pins & ~self.last & 1 << CLK, self.last & ~pins & 1 << CLK
        if pins & 1 << CS_N:
            self.clocks = self.command = 0
            self.out = 1  # high impedance, pulled up
        elif rising:
            self.clocks += 1
            if self.clocks <= 5:
                self.command = self.command << 1 | pins >> DIN & 1
            elif self.clocks == 6:
                self.commands.append(self.command)
                self.word = self.codes[self.command & 7]
        elif falling and self.clocks >= 6:
            bit = 18 - self.clocks
            self.out = self.word >> bit & 1 if 0 <= bit < 12 else 0
        self.last = pins
        return self.out << DOUT


@pytest.mark.parametrize("codes", [[0, 1, 2047, 2048, 4094, 4095, 1365, 2730]])
def test_reads_all_channels_in_50_cycles_each(codes: list[int]) -> None:
    model = Model(codes)
    words = [(0b11000 | channel) << 27 for channel in range(8)]
    times: list[int] = []
    results: list[int] = []

    def output(state: State) -> int:
        return model.see(state.pin_values) >> DOUT  # the emulator has no input base

    for _, state in emulate(
        converter.words,
        stop_when=lambda _, state: len(results) >= 8 or state.clock > 500,
        initial_state=State(
            transmit_fifo=deque(words), pin_values=1 << CS_N, pin_directions=1 << CS_N | 1 << CLK | 1 << DIN
        ),
        input_source=output,
        auto_push=True,
        push_threshold=14,
        shift_isr_right=False,
        shift_osr_right=False,
        out_base=DIN,
        out_count=1,
        side_set_base=CS_N,
        side_set_count=2,
    ):
        if state.receive_fifo:
            results.append(state.receive_fifo.popleft())
            times.append(state.clock)
    assert [result & 0xFFF for result in results] == codes
    assert all(result & 0x1000 == 0 for result in results)  # the null bit
    assert model.commands == [0b11000 | channel for channel in range(8)]
    assert {b - a for a, b in pairwise(times)} == {50}
