"""The reference bench's copper: areas, sense pairs, fields of vias, and where there is none.

Front and back are 70 um, the inner layers 35 um. Layer 1 is ground everywhere. Layer 2 helps the high current
above, and has the supplies of logic and sensing below.
"""

from __future__ import annotations

from hardware.boards.layout import Area, Box, Corner, Stitch, Wire, rect
from hardware.boards.reference.parts import LEG_A, LEG_B

WIDTH, HEIGHT = 230, 140
STUD = "Net-(J101-Pin_1)"
BRAKE = "Net-(D104-A)"


def _leg_corners(at: float) -> tuple[Corner, ...]:
    """From the high MOSFET's source past the low one's gate to its drain, shunt and snubber below."""
    steps = (
        (1.7, 2), (3.6, 2), (3.9, 5), (15, 5), (15, 2), (17.2, 2), (17.2, 5), (23.5, 5), (23.5, 8.6),
        (17.2, 8.6), (17.2, 13.5), (4.2, 13.5), (4.2, 6), (1.7, 5),
    )  # fmt: skip
    return tuple((at + x, y) for x, y in steps)


SUPPLY = [
    *(Area(STUD, layer, rect(2.5, 5.5, 32, 21)) for layer in "F2B"),
    Area(
        "VIN",
        "F",
        ((46, 5.3), (71.6, 5.3), (71.6, 2.2), (73.8, 2.2), (73.8, 21), (60, 21), (60, 25), (46, 25)),
    ),
    *(Area("VIN", layer, rect(46, 5.3, 65.3, 25)) for layer in "2B"),
    *(Area("VPROT", layer, rect(69.2, 0.8, 87.2, 21)) for layer in "2B"),
    Area("VPROT", "F", rect(75.2, 5.3, 82, 22.3)),
    Area(
        "BRIDGE_V",
        "F",
        (
            (87.3, 2.2), (90, 2.2), (90, 5.3), (100.4, 5.3), (100.4, 11.9), (110.4, 11.9), (110.4, 21.2),
            (107.3, 21.2), (107.3, 65.5), (74, 65.5), (74, 74), (70.5, 74), (70.5, 65.5), (36, 65.5),
            (36, 37.8), (100.6, 37.8), (100.6, 15), (99, 13.4), (85.2, 13.4), (85.2, 5.3), (87.3, 5.3),
        ),
        solid=False,
    ),
    Area("BRIDGE_V", "B", rect(88, 0.8, 94.4, 13), solid=False),
    Area(
        "BRIDGE_V",
        "B",
        (
            (100.6, 8), (110.4, 8), (110.4, 21.2), (107.3, 21.2), (107.3, 65.5), (36, 65.5), (36, 33.5),
            (5, 33.5), (5, 27.5), (40, 27.5), (40, 37.8), (100.6, 37.8),
        ),
        solid=False,
    ),
    Area(BRAKE, "F", rect(100.9, 2.3, 103.1, 11.4)),
    Area(
        BRAKE,
        "2",
        ((99.8, 2), (104, 2), (104, 36.5), (5, 36.5), (5, 32.3), (14, 32.3), (14, 30.5), (99.8, 30.5)),
        2,
    ),
]  # fmt: skip

LEGS = [
    Area("LEGS_V", "F", rect(115.6, 1.5, 121.5, 21)),
    *(Area("LEGS_V", "F", rect(at - 1.7, 2.2, at + 0.2, 15.6)) for at in (LEG_A, LEG_B)),
    Area("LEGS_V", "2", rect(115.6, 0.8, LEG_B + 4, 21.6), 2),
    Area(
        "LEGS_V",
        "B",
        ((115.6, 0.8), (129.2, 0.8), (129.2, 16.2), (147.2, 16.2), (147.2, 0.8), (169.2, 0.8), (169.2, 16.2),
         (172, 16.2), (172, 21.6), (115.6, 21.6)),
    ),
    # the ceramics' ground
    *(Area("GND", "F", rect(at + 1.5, 5.6, at + 3.4, 15.6), 4) for at in (LEG_A, LEG_B)),
    *(Area(net, "F", _leg_corners(at)) for at, net in ((LEG_A, "LEG_A_SW"), (LEG_B, "LEG_B_SW"))),
    Area(
        "OUT_A",
        "F",
        (
            (138, 18.9), (157.5, 18.9), (157.5, 42), (227.5, 42), (227.5, 58), (141.5, 58), (141.5, 22.5),
            (138, 22.5),
        ),
    ),
    Area("OUT_A", "B", rect(141.5, 22.8, 157.5, 58)),
    Area("OUT_A", "B", rect(190, 42.5, 227.5, 58)),
    Area("OUT_B", "F", ((176, 18.9), (182.2, 18.9), (182.2, 27.8), (174.5, 27.8), (174.5, 23.6), (176, 22))),
    Area("OUT_B", "B", rect(174.5, 22.6, 227.5, 33.5)),
    Area("OUT_B", "F", rect(190.5, 14, 227.5, 34.3)),
    Area("GND", "2", rect(172.6, 0.5, 229.5, 26), 2, solid=False),
]  # fmt: skip

REST = [
    Area(
        "+3.3VA",
        "2",
        ((108, 26.5), (229.5, 26.5), (229.5, 59), (150, 59), (150, 139.5), (42, 139.5), (42, 67), (108, 67)),
    ),
    Area("+3V3", "2", rect(150.5, 59.5, 229.5, 139.5), 1),
    *(Area("GND", layer, rect(0.5, 0.5, WIDTH - 0.5, HEIGHT - 0.5), 0, solid=False) for layer in "12FB"),
]

AREAS = SUPPLY + LEGS + REST

EMPTY: tuple[Box, ...] = (
    (87.7, 24, 98.3, 30),
    *((at - 3.3, 27.5, at + 7.3, 33.5) for at in (LEG_A, LEG_B)),
)
"""Under the drivers, between their two sides: no copper on any layer."""

WIRES = [
    # sense pairs: side by side under the amplifiers' bodies
    Wire("SUPPLY_P", "F", ((109, 22.2), (111.5, 22.2), (112.75, 23.5), (112.75, 32), (110.5, 32))),
    Wire("SUPPLY_N", "F", ((117, 22.2), (114.5, 22.2), (113.25, 23.5), (113.25, 32), (115.5, 32))),
    Wire("SHUNT_A_P", "F", ((136.75, 12.5), (135.75, 13.5), (135.75, 43), (133.5, 43))),
    Wire("SHUNT_A_P", "F", ((135.75, 43), (135.75, 51.5), (133.5, 51.5))),
    Wire("SHUNT_A_N", "F", ((136.75, 20.5), (136.75, 22), (136.25, 22.5), (136.25, 43), (138.5, 43))),
    Wire("SHUNT_A_N", "F", ((136.25, 43), (136.25, 51.5), (138.5, 51.5))),
    Wire("SHUNT_B_N", "F", ((183.25, 12.5), (184.25, 13.5), (184.25, 40), (186.5, 40))),
    Wire("SHUNT_B_P", "F", ((183.25, 20.5), (183.25, 22), (183.75, 22.5), (183.75, 40), (181.5, 40))),
    # gates: the high ones over ground on the front, the low ones under the leg on the back
    *(
        Wire(net, "F", ((at - 2.5, 3.5), (at - 2.5, 17)), 0.8)
        for at, net in ((LEG_A, "AH_GATE"), (LEG_B, "BH_GATE"))
    ),
    *(
        Wire(net, "B", ((at + 13.5, 3.5), (at + 13.5, 5.5), (at + 6.5, 12.5), (at + 6.5, 14.25)), 0.8)
        for at, net in ((LEG_A, "AL_GATE"), (LEG_B, "BL_GATE"))
    ),
    Wire("Net-(Q105-G)", "B", ((99.25, 3.5), (99.25, 8), (96.75, 10.5), (96.75, 14.75)), 0.8),
]  # fmt: skip

AVOID: tuple[Box, ...] = (
    (135.2, 11, 136.9, 47),
    (183.2, 11, 184.9, 36),
    (109, 21, 117, 27.5),
    (124.8, 4, 126.1, 16),
    (164.8, 4, 166.1, 16),
    (LEG_B + 1.2, 15.6, LEG_B + 3.6, 18.2),
)
"""The ways of pairs and gates, kept free of parts."""

STITCHES = [
    Stitch("VIN", (48.5, 6.5, 50, 24), 1.5),
    Stitch("VIN", (57.5, 6.5, 64.5, 20), 2.0),
    Stitch(STUD, (17, 8, 30, 20), 2.5),
    Stitch("VPROT", (76, 6, 81.5, 20), 1.5),
    Stitch("BRIDGE_V", (89, 6, 93.5, 12), 1.5),
    Stitch("BRIDGE_V", (101, 14, 107, 36), 2.0),
    Stitch("BRIDGE_V", (38, 39, 106, 64), 4.0),
    Stitch("LEGS_V", (118.75, 2.5, 121, 21), 1.0),
    Stitch("LEGS_V", (LEG_A - 1.25, 5.5, LEG_A - 1.25, 15), 1.0),
    Stitch("LEGS_V", (LEG_B - 1.25, 5.5, LEG_B - 1.25, 15), 1.0),
    Stitch("GND", (LEG_A + 3, 6, LEG_A + 3, 15.5), 0.75),
    Stitch("GND", (LEG_B + 3, 6, LEG_B + 3, 15.5), 0.75),
    Stitch("GND", (192, 2, 210, 12), 1.5),
    Stitch("GND", (LEG_B + 17.75, 5.5, LEG_B + 22, 16), 1.25),
    Stitch("OUT_A", (142.5, 23.5, 156.5, 40.5), 1.5),
    Stitch("OUT_A", (192, 44, 214, 57), 2.0),
    Stitch("OUT_B", (175.25, 23.5, 181.5, 27.5), 0.75),
    Stitch("OUT_B", (192, 24, 214, 32.5), 2.0),
    Stitch("GND", (4, 55, 16, 58), 1.5),
    Stitch("GND", (18, 40, 22, 58), 1.5),
]
