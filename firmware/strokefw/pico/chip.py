"""On another chip than the RP2040 the firmware touches nothing but the lamp. Loaded only there."""

import time

from machine import Pin
from micropython import const

from strokefw import faults
from strokefw.pico import pins

_SAY_MS = const(2000)
SENTENCE = "strokebench does not start: its firmware is for the RP2040, and this chip says it is part %d."


def refuse(found):
    """Say so, again and again, on USB and by the lamp, until Ctrl-C. ``found`` is the part."""
    lamps = Pin(pins.gpio("LED"), Pin.OUT, value=0), Pin(pins.BOARD_LED, Pin.OUT, value=0)
    ms = 0
    while True:
        if ms % _SAY_MS == 0:
            print(SENTENCE % found)
        for lamp in lamps:
            lamp(faults.lamp(faults.WRONG_CHIP, ms))
        time.sleep_ms(10)
        ms += 10
