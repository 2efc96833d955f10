"""Design calculations of the reference bench: formula and source beside each number.

`python -m hardware.calc` rewrites hardware/calc/RESULTS.md. Source marks in the tables: "data sheet" is a
typical or limit figure of the named component class, "from memory" wants a look there before ordering.
"""
