"""The bridge's gate keeper (PIO) in rp2040-pio-emulator: how fast, for how long, how often it cuts.

That emulator has no PIO interrupt flags and no input base. The two instructions that wait for the PWM's wrap
are replaced by waits for a rising edge on a pin that pulses at the wrap, and "input pin 0" by TRIP_N's
number; everything else is the program as it is. tests/chip runs it unchanged.
"""

from collections import deque
from collections.abc import Callable, Iterator

import pytest
from pioemu import State, emulate

from tests.firmware.pio_asm import programs

TRIP_N = 7
WRAP = 25
PERIOD = 6250  # cycles of 125 MHz: 20 kHz
ENABLE = 1 << 6
REPLACED = {
    0xC044: 0x2000 | WRAP,  # irq(clear, 4): wait for the wrap pin low
    0x20C4: 0x2080 | WRAP,  # wait(1, irq, 4): and high
    0x2020: 0x2000 | TRIP_N,  # wait(0, pin, 0)
}
LATENCY_CYCLES = 8  # 64 ns, the promise
SYNCHRONIZER_CYCLES = 2  # input flip-flops of the chip (RP2040 datasheet 3.5.6.3); not in this emulator

keeper = programs().keeper


def cycles(trip: Callable[[int], bool], allowance: int, stop: int) -> Iterator[tuple[int, bool, int]]:
    """(clock, bridge enabled, cuts pushed) after each instruction; `trip(clock)` is the comparator."""
    assert set(REPLACED) <= set(keeper.words)
    words = [REPLACED.get(word, word) for word in keeper.words]

    def pins(state: State) -> int:
        return (state.clock % PERIOD < 100) << WRAP | (not trip(state.clock)) << TRIP_N

    for _, state in emulate(
        words,
        stop_when=lambda _, state: state.clock > stop,
        initial_state=State(transmit_fifo=deque([allowance]), pin_directions=ENABLE),
        input_source=pins,
        set_base=6,
        set_count=1,
        jmp_pin=TRIP_N,
    ):
        yield state.clock, bool(state.pin_values & ENABLE), len(state.receive_fifo)


@pytest.mark.parametrize("phase", [120, 500, 3124, 3125, 3126, 6000, 6200])
def test_cuts_within_64_ns_and_until_the_period_ends(phase: int) -> None:
    edge = 2 * PERIOD + phase
    off_at = on_again = None
    was_on = False
    for clock, on, _ in cycles(lambda t: edge <= t < edge + 30, 31, 4 * PERIOD):
        if clock < edge:
            was_on = on
        elif not on and off_at is None:
            off_at = clock
        elif on and off_at is not None and on_again is None:
            on_again = clock
    assert was_on
    assert off_at is not None and off_at - edge + SYNCHRONIZER_CYCLES <= LATENCY_CYCLES
    assert on_again is not None and 0 <= on_again - 3 * PERIOD < 10


def test_a_comparator_that_stays_low_keeps_the_bridge_off_from_the_wrap_on() -> None:
    seen = [
        on
        for clock, on, _ in cycles(lambda t: t >= 2 * PERIOD + 10, 31, 6 * PERIOD)
        if clock > 2 * PERIOD + 30
    ]
    assert not any(seen)


def test_every_cut_is_counted_once() -> None:
    def trip(clock: int) -> bool:
        return 1000 <= clock % PERIOD < 1100 and clock // PERIOD in (2, 3)

    assert max(count for _, _, count in cycles(trip, 31, 6 * PERIOD)) == 2


def test_latches_when_the_allowance_is_used_up_and_only_a_word_releases_it() -> None:
    def trip(clock: int) -> bool:
        return clock >= PERIOD and clock % PERIOD >= 2000

    enabled = {clock // PERIOD for clock, on, _ in cycles(trip, 2, 9 * PERIOD) if on}
    assert enabled & set(range(4, 9)) == set()  # two more than the allowance's zero: three cuts, then off
    assert {1, 2, 3} <= enabled


def test_off_until_the_first_word() -> None:
    words = keeper.words
    for _, state in emulate(
        words,
        stop_when=lambda _, state: state.clock > 3 * PERIOD,
        initial_state=State(pin_directions=ENABLE),
        set_base=6,
        set_count=1,
        jmp_pin=TRIP_N,
    ):
        assert not state.pin_values & ENABLE
        if state.program_counter == 0 and state.clock > 100:
            break
