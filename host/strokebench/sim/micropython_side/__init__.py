"""What runs inside the MicroPython subprocess, beside the firmware; plain files, started by
sim/engine/micropython.py.
"""
