"""The bursts' packer (PIO) in rp2040-pio-emulator: twelve bits a reading, nothing lost, time enough."""

from collections import deque

from pioemu import State, emulate

from tests.firmware.pio_asm import programs

READING_CYCLES = 250  # of 125 MHz, at 500 kS/s
packer = programs().packer


def test_packs_eight_readings_into_three_words() -> None:
    codes = [0x001, 0x800, 0xFFF, 0x123, 0, 0xABC, 0x7FF, 0xFFE, 0x555, 0xAAA, 1, 2, 3, 4, 5, 4095]
    words: list[int] = []
    for _, state in emulate(
        packer.words,
        stop_when=lambda _, state: len(words) == 6 or state.clock > 16 * READING_CYCLES,
        initial_state=State(transmit_fifo=deque(code | 0x8000 for code in codes)),  # bit 15: error, not kept
        auto_push=True,
        push_threshold=32,
        shift_isr_right=True,
        shift_osr_right=True,
    ):
        if state.receive_fifo:
            words.append(state.receive_fifo.popleft())
    stream = sum(word << 32 * i for i, word in enumerate(words))
    assert [stream >> 12 * i & 0xFFF for i in range(16)] == codes
    assert state.clock <= len(codes) * READING_CYCLES / 10
