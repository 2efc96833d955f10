"""The stripboard as a picture, seen from the parts' side, and its wires as a list."""

from __future__ import annotations

import csv
import io
from html import escape

from hardware.beginner import strip
from hardware.beginner.parts import PARTS
from hardware.beginner.strip import COLUMNS, ROWS, Board, Hole

PITCH, LEFT, TOP = 26, 44, 76
COLOURS = {"GND": "#333333", "+3V3A": "#c0392b", "+5V": "#e67e22", "BRIDGE_V": "#8e44ad", "VIN": "#8e44ad"}
SIGNAL = "#2471a3"
STYLE = (
    "text{font-family:DejaVu Sans,Arial,sans-serif;fill:#1a1a1a} .s{font-size:11px}"
    " .t{font-size:18px;font-weight:bold} .c{font-size:13px} .l{font-size:10px;font-weight:bold;fill:#145a32}"
)


def name(hole: Hole) -> str:
    """A hole as it is written: row, then column, both from 1."""
    return f"{hole[0] + 1}.{hole[1] + 1}"


def wire_list() -> str:
    """Cuts, parts, wires and leads as CSV, in the order of building."""
    made, out = strip.board(), io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("what", "name", "from", "to"))
    writer.writerows(("cut", "", name(hole), "") for hole in sorted(made.cuts))
    writer.writerows(("wire", net, name(a), name(b)) for a, b, net in sorted(made.wires))
    for part in PARTS:
        holes = [
            name(made.at[part.ref, pin.number]) for pin in part.pins if (part.ref, pin.number) in made.at
        ]
        if holes:
            writer.writerow(("part", f"{part.ref} {part.value}", holes[0], holes[-1]))
    writer.writerows(("lead", f"to {what} ({net})", name(hole), "") for hole, what, net in sorted(made.leads))
    return out.getvalue()


def _at(hole: Hole) -> tuple[float, float]:
    return LEFT + hole[1] * PITCH, TOP + hole[0] * PITCH


def _copper(made: Board) -> list[str]:
    wide = LEFT + (COLUMNS - 1) * PITCH
    found = [
        f'<rect x="{LEFT - 7}" y="{TOP + r * PITCH - 5}" width="{wide - LEFT + 14}" height="10"'
        ' fill="#f0d9b5"/>'
        for r in range(ROWS)
    ]
    for hole in sorted(made.cuts):
        x, y = _at(hole)
        found.append(f'<rect x="{x - 6}" y="{y - 7}" width="12" height="14" fill="#ffffff"/>')
    dots = "".join(
        f"M{LEFT + c * PITCH - 1} {TOP + r * PITCH}h2"
        for r in range(ROWS)
        for c in range(COLUMNS)
        if (r, c) not in made.cuts
    )
    found.append(f'<path d="{dots}" stroke="#b08d57" stroke-width="2"/>')
    return found


def _crosses(made: Board) -> list[str]:
    return [
        f'<path d="M{x - 5} {y - 5}L{x + 5} {y + 5}M{x + 5} {y - 5}L{x - 5} {y + 5}" stroke="#8a8a8a"'
        ' stroke-width="1.6"/>'
        for x, y in map(_at, sorted(made.cuts))
    ]


def _scale() -> list[str]:
    rows = [
        f'<text x="{LEFT - 14}" y="{TOP + r * PITCH + 4}" text-anchor="end" class="s">{r + 1}</text>'
        for r in range(ROWS)
    ]
    columns = [
        f'<text x="{LEFT + c * PITCH}" y="{TOP - 12}" text-anchor="middle" class="s">{c + 1}</text>'
        for c in range(COLUMNS)
        if c % 2 == 0
    ]
    return rows + columns


def _wires(made: Board) -> list[str]:
    found = []
    for begin, end, net in sorted(made.wires):
        (x1, y1), (x2, y2) = _at(begin), _at(end)
        colour, bow = COLOURS.get(net, SIGNAL), 0.12 * abs(y2 - y1)
        found.append(
            f'<path d="M{x1} {y1}Q{(x1 + x2) / 2 + bow:g} {(y1 + y2) / 2:g} {x2} {y2}" fill="none"'
            f' stroke="{colour}" stroke-opacity="0.75"'
            f' stroke-width="3.2" stroke-linecap="round"><title>{escape(net)}</title></path>'
        )
        found += [f'<circle cx="{x}" cy="{y}" r="3.6" fill="{colour}"/>' for x, y in ((x1, y1), (x2, y2))]
    return found


def _bodies(made: Board) -> list[str]:
    found = []
    for part in PARTS:
        holes = [hole for (ref, _), hole in made.at.items() if ref == part.ref]
        if not holes:
            continue
        chip = part.box == "pico" or part.box.startswith("dip")
        xs, ys = zip(*map(_at, holes), strict=True)
        grow = 8
        x, y, wide, high = min(xs) - grow, min(ys) - 9, max(xs) - min(xs) + 2 * grow, max(ys) - min(ys) + 18
        middle_x, middle_y = x + wide / 2, y + high / 2
        turn = "" if chip else f' transform="rotate(-90 {middle_x:g} {middle_y:g})"'
        text = f"{part.ref} {part.value}" if high > 90 or chip else part.ref
        if part.box == "pico":
            text = "A1 Pico"
        found.append(
            f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" rx="4" fill="#ffffff"'
            ' fill-opacity="0.85"'
            f' stroke="#222"/><text x="{middle_x:g}" y="{middle_y + 4:g}" text-anchor="middle"'
            f' class="s"{turn}>{escape(text)}</text>'
        )
        if chip:
            found += [f'<circle cx="{px}" cy="{py}" r="2.2" fill="#777"/>' for px, py in map(_at, holes)]
        if chip or len(part.pins) > 2 or part.kind == "D":
            px, py = _at(made.at[part.ref, part.pins[0].number if not chip else "1"])
            found.append(f'<circle cx="{px}" cy="{py}" r="4" fill="#222"/>')
    return found


def _leads(made: Board) -> list[str]:
    found = []
    for hole, what, net in made.leads:
        x, y = _at(hole)
        found.append(
            f'<circle cx="{x}" cy="{y}" r="7" fill="#27ae60"><title>to {escape(what)}</title></circle>'
            f'<text x="{x}" y="{y - 8}" text-anchor="middle" class="l">{escape(net)}</text>'
        )
    return found


def picture() -> str:
    """The whole SVG."""
    made = strip.board()
    wide, high = LEFT + COLUMNS * PITCH + 30, TOP + ROWS * PITCH + 50
    keys = (
        f"{len(made.cuts)} cuts (grey crosses), {len(made.wires)} wires (blue; black ground, red 3.3 V, "
        f"orange 5 V, violet supply), {len(made.leads)} leads to what is beside the board (green).",
        "A black dot marks pin 1, or the band of a diode. The list wires.csv has all of this in numbers.",
    )
    body = [*_copper(made), *_scale(), *_bodies(made), *_crosses(made), *_wires(made), *_leads(made)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" role="img">'
        f"<title>Stripboard of the beginner's bench</title><style>{STYLE}</style>"
        f'<rect width="{wide}" height="{high}" fill="#ffffff"/>'
        f'<text x="{LEFT}" y="28" class="t">Stripboard, seen from the side of the parts;'
        " strips run from left to right</text>"
        + "\n".join(body)
        + "".join(
            f'<text x="{LEFT}" y="{high - 38 + 20 * i}" class="c">{escape(key)}</text>'
            for i, key in enumerate(keys)
        )
        + "</svg>\n"
    )
