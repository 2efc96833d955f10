"""What became of each weakness that the twin, or somebody with the drawing, found in the first revision."""

from __future__ import annotations

BECAME = """
"Cured" means: cured in the drawing and in simulation. "Limit" means that the weakness, or a part of it,
remains. Limits are listed in [safety](safety.md#known-gaps) too. Tests are in tests/hardware, unless another
folder is named.
"""
TWIN, SUPPLY, RULES = "test_twin.py", "test_twin_supply.py", "test_kicad_rules.py"
SECOND = "test_revision_2.py"
OUTCOMES = (
    ("no part runs on the small bench", "cured", "tests/closed_loop/test_small_bench.py"),
    (
        "nothing watches the bridge's legs",
        "cured: shunt and hard latch (reference bench)",
        f"{TWIN}, {RULES}",
    ),
    ("heatsink without the main switch's MOSFETs", "cured: 1.8 K/W, or 31 A", "test_calc_losses.py"),
    ("snubbers behind the shunts", "cured: at the legs", TWIN),
    (
        "fast limit scaled by the Pico's 3.3 V",
        "cured: by the comparators' own supply",
        f"{TWIN}, {RULES}",
    ),
    (
        "no self-test of the fast limit",
        "cured; **limit**: one dead comparator, where the part takes little current",
        "tests/closed_loop/test_toleranced_boards.py",
    ),
    ("the simulated fast limit is exact", "cured for a bench as built", SUPPLY),
    ("build step 8 cannot work", "cured; so are steps 4 and 5", f"{TWIN}, {SUPPLY}"),
    (
        "a load dump breaks the input",
        "**limit**: never with an alternator running",
        f"{TWIN}, {SECOND}",
    ),
    ("the small bench's main switch gets half the supply", "cured", TWIN),
    ("two nets called VBUS", "cured: BRIDGE_V", SECOND),
    ("one chafed wire defeats the stop loop", "cured for ground; **limit**: both wires joined", RULES),
    ("sensor ground without a fuse", "cured: F501", SECOND),
    ("no analog 3.3 V reads as no trip", "cured; **limit** while it falls", f"{RULES}, {SUPPLY}"),
    ("1k5 in 0805 carries 150 mW", "cured: 1206", SECOND),
    ("a 50 A fuse does not protect 20 AWG", "**limit**", SECOND),
    ("decks copied by hand", "cured: made from the netlists", TWIN),
)
