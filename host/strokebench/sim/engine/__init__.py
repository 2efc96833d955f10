"""Ways to run the firmware on a simulated part: in process, under MicroPython, on the emulated chip."""
