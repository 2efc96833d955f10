"""The beginner's bench: a circuit on stripboard around two half-bridge modules, described once in parts.py.

Everything else here is made from that: KiCad drawing, stripboard, wiring picture, bill and decks.
"""
