"""Starts the bench on a Pico: what main.py calls.

The way back to the REPL: the two bytes that mpremote and most terminals send first (carriage return,
Ctrl-C), at a place where a frame would begin or after a pause. No frame of ours begins with them. It is
obeyed while the bench is not armed, with the bridge off first. People read docs/explanation/on-the-chip.md.
"""

import gc

import machine
import micropython

# SYSINFO is at the same address in RP2040 and RP2350, and so is CHIP_ID in it (pico-sdk, hardware/regs,
# addressmap.h and sysinfo.h of both): bits 12 to 27 are the part, 2 for the RP2040 and 4 for the RP2350.
_PART = machine.mem32[0x40000000] >> 12 & 0xFFFF
if _PART != 2:
    from strokefw.pico.chip import refuse

    refuse(_PART)
micropython.kbd_intr(-1)  # a laptop that greets while the modules load must not interrupt that by a byte 3
# Collected often while the modules load, so that what stays lies close together and bursts find room.
gc.threshold(12000)

from strokefw.app import App  # noqa: E402
from strokefw.pico.board import Board  # noqa: E402


def run():
    """Run the bench until somebody asks for the REPL; everything is off on return, whatever the reason."""
    micropython.alloc_emergency_exception_buf(100)
    board = Board()
    try:
        app = App(board)
        gc.collect()
        gc.threshold(-1)
        board.start(app.tick)
        service = app.service
        while not board.repl_wanted(not app.armed()):
            service()
            if app.link.plant_due():
                kind = app.link.plant_kind
                board.hold()
                del app, service  # room for another
                from strokefw.plant_board import run as run_plant  # loaded only here: memory

                run_plant(board, kind)
                return
    finally:
        board.close()
