"""Register addresses of the RP2040, and bare reads and writes.

RP2040 datasheet, chapters 2.2 (addresses), 2.5 (DMA), 3.7 (PIO), 4.1 (USB), 4.5 (PWM), 4.7 (watchdog),
4.9 (converter).
"""

import machine
import micropython
from micropython import const

PWM = 0x40050000
PWM_ENABLE = PWM + 0xA0
ADC = 0x4004C000
IO_BANK0 = 0x40014000
WATCHDOG = 0x40058000
TIMER_RAW_LOW = 0x40054028
USB_FRAME = 0x50110048  # SOF_RD
DREQ_ADC = 36
DREQ_PWM_WRAP0 = 24
DMA_COUNT_MAX = 0xFFFFFFFF
PIN_SET = 0xD0000014
PIN_CLEAR = 0xD0000018
UART0_IRQ = 20

PRIORITIES = 0xE000E400  # of interrupts, a byte each, to be written as words; the SDK gives all 0x80
DMA = 0x50000000
PIN_IN = 0xD0000004
SCRATCH = WATCHDOG + 0x0C
PIO0 = 0x50200000
PIO_TXF0 = const(0x10)
PIO_TXF2 = const(0x18)
PIO_RXF0 = const(0x20)
PIO_RXF2 = const(0x28)
PIO_IRQ_FORCE = const(0x34)
PIO_INSTR0 = const(0xD8)
SET_BITS = const(0x2000)  # atomic bit-set and bit-clear aliases of a peripheral
CLEAR_BITS = const(0x3000)
FUNCTION_PWM = const(4)
_PAINT = const(0x2BADBEE5)
# places of registers in words from their block's first
DMA_WRITE = const(1)  # behind a channel's read address
DMA_COUNT = const(2)
DMA_CONTROL = const(4)  # the one that starts nothing
DMA_START = const(0x10C)  # of many channels at once
DMA_ABORT = const(0x111)
ADC_CONTROL = const(0)
ADC_FIFO_CONTROL = const(2)
ADC_FIFO = const(3)
ADC_DIVIDER = const(4)
PWM_COMPARE = const(3)
PWM_SLICE = const(0x14)  # bytes from one slice to the next: CSR, DIV, CTR, CC, TOP


def pad_control(gpio):
    """Address of a pin's control register: function select and output override."""
    return IO_BANK0 + 8 * gpio + 4


@micropython.viper
def poke(address: ptr32, value: int):
    """Write the 32-bit register at an address."""
    address[0] = value


@micropython.viper
def paint(bottom: ptr32, count: int):
    """Fill words of memory that nobody uses, to see later how many somebody has."""
    for i in range(count):
        bottom[i] = _PAINT


@micropython.viper
def painted(bottom: ptr32) -> int:
    """How many words from the bottom on still are as ``paint`` left them; at least one must not be."""
    i = 0
    while bottom[i] == _PAINT:
        i += 1
    return i


def peek(address):
    """The 32-bit register at an address (may allocate: not for the tick)."""
    return machine.mem32[address] & 0xFFFFFFFF
