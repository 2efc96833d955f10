"""The reference bench's board: where its parts are. Millimetres from the top left corner, y downwards.

The seven MOSFETs stand in one row at the top edge, their tabs outwards, at the heatsink. Power comes in at
the left: stud, fuse, ideal diode, main switch in one line. Bulk capacitors below them, then the two legs, and
the outputs at the right edge. Sensing and logic are below all that, the Pico's USB at the bottom edge.
"""

from __future__ import annotations

from hardware.boards import alike

Fixed = dict[str, tuple[float, float, int]]
LEG_A, LEG_B = 128, 168
"""Where the high MOSFET of each leg is; all of the leg is placed from there."""


def _leg(at: float, high: str, low: str, ceramic: tuple[str, ...], driver: str, converter: str) -> Fixed:
    """MOSFETs 16 mm apart; ceramics under the high one's drain; driver below them, its supply beside it."""
    found: Fixed = {high: (at, 3.05, 0), low: (at + 16, 3.05, 0), driver: (at + 2, 30.5, 90)}
    found[converter] = (at - 7.5, 31.5, 180)
    for i, ref in enumerate(ceramic):
        found[ref] = (at + 0.6, 7.25 + 3.35 * i, 0)
    return found


FIXED: Fixed = {
    # supply, left to right along the top
    "J101": (10, 14, 0),
    "F101": (39.5, 14, 0),
    "Q101": (70, 3.05, 0),
    "Q102": (86, 3.05, 0),
    "J103": (7.5, 32, 270),
    "J102": (10, 48, 0),
    "D101": (56, 26.5, 90),
    "U101": (68.5, 24.5, 0),
    "C102": (74.3, 23, 270),
    "C103": (78, 23, 270),
    "PS101": (83.8, 27.4, 180),
    "U105": (93, 27, 90),
    "U103": (27, 27, 0),
    # brake
    "Q105": (102, 3.05, 0),
    "D104": (105.5, 9.5, 180),
    # bulk: two rows of five
    **{f"C{104 + i}": (47 + 13.5 * i, 44.5, 0) for i in range(5)},
    **{f"C{109 + i}": (47 + 13.5 * i, 58, 0) for i in range(5)},
    "D103": (34, 49, 180),
    "D102": (24, 66, 0),
    "R104": (57, 72.5, 0),
    "U102": (92, 75, 0),
    # supply of the legs, watched
    "R309": (113, 19, 0),
    "U304": (113, 30, 180),
    "U305": (113, 39.5, 0),
    **_leg(LEG_A, "Q301", "Q302", ("C303", "C304", "C305"), "U205", "PS201"),
    **_leg(LEG_B, "Q303", "Q304", ("C306", "C307", "C308"), "U206", "PS202"),
    "R301": (140, 16.5, 270),
    "R302": (180, 16.5, 90),
    "R305": (149, 10, 270),
    "R308": (189, 10, 270),
    "PS203": (120.5, 45, 180),
    "J302": (221.5, 24, 0),
    "J301": (221.5, 50, 0),
    # amplifiers straight under their shunts, comparators beside them
    "U401": (136, 41, 180),
    "U402": (136, 49.5, 180),
    "U403": (184, 38, 180),
    "U404": (128, 59, 0),
    "U405": (138, 65, 0),
    "U407": (147, 64, 0),
    "U501": (104, 100, 0),
    "U406": (124, 98, 0),
    "A601": (166, 112.5, 180),
    # enable chain
    "U204": (196, 69, 0),
    "U202": (196, 83, 0),
    "U203": (210, 69, 0),
    "U201": (208, 83, 0),
    # terminals and plugs at the edges
    "J501": (104, 133.5, 0),
    "J502": (124, 135.5, 0),
    "J503": (138, 135.5, 0),
    "J504": (223.3, 71, 90),
    "J201": (225, 84, 90),
    "D505": (224, 95, 90),
    "J601": (223.3, 112, 90),
    "SW601": (221.5, 127.5, 0),
    "J505": (190, 135, 0),
    # signal port: resistor and fuse apart
    "R615": (199.5, 125.5, 0),
    "F601": (211, 110, 0),
    "U601": (192, 112, 0),
    "JP601": (183, 116.5, 0),
    "JP602": (201, 112, 0),
    "JP603": (183, 109, 0),
}

NEAR = [
    # supply
    ("U101.1", "C101"),
    ("C102.1", "Q103 R103 R105 Q104 R106"),
    ("U103.1", "C116 R119"),
    ("U103.3", "C117"),
    ("D102.2", "R107"),
    ("U105.16", "C122 D105 R121"),
    ("U105.15", "R102 R101"),
    ("U105.11", "C123"),
    ("U105.10", "R116 R117"),
    ("U105.3", "C120"),
    ("PS101.2", "C121"),
    ("U102.3", "R108 C114 R109 R110"),
    ("U102.2", "R111 R112 R113"),
    ("U102.8", "C115"),
    ("U102.1", "R114 R115"),
    # legs
    ("U205.16", "C210 D201 R225"),
    ("U205.15", "R216 R217"),
    ("U205.10", "R218 R219"),
    ("U205.11", "C214"),
    ("U205.3", "C206"),
    ("U205.6", "R215 C205"),
    ("PS201.2", "C209"),
    ("U206.16", "C212 D202 R226"),
    ("U206.15", "R221 R222"),
    ("U206.10", "R223 R224"),
    ("U206.11", "C215"),
    ("U206.3", "C208"),
    ("U206.6", "R220 C207"),
    ("PS202.2", "C211"),
    ("PS203.4", "D203 R227"),
    ("PS203.2", "C213"),
    ("R305.2", "C301"),
    ("R308.2", "C302"),
    ("R301.4", "R304 R303"),
    ("R302.1", "R307 R306"),
    # sensing
    ("U304.6", "C310"),
    ("U304.5", "R310"),
    ("U305.2", "C309"),
    ("U305.8", "C311"),
    ("U401.6", "C404"),
    ("U402.6", "C405"),
    ("U403.6", "C406"),
    ("U401.5", "R401 C401 R407"),
    ("U402.5", "R402 C402 R403"),
    ("U404.2", "C407"),
    ("U404.9", "C408 R408"),
    ("U404.4", "C409"),
    ("U404.3", "R404 R405 R406"),
    ("U405.8", "C412"),
    ("U405.1", "R414"),
    ("U405.3", "C410 R409"),
    ("U407.5", "C418"),
    ("U501.4", "C503"),
    ("U501.12", "C411 R412 R413"),
    ("U501.13", "R410 R411"),
    ("U501.10", "C416 R422 R421"),
    ("U501.8", "R423"),
    ("U501.3", "D501 C501 R502 R501"),
    ("U501.5", "D502 C502 R504 R503"),
    ("U406.16", "C420 C419"),
    ("U406.3", "C403"),
    ("U406.4", "C413 R416 R415"),
    ("U406.5", "C414 R418 R417"),
    ("U406.7", "D401 C415 R420 R419"),
    ("U406.8", "D503 C506 R506 R505"),
    ("A601.34", "C417"),
    ("J501.1", "U502 C505 C504"),
    *alike.PLUGS_AND_ENABLE,
    ("J201.1", "R228"),
    *alike.STOP_AND_PICO,
    ("A601.39", "D601 C601 C118 U104 C119 R120"),
    *alike.PICO_SUPPLY,
    *alike.SIGNAL_PORT,
]
