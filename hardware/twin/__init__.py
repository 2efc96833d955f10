"""The circuit twin: SPICE decks made from the netlists that KiCad exports: none can drift from its drawing.

Transistors, suppressors and amplifiers are generic models (hardware/spice/*.lib), no maker's. What a deck
leaves out stands on its first lines.
"""
