"""Wiring drawings of the guides: ``python -m tools.pages.drawings``.

Boxes and wires as plain SVG text, so that the same program always gives the same bytes; a test compares.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape

from strokebench.connect.drawing import drawing
from strokebench.parts import load_part

from tools import DOCS

Place = tuple[float, float]
COLOURS = {"plus": "#b3261e", "minus": "#222", "signal": "#1c5fa8"}
WIRED = ("throttle-body", "egr-solenoid", "fuel-pump-fuse")
"""Parts whose wiring the documentation shows; `strokebench connect` draws them all."""
STYLE = """rect.b{fill:#fbfaf3;stroke:#444;stroke-width:2} path{fill:none} text{fill:#222}
.s{fill:#555;font-size:13px}"""


@dataclass
class Drawing:
    """A drawing of ``width`` x ``height``; shapes are collected as SVG text."""

    title: str
    width: int
    height: int
    shapes: list[str] = field(default_factory=list)

    def box(self, at: Place, size: Place, *lines: str) -> None:
        """A box with its name and smaller lines below it."""
        (x, y), (w, h) = at, size
        self.shapes.append(f'<rect class="b" x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" rx="6"/>')
        for number, line in enumerate(lines):
            self.text((x + w / 2, y + 22 + 18 * number), line, small=number > 0, middle=True)

    def text(self, at: Place, text: str, small: bool = True, middle: bool = False) -> None:
        """A line of text."""
        kind = ' class="s"' if small else ' font-weight="bold"'
        anchor = ' text-anchor="middle"' if middle else ""
        self.shapes.append(f'<text x="{at[0]:g}" y="{at[1]:g}"{kind}{anchor}>{escape(text)}</text>')

    def wire(self, kind: str, *places: Place, thick: bool = False) -> None:
        """A wire through ``places``."""
        path = "M" + "L".join(f"{x:g} {y:g}" for x, y in places)
        width = 5 if thick else 2.5
        self.shapes.append(f'<path d="{path}" stroke="{COLOURS[kind]}" stroke-width="{width:g}"/>')

    def meter(self, at: Place, letter: str, name: str = "") -> None:
        """A meter: a circle with its letter."""
        x, y = at
        self.shapes.append(
            f'<circle cx="{x:g}" cy="{y:g}" r="20" fill="#fff" stroke="#1b7f4b" stroke-width="3"/>'
        )
        self.text((x, y + 5), letter, small=False, middle=True)
        if name:
            self.text((x, y - 28), name, middle=True)

    def svg(self) -> str:
        """The whole file."""
        body = "\n".join(self.shapes)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" '
            f'font-family="sans-serif" font-size="15" role="img">\n<title>{escape(self.title)}</title>\n'
            f"<style>{STYLE}</style>\n"
            f'<rect width="{self.width}" height="{self.height}" fill="#fff"/>\n{body}\n</svg>\n'
        )


def _bench(drawing: Drawing, at: Place, *more: str) -> None:
    drawing.box(at, (200, 200), "strokebench", *more)
    x, y = at
    drawing.text((x + 10, y + 75), "VIN +")
    drawing.text((x + 10, y + 165), "VIN -")
    drawing.text((x + 148, y + 75), "OUT A")
    drawing.text((x + 148, y + 165), "OUT B")


def _supply(drawing: Drawing, limit: str) -> None:
    drawing.box((20, 60), (170, 150), "Laboratory supply", "12 V", f"limit {limit}")
    drawing.wire("plus", (190, 115), (330, 115))
    drawing.wire("minus", (190, 205), (330, 205))


def bring_up() -> Drawing:
    """Supply with limit, meter at the terminals, resistor on the outputs, stop, isolator."""
    d = Drawing("Bring-up: current-limited supply, voltmeter, load resistor, emergency stop", 880, 380)
    _supply(d, "0.5 A, later 3 A")
    d.meter((260, 160), "V", "")
    d.wire("signal", (260, 115), (260, 140))
    d.wire("signal", (260, 180), (260, 205))
    _bench(d, (330, 40))
    d.box((640, 120), (120, 90), "4.7 Ohm", "50 W, only when", "a step asks")
    d.wire("plus", (530, 115), (700, 115), (700, 120))
    d.wire("minus", (530, 205), (600, 205), (600, 225), (700, 225), (700, 210))
    d.box((330, 290), (200, 60), "Emergency stop", "break contact, closed at rest")
    d.wire("signal", (430, 240), (430, 290))
    d.box((20, 290), (110, 60), "Laptop", "")
    d.box((180, 290), (110, 60), "USB isolator")
    d.wire("signal", (130, 320), (180, 320))
    d.wire("signal", (290, 320), (310, 320), (310, 225), (330, 225))
    return d


def calibrate_current() -> Drawing:
    """The source in constant current drives through the reference and the low-side MOSFETs."""
    d = Drawing(
        "Calibrating the current: floating source, reference ammeter, both outputs on ground", 900, 330
    )
    _supply(d, "1 A")
    _bench(d, (330, 40), "both low sides on")
    d.box((680, 90), (190, 130), "Floating source", "constant current,", "5 V at most")
    d.text((688, 205), "+")
    d.text((688, 115), "-")
    d.wire("minus", (530, 110), (680, 110))
    d.meter((605, 200), "A", "reference")
    d.wire("plus", (530, 200), (585, 200))
    d.wire("plus", (625, 200), (680, 200))
    d.text((250, 270), "Positive current leaves output A. Negative points: swap the two wires of the source.")
    d.text((250, 292), "Switch the source on only when the bench asks for it, and off before it lets go.")
    return d


def calibrate_voltage() -> Drawing:
    """Voltage inputs: the reference on the very terminal that is calibrated."""
    d = Drawing("Calibrating voltages: the reference voltmeter on the terminal itself", 900, 400)
    d.box((350, 30), (200, 330), "strokebench")
    rows = (
        ("vin", "VIN + / -", "laboratory supply 9 to 15 V"),
        ("supply", "bulk capacitors", "laboratory supply 9 to 15 V on VIN"),
        ("output", "OUT A or B / ground", "source 1 to 12 V, 100 Ohm, limit 0.1 A"),
        ("sensor", "sensor input / ground", "potentiometer across the 5 V feed"),
        ("feed", "5 V feed / ground", "nothing; 12 V on VIN"),
    )
    for number, (channel, terminal, source) in enumerate(rows):
        y = 85 + 62 * number
        d.text((362, y + 5), terminal)
        d.wire("plus", (40, y + 12), (350, y + 12))
        d.text((40, y + 4), source)
        d.wire("signal", (550, y), (660, y))
        d.meter((680, y), "V")
        d.text((712, y + 5), f"reference, channel {channel}")
    return d


def drawings() -> dict[str, str]:
    """All drawings by file name."""
    made = (bring_up, calibrate_current, calibrate_voltage)
    wirings = {f"wiring-{part}.svg": drawing(load_part(part)) for part in WIRED}
    return {f"{draw.__name__.replace('_', '-')}.svg": draw().svg() for draw in made} | wirings


if __name__ == "__main__":
    for name, text in drawings().items():
        (DOCS / "img" / name).write_text(text, encoding="utf-8")
