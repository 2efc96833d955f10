"""Closed-form physics shared by diagnosis, simulation, lessons and the hardware calculations.

Pure functions on floats in SI units (degrees Celsius for temperatures), one module per subject, each formula
with its source. Nothing here reads a recording or talks to a bench; invalid arguments raise ValueError.
"""
