"""Which chip this is. The firmware is for the RP2040 alone; on another it touches nothing but the lamp.

SYSINFO is at the same address in RP2040 and RP2350, and so is CHIP_ID in it (pico-sdk, hardware/regs,
addressmap.h and sysinfo.h of both): bits 12 to 27 are the part, 2 for the RP2040 and 4 for the RP2350.
"""

import time

import machine
from machine import Pin
from micropython import const

from strokefw import faults
from strokefw.pico import pins

_CHIP_ID = const(0x40000000)
_RP2040 = const(2)
_SAY_MS = const(2000)


def part():
    """The part number in the chip's own register."""
    return machine.mem32[_CHIP_ID] >> 12 & 0xFFFF


def refuse_others():
    """Return on an RP2040. On another chip say so, again and again, on USB and by the lamp, until Ctrl-C."""
    found = part()
    if found == _RP2040:
        return
    lamps = Pin(pins.gpio("LED"), Pin.OUT, value=0), Pin(pins.BOARD_LED, Pin.OUT, value=0)
    ms = 0
    while True:
        if ms % _SAY_MS == 0:
            print(faults.row(faults.WRONG_CHIP)[4], "This one says that it is part %d." % found)
        for lamp in lamps:
            lamp(faults.lamp(faults.WRONG_CHIP, ms))
        time.sleep_ms(10)
        ms += 10
