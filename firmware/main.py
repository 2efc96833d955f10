# Started by MicroPython at power-up. Everything else is in the package strokefw.
from strokefw.board_pico_main import run

run()
