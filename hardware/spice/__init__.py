"""Circuit decks for ngspice and a runner that treats a missing measurement as a failure.

Each .cir file can also be run by hand (`ngspice -b bridge.cir` in this folder). Transistors are generic
models with parameters from data-sheet figures, no maker's model: trust trends and orders of magnitude.
"""
