# Started by MicroPython at power-up. Everything else is in the package strokefw.
from strokefw.pico.main import run

run()
