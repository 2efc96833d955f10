"""The reference bench's board: what is where (`parts`), and its copper (`power`)."""

from __future__ import annotations

from hardware.boards.layout import Layout
from hardware.boards.reference import parts, power
from hardware.boards.reference.currents import CURRENTS

TEXTS = (
    ("strokebench reference bench, 40 A, rev 2", 30, 100, 1.4),
    ("Fuse the battery lead. USB is not isolated.", 30, 104, 1.2),
    ("Copper: 2 oz outside, 1 oz inside", 30, 108, 1.2),
    ("+ VIN", 10, 4.6, 1.2),
    ("- VIN", 10, 56.5, 1.2),
    ("OUT A", 221.5, 58.6, 1.2),
    ("OUT B", 221.5, 15.8, 1.2),
)

BOARD = Layout(
    folder="kicad",
    name="strokebench",
    title="strokebench: reference bench, 12 V, 40 A",
    width=power.WIDTH,
    height=power.HEIGHT,
    fixed=parts.FIXED,
    near=parts.NEAR,
    areas=power.AREAS,
    copper_um=(70, 35, 35, 70),
    currents=CURRENTS,
    wires=power.WIRES,
    holes=((4.5, 4.5), (225.5, 4.5), (4.5, 135.5), (225.5, 135.5), (4.5, 75), (80, 135.5)),
    planes={"GND": "1", "+3V3": "2", "+3.3VA": "2"},
    widths={
        "+5V": 0.5,
        "VSYS": 0.5,
        "VPROT": 0.5,
        "FEED_5V": 0.5,
        "GATE_12V": 0.5,
        "AH_12V": 0.5,
        "BH_12V": 0.5,
        "MAIN_12V": 0.5,
        "LEG_A_SW": 0.5,
        "LEG_B_SW": 0.5,
        "Net-(U103-Vin)": 0.5,
        "Net-(Q103-D)": 0.5,
    },
    stitches=power.STITCHES,
    texts=TEXTS,
    solid=frozenset({
        "J101", "J102", "J103", "J301", "J302", "F101", "R301", "R302", "R309", "D104", "Q101", "Q102",
        "Q105", "Q301", "Q302", "Q303", "Q304", "C303", "C304", "C305", "C306", "C307", "C308",
    }),
    avoid=power.AVOID,
    empty=power.EMPTY,
)  # fmt: skip
