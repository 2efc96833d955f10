"""The drawing of a part's wiring: bench, leads, plug, as SVG made from its profile.

A lead is known by its name, by a number at both of its ends and by the pattern of its line; its colour only
repeats that.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from strokebench.connect import plug

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

WIDTH, ROW, TOP = 760, 58, 96
BENCH_X, BENCH_W = 30, 190
PART_W = 270
PART_X = WIDTH - PART_W - 30
LOOKS = {
    "out_a": ("#b3261e", 5, ""),
    "out_b": ("#222222", 5, "18 4"),
    "feed": ("#b3261e", 2.5, ""),
    "ground": ("#222222", 2.5, "12 4"),
    "sensor_a": ("#1c5fa8", 2.5, "3 4"),
    "sensor_b": ("#1b7f4b", 2.5, "10 4 3 4"),
}
"""Lead -> colour, width and dashes of its line. Power leads are thick."""
STYLE = """text{fill:#1a1a1a} .small{font-size:13px;fill:#444} .box{fill:#fbfaf3;stroke:#444;stroke-width:2}
.pin{fill:#fff;stroke:#444;stroke-width:1.5} .symbol{fill:none;stroke:#444;stroke-width:2}"""


def drawing(profile: Profile) -> str:
    """Return the SVG of how ``profile``'s part is wired to the bench."""
    rows = plug.drawn(profile)
    height = TOP + ROW * len(rows) + 36
    shapes = [
        _text(BENCH_X, 34, f"Wiring: {profile.part.title}", "bold"),
        _text(
            BENCH_X, 56, "Same number, same line: bench on the left, plug of the part on the right.", "small"
        ),
        _box(BENCH_X, BENCH_W, len(rows), "strokebench"),
        _box(PART_X, PART_W, len(rows), _short(profile)),
    ]
    for number, each in enumerate(rows, 1):
        shapes += _lead(number, each)
    shapes += _symbols(rows)
    body = "\n".join(shapes)
    said = "; ".join(f"{plug.LEADS[each.lead]} to {each.name}" for each in rows)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="sans-serif"'
        f' font-size="15" role="img" aria-labelledby="t d">\n'
        f'<title id="t">Wiring of {escape(profile.name)}</title>\n'
        f'<desc id="d">{escape(said)}</desc>\n<style>{STYLE}</style>\n'
        f'<rect width="{WIDTH}" height="{height}" fill="#fff"/>\n{body}\n</svg>\n'
    )


def lines(profile: Profile) -> list[str]:
    """Return the same in words, a line each lead."""
    rows = plug.drawn(profile)
    wide = max(len(plug.LEADS[each.lead]) for each in rows)
    return [
        f"{number}  {plug.LEADS[each.lead]:<{wide}}  ->  {each.name}" for number, each in enumerate(rows, 1)
    ]


def _short(profile: Profile) -> str:
    return "plug of the part" if profile.kind not in plug.WIRING_KINDS else "the vehicle's wires"


def _box(x: float, width: float, rows: int, title: str) -> str:
    box = f'<rect class="box" x="{x:g}" y="{TOP - 26}" width="{width:g}" height="{ROW * rows + 34}" rx="8"/>'
    return f"{box}{_text(x + width / 2, TOP - 4, title, 'bold', 'middle')}"


def _lead(number: int, each: plug.Drawn) -> list[str]:
    colour, width, dashes = LOOKS[each.lead]
    y = TOP + ROW * number - 24
    left, right = BENCH_X + BENCH_W, PART_X
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    return [
        f'<path d="M{left} {y}H{right}" stroke="{colour}" stroke-width="{width:g}" fill="none"{dash}/>',
        _text(left - 26, y + 5, plug.LEADS[each.lead], "", "end"),
        _text(right + 26, y + 5, each.name),
        _number(left, y, number),
        _number(right, y, number),
    ]


def _number(x: float, y: float, number: int) -> str:
    circle = f'<circle class="pin" cx="{x:g}" cy="{y:g}" r="12"/>'
    return f"{circle}{_text(x, y + 5, str(number), 'bold', 'middle')}"


def _symbols(rows: tuple[plug.Drawn, ...]) -> list[str]:
    """Between the pins: a winding as a coil, a sensor's tracks as a resistor."""
    places = {each.pin: TOP + ROW * number - 24 for number, each in enumerate(rows, 1)}
    x = PART_X + PART_W - 30
    winding, other = places["winding_plus"], places["winding_minus"]
    quarter = (other - winding - 20) / 4
    bumps = "".join(f"a{quarter / 2:g} {quarter / 2:g} 0 0 1 0 {quarter:g}" for _ in range(4))
    shapes = [
        f'<path class="symbol" d="M{x - 14} {winding}H{x}v10{bumps}v10H{x - 14}">'
        "<title>winding</title></path>"
    ]
    if "feed" in places and "ground" in places:
        top, bottom = places["feed"], places["ground"]
        high = bottom - top - 20
        shapes.append(
            f'<path class="symbol" d="M{x - 14} {top}H{x}v10M{x} {bottom - 10}v10H{x - 14}"/>'
            f'<rect class="symbol" x="{x - 7}" y="{top + 10}" width="14" height="{high:g}">'
            "<title>sensor</title></rect>"
        )
    return shapes


def _text(x: float, y: float, text: str, look: str = "", anchor: str = "") -> str:
    kind = {"bold": ' font-weight="bold"', "small": ' class="small"'}.get(look, "")
    where = f' text-anchor="{anchor}"' if anchor else ""
    return f'<text x="{x:g}" y="{y:g}"{kind}{where}>{escape(text)}</text>'
