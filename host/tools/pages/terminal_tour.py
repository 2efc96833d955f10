"""The recording on top of the README, an animated SVG: ``python -m tools.pages.terminal_tour`` draws it.

The commands are really run on the simulated bench. Each is typed, then its output stays for some seconds.
Browsers that are set to show no motion get the last picture.
"""

from __future__ import annotations

import io
from html import escape

from rich.console import Console
from rich.terminal_theme import SVG_EXPORT_THEME
from rich.text import Text

from tools import DOCS
from tools.pages.terminal_pictures import WIDTH, outputs

COMMANDS = (
    "run throttle-body --sim",
    "run throttle-body --sim --inject binding:severe",
    "why 2",
    "finding binding",
)
ROWS = 25
TYPED_S, READ_S = 3.0, 10.0
CELL_W, CELL_H, PAD = 8.4, 18, 12
HEAD = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height}" role="img"
 aria-label="A terminal: a good throttle body passes, one that binds fails, and the program says why">
<style>
text {{ font: 14px ui-monospace, Menlo, Consolas, "DejaVu Sans Mono", monospace; white-space: pre;
 fill: #d9dee4; }}
.s {{ visibility: hidden; animation-duration: {whole:g}s; animation-iteration-count: infinite;
 animation-timing-function: step-end; }}
{frames}
@media (prefers-reduced-motion: reduce) {{ .s {{ animation: none; }} .last {{ visibility: visible; }} }}
</style>
<rect width="100%" height="100%" rx="8" fill="#1c2430"/>
"""


def tour() -> str:
    """Return the animated SVG."""
    scenes: list[tuple[str, float]] = []
    for command, shown in zip(COMMANDS, outputs(COMMANDS), strict=True):
        prompt = f"$ strokebench {command}"
        steps = range(2, len(prompt) + 1, 3)
        scenes += [(_line(prompt[:end] + "\u2588", 0), TYPED_S / len(steps)) for end in steps]
        scenes.append((_screen(prompt, shown), READ_S))
    whole = sum(lasts for _, lasts in scenes)
    frames, groups, at = [], [], 0.0
    for number, (drawn, lasts) in enumerate(scenes):
        start, end = 100 * at / whole, 100 * (at + lasts) / whole
        frames.append(
            f"@keyframes k{number} {{ 0% {{ visibility: hidden; }} {start:.3f}% {{ visibility: visible; }}"
            f" {end:.3f}%, 100% {{ visibility: hidden; }} }} .k{number} {{ animation-name: k{number}; }}"
        )
        last = " last" if number == len(scenes) - 1 else ""
        groups.append(f'<g class="s k{number}{last}">{drawn}</g>')
        at += lasts
    size = {"width": WIDTH * CELL_W + 2 * PAD, "height": ROWS * CELL_H + 2 * PAD}
    return HEAD.format(**size, whole=whole, frames="\n".join(frames)) + "\n".join(groups) + "\n</svg>\n"


def _screen(prompt: str, shown: str) -> str:
    """The prompt and what was printed below it; what does not fit on the screen is left out."""
    console = Console(width=WIDTH, file=io.StringIO(), force_terminal=True, color_system="truecolor")
    lines = [Text(prompt), *Text.from_ansi(shown.rstrip()).wrap(console, WIDTH)]
    if len(lines) > ROWS:
        lines = [*lines[: ROWS - 1], Text("...")]
    return "".join(_line(line, row) for row, line in enumerate(lines))


def _line(line: Text | str, row: int) -> str:
    text = Text(line) if isinstance(line, str) else line
    spans = []
    for segment in text.render(Console(width=WIDTH, file=io.StringIO())):
        words = escape(segment.text.rstrip("\n"))
        style = segment.style
        look = ""
        if style is not None and style.color is not None:
            red, green, blue = style.color.get_truecolor(SVG_EXPORT_THEME)
            look += f' fill="#{red:02x}{green:02x}{blue:02x}"'
        if style is not None and style.bold:
            look += ' font-weight="bold"'
        spans.append(f"<tspan{look}>{words}</tspan>" if look else words)
    return f'<text x="{PAD}" y="{PAD + (row + 0.8) * CELL_H:g}">{"".join(spans)}</text>'


if __name__ == "__main__":
    (DOCS / "img" / "terminal-tour.svg").write_text(tour(), encoding="utf-8")
