"""The circuit twin: SPICE decks made from the netlists that KiCad exports, so that a deck cannot drift from the drawing.

Transistors, suppressors and amplifiers are generic models (hardware/spice/*.lib), no maker's. What a deck
leaves out stands on its first lines.
"""
