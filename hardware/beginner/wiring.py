"""The wiring picture: what is beside the stripboard, and the thick wires between."""

from __future__ import annotations

from html import escape
from itertools import pairwise

WIDE, HIGH = 1180, 700
STYLE = (
    "text{font-family:DejaVu Sans,Arial,sans-serif;fill:#1a1a1a}"
    " .t{font-size:20px;font-weight:bold} .n{font-size:14px;font-weight:bold}"
    " .s{font-size:12.5px;fill:#333} .w{font-size:12px;font-weight:bold}"
)
BOXES = {
    "battery": (20, 90, 130, 70, "Battery 12 V", ("or a supply, 5 A",)),
    "F1": (190, 90, 110, 70, "F1 fuse 5 A", ("within 20 cm",)),
    "S1": (335, 90, 130, 70, "S1 main switch", ("10 A DC or more",)),
    "K1": (620, 90, 150, 70, "K1 relay contact", ("10 A or more",)),
    "bulk": (830, 80, 160, 90, "C1, C2, D1, R3, D5", ("1000 uF each, 35 V;", "suppressor; lamp")),
    "S2": (495, 220, 150, 84, "S2 stop button", ("0.35 A,", "opens when pressed")),
    "coil": (690, 220, 130, 84, "K1 coil", ("the other end of it", "is switched by Q1")),
    "R2": (860, 220, 140, 84, "R2 68 Ohm 5 W", ("precharge, gets hot:", "keep it off the board")),
    "M1": (630, 390, 150, 92, "Module A", ("supply, ground, output", "drive, enable")),
    "M2": (630, 540, 150, 92, "Module B", ("supply, ground, output", "drive, enable")),
    "R4": (840, 390, 160, 92, "R4 shunt 10 mOhm", ("two thick wires,", "two thin sense wires")),
    "part": (1040, 450, 120, 84, "The part", ("leads of 1 m", "or more")),
    "board": (
        60, 390, 380, 242, "Stripboard with the Pico",
        ("USB through an isolator to the laptop", "D2, D3, D4 and Q1 are here"),
    ),
    "sensors": (60, 240, 170, 84, "J3 sensor", ("feed 3.3 V, A, ground", "one track")),
}  # fmt: skip
THICK, THIN, GROUND = ("#b03a2e", 4), ("#2471a3", 2), ("#333333", 4)
WIRES = (
    (((150, 125), (190, 125)), THICK, ""),
    (((300, 125), (340, 125)), THICK, ""),
    (((460, 125), (620, 125)), THICK, "VIN"),
    (((770, 125), (830, 125)), THICK, ""),
    (((990, 125), (1020, 125), (1020, 350), (615, 350), (615, 560), (630, 560)), THICK, "bridge supply"),
    (((615, 410), (630, 410)), THICK, ""),
    (((480, 125), (480, 192), (270, 192), (270, 390)), THIN, "VIN"),
    (((495, 262), (300, 262), (300, 390)), THIN, "PROT"),
    (((645, 262), (690, 262)), THIN, ""),
    (((667, 262), (667, 322), (330, 322), (330, 390)), THIN, "STOP_12V"),
    (((755, 304), (755, 338), (360, 338), (360, 390)), THIN, "COIL_N"),
    (((860, 262), (838, 262), (838, 364), (390, 364), (390, 390)), THIN, "PRE"),
    (((930, 304), (930, 350)), THIN, ""),
    (((615, 380), (420, 380), (420, 390)), THIN, ""),
    (((780, 435), (840, 435)), THICK, ""),
    (((1000, 435), (1015, 435), (1015, 475), (1040, 475)), THICK, ""),
    (((780, 586), (1010, 586), (1010, 510), (1040, 510)), THICK, "output B"),
    (((440, 450), (630, 450)), THIN, "A_HIGH, MODULES_ON"),
    (((440, 600), (630, 600)), THIN, "B_HIGH, MODULES_ON"),
    (((915, 482), (915, 515), (440, 515)), THIN, "sense wires of the shunt, twisted"),
    (((145, 324), (145, 390)), THIN, ""),
    (((85, 160), (85, 200), (35, 200), (35, 660), (715, 660), (715, 632)), GROUND, "ground"),
    (((750, 660), (820, 660), (820, 496), (715, 496), (715, 482)), GROUND, ""),
    (((715, 660), (750, 660)), GROUND, ""),
    (((250, 632), (250, 660)), GROUND, ""),
    (((1028, 660), (715, 660)), GROUND, ""),
    (((910, 170), (910, 185), (1090, 185), (1090, 400), (1028, 400), (1028, 660)), GROUND, ""),
)  # fmt: skip


def _box(x: int, y: int, wide: int, high: int, head: str, lines: tuple[str, ...]) -> str:
    middle = x + wide / 2
    rows = [
        f'<text x="{middle:g}" y="{y + 42 + 18 * i}" text-anchor="middle" class="s">{escape(line)}</text>'
        for i, line in enumerate(lines)
    ]
    return (
        f'<rect x="{x}" y="{y}" width="{wide}" height="{high}" rx="6" fill="#fbfaf3" stroke="#444"'
        ' stroke-width="2"/>'
        f'<text x="{middle:g}" y="{y + 22}" text-anchor="middle" class="n">{escape(head)}</text>'
        + "".join(rows)
    )


def _wire(points: tuple[tuple[int, int], ...], look: tuple[str, int], text: str) -> str:
    path = "M" + "L".join(f"{x} {y}" for x, y in points)
    out = f'<path d="{path}" fill="none" stroke="{look[0]}" stroke-width="{look[1]}"/>'
    if text:
        (x1, y1), (x2, y2) = max(pairwise(points), key=lambda ends: abs(ends[0][0] - ends[1][0]))
        out += f'<text x="{(x1 + x2) / 2:g}" y="{(y1 + y2) / 2 - 6:g}" text-anchor="middle" class="w">'
        out += f"{escape(text)}</text>"
    return out


def picture() -> str:
    """The whole SVG."""
    wires = "\n".join(_wire(*wire) for wire in WIRES)
    boxes = "\n".join(_box(*box) for box in BOXES.values())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" role="img">'
        f"<title>Wiring of the beginner's bench</title><style>{STYLE}</style>"
        f'<rect width="{WIDE}" height="{HIGH}" fill="#ffffff"/>'
        '<text x="20" y="36" class="t">Wiring: what is beside the stripboard</text>'
        '<text x="20" y="60" class="s">Red and black: 0.75 mm2 or thicker. Blue: thin wire. The stop button'
        " takes the coil and the precharge resistor off the supply.</text>"
        f"{wires}\n{boxes}</svg>\n"
    )
