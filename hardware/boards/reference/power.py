"""The reference bench's copper: areas, sense pairs, fields of vias, and where there is none.

Front and back are 70 um, the inner layers 35 um. Layer 1 is ground everywhere. Layer 2 helps the high current
above, and has the supplies of logic and sensing below.
"""

from __future__ import annotations

from hardware.boards.layout import Area, Box, Stitch, Wire, rect
from hardware.boards.reference.parts import LEG_A, LEG_B

WIDTH, HEIGHT = 230, 140
STUD = "Net-(J101-Pin_1)"
BRAKE = "Net-(D104-A)"

SUPPLY = [
    *(Area(STUD, layer, rect(2.5, 5.5, 32, 21)) for layer in "F2B"),
    Area("VIN", "F", ((46, 5.3), (71.6, 5.3), (71.6, 2.2), (73.8, 2.2), (73.8, 21), (60, 21), (60, 25), (46, 25))),
    *(Area("VIN", layer, rect(46, 5.3, 65.3, 25)) for layer in "2B"),
    *(Area("VPROT", layer, rect(69.2, 0.8, 87.2, 21)) for layer in "2B"),
    Area("VPROT", "F", rect(75.2, 5.3, 82, 22.3)),
    Area(
        "BRIDGE_V",
        "F",
        (
            (87.3, 2.2), (90, 2.2), (90, 5.3), (97.5, 5.3), (97.5, 12.3), (110.4, 12.3), (110.4, 21.2), (107.3, 21.2),
            (107.3, 65.5), (74, 65.5), (74, 74), (70.5, 74), (70.5, 65.5), (36, 65.5), (36, 37.8), (99.8, 37.8),
            (99.8, 19), (97.5, 13), (85.2, 13), (85.2, 5.3), (87.3, 5.3),
        ),
        solid=False,
    ),
    Area(
        "BRIDGE_V",
        "B",
        (
            (88, 0.8), (98, 0.8), (98, 15.3), (100.5, 15.3), (100.5, 8), (110.4, 8), (110.4, 21.2), (107.3, 21.2),
            (107.3, 65.5), (36, 65.5), (36, 33.5), (5, 33.5), (5, 27.5), (40, 27.5), (40, 37.8), (99.8, 37.8),
            (99.8, 19), (97.5, 16), (88, 16),
        ),
        solid=False,
    ),
    Area(BRAKE, "F", rect(100.9, 2.3, 103.1, 11.4)),
    Area(BRAKE, "2", ((99.8, 2), (104, 2), (104, 36.5), (5, 36.5), (5, 32.3), (14, 32.3), (14, 30.5), (99.8, 30.5)), 2),
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
    *(Area("GND", "F", rect(at + 1.5, 5.6, at + 3.4, 15.6), 4) for at in (LEG_A, LEG_B)),  # the ceramics' ground
    *(
        Area(net, "F", ((at + 1.7, 2), (at + 3.6, 2), (at + 3.9, 5), (at + 15, 5), (at + 15, 2), (at + 17.2, 2),
                        (at + 17.2, 5), (at + 23.5, 5), (at + 23.5, 8.6), (at + 17.2, 8.6), (at + 17.2, 13.5),
                        (at + 4.2, 13.5), (at + 4.2, 6), (at + 1.7, 5)))
        for at, net in ((LEG_A, "LEG_A_SW"), (LEG_B, "LEG_B_SW"))
    ),
    Area("OUT_A", "F", ((138, 18.9), (157.5, 18.9), (157.5, 35.5), (227.5, 35.5), (227.5, 52), (141.5, 52), (141.5, 22.5), (138, 22.5))),
    Area("OUT_A", "B", rect(141.5, 22.8, 157.5, 52)),
    Area("OUT_A", "B", rect(190, 36, 227.5, 52)),
    Area("OUT_B", "F", ((176, 18.9), (182.2, 18.9), (182.2, 27.8), (174.5, 27.8), (174.5, 23.6), (176, 22))),
    Area("OUT_B", "B", rect(174.5, 22.6, 227.5, 34.5)),
    Area("OUT_B", "F", rect(190.5, 14, 227.5, 34.3)),
    Area("GND", "2", rect(172.6, 0.5, 229.5, 26), 2, solid=False),
]  # fmt: skip

REST = [
    Area("+3.3VA", "2", rect(108, 26.5, 229.5, 53), 1),
    Area("+3.3VA", "2", rect(42, 62.5, 150, 139.5), 1),
    Area("+3.3VA", "2", rect(108, 50, 150, 64), 1),
    Area("+3V3", "2", rect(150.5, 53.5, 229.5, 139.5), 1),
    *(Area("GND", layer, rect(0.5, 0.5, WIDTH - 0.5, HEIGHT - 0.5), 0, solid=False) for layer in "12FB"),
]

AREAS = SUPPLY + LEGS + REST

EMPTY: tuple[Box, ...] = (
    (87.7, 22, 98.3, 28),
    *((at - 3.3, 23.5, at + 7.3, 29.5) for at in (LEG_A, LEG_B)),
)
"""Under the drivers, between their two sides: no copper on any layer."""

WIRES = [
    # sense pairs: side by side under the amplifiers' bodies
    Wire("SUPPLY_P", "F", ((109, 22.2), (111.5, 22.2), (112.75, 23.5), (112.75, 32), (110.5, 32))),
    Wire("SUPPLY_N", "F", ((117, 22.2), (114.5, 22.2), (113.25, 23.5), (113.25, 32), (115.5, 32))),
    Wire("SHUNT_A_P", "F", ((136.75, 12.5), (135.75, 13.5), (135.75, 39), (133.5, 39))),
    Wire("SHUNT_A_P", "F", ((135.75, 39), (135.75, 47.5), (133.5, 47.5))),
    Wire("SHUNT_A_N", "F", ((136.75, 20.5), (136.75, 22), (136.25, 22.5), (136.25, 39), (138.5, 39))),
    Wire("SHUNT_A_N", "F", ((136.25, 39), (136.25, 47.5), (138.5, 47.5))),
    Wire("SHUNT_B_N", "F", ((183.25, 12.5), (184.25, 13.5), (184.25, 33), (186.5, 33))),
    Wire("SHUNT_B_P", "F", ((183.25, 20.5), (183.25, 22), (183.75, 22.5), (183.75, 33), (181.5, 33))),
    # gates: the high ones over ground on the front, the low ones under the leg on the back
    *(Wire(net, "F", ((at - 2.5, 3.5), (at - 2.5, 17)), 0.8) for at, net in ((LEG_A, "AH_GATE"), (LEG_B, "BH_GATE"))),
    *(
        Wire(net, "B", ((at + 13.5, 3.5), (at + 13.5, 5.5), (at + 6.5, 12.5), (at + 6.5, 14.25)), 0.8)
        for at, net in ((LEG_A, "AL_GATE"), (LEG_B, "BL_GATE"))
    ),
    Wire("Net-(Q105-G)", "B", ((99.25, 3.5), (99.25, 14)), 0.8),
]  # fmt: skip

AVOID: tuple[Box, ...] = (
    (135.2, 11, 136.9, 35),
    (183.2, 11, 184.9, 28),
    (109, 21, 117, 27.5),
    (124.8, 4, 126.1, 16),
    (164.8, 4, 166.1, 16),
)
"""The ways of pairs and gates, kept free of parts."""

STITCHES = [
    Stitch("VIN", (48.5, 6.5, 50, 24), 1.5),
    Stitch("VIN", (57.5, 6.5, 64.5, 20), 2.0),
    Stitch(STUD, (17, 8, 30, 20), 2.5),
    Stitch("VPROT", (76, 6, 81.5, 20), 1.5),
    Stitch("BRIDGE_V", (89, 6, 97, 12), 1.5),
    Stitch("BRIDGE_V", (101, 14, 107, 36), 2.0),
    Stitch("BRIDGE_V", (38, 39, 106, 64), 4.0),
    Stitch("LEGS_V", (118.75, 2.5, 121, 21), 1.0),
    Stitch("LEGS_V", (LEG_A - 1.25, 5.5, LEG_A - 1.25, 15), 1.0),
    Stitch("LEGS_V", (LEG_B - 1.25, 5.5, LEG_B - 1.25, 15), 1.0),
    Stitch("GND", (LEG_A + 3, 6, LEG_A + 3, 15.5), 0.75),
    Stitch("GND", (LEG_B + 3, 6, LEG_B + 3, 15.5), 0.75),
    Stitch("GND", (192, 2, 210, 12), 1.5),
    Stitch("GND", (LEG_B + 17.75, 5.5, LEG_B + 22, 16), 1.25),
    Stitch("OUT_A", (142.5, 23.5, 156.5, 34.5), 1.5),
    Stitch("OUT_A", (192, 37.5, 214, 51), 2.0),
    Stitch("OUT_B", (175.25, 23.5, 181.5, 27.5), 0.75),
    Stitch("OUT_B", (192, 24, 214, 33), 2.0),
    Stitch("GND", (4, 55, 16, 58), 1.5),
    Stitch("GND", (18, 40, 22, 58), 1.5),
]
