"""What commands print in a terminal of 80 columns: ``python -m tools.pages.terminal_pictures [NAME ...]``.

The commands are really run, on the simulated bench; rich turns their coloured output into SVG.
"""

from __future__ import annotations

import io
import os
import re
import shlex
import subprocess
import sys
import tempfile
from textwrap import shorten

from rich.console import Console
from rich.text import Text

from tools import DOCS

PICTURES = {
    "terminal-run": ("run solenoid --sim --inject weak_spring:severe",),
    "terminal-first": ("run throttle-body --sim --book first.book --report first.html",),
    "terminal-binding": (
        "run throttle-body --sim --inject binding:severe --book first.book --report binding.html",
    ),
    "terminal-watch": ("watch --sim --count 3",),
    "terminal-measure": ("measure --sim solenoid --max-current 1",),
    "terminal-exercise": (
        "exercise make --seed acorn --count 2 --book class.book",
        "exercise predict 1 --group 'Anna and Ben' --says good --book class.book",
        "exercise predict 2 --group 'Anna and Ben' --says sticky --book class.book",
        "exercise compare --seed acorn --book class.book",
    ),
    "terminal-connect": ("connect throttle-body --sim --yes --trouble wire_feed=4 --trouble wire_ground=3",),
    "terminal-find": ("connect egr-motor --sim --find --yes",),
    "terminal-book": (
        "run solenoid --sim --seed 3 --serial L7-001",
        "run solenoid --sim --seed 3 --serial L7-001 --inject sticky:moderate",
        "run solenoid --sim --seed 3 --serial L7-001 --inject sticky:severe",
        "book trend drop_out_current --serial L7-001",
    ),
}
"""The last command of each is shown, in the folder that those before it left."""
WIDTH = 80
WEB_FONT = re.compile(r"@font-face\s*\{[^}]*\}\s*")


def outputs(commands: tuple[str, ...]) -> list[str]:
    """Return what each command prints, colours included; the time of a run is made the same each time."""
    env = {**os.environ, "COLUMNS": str(WIDTH), "FORCE_COLOR": "1", "TERM": "xterm-256color"}
    env.pop("NO_COLOR", None)
    shown = []
    with tempfile.TemporaryDirectory() as folder:
        for command in commands:
            done = subprocess.run(
                [sys.executable, "-m", "strokebench", *shlex.split(command)],
                cwd=folder,
                env=env,
                encoding="utf-8",
                check=False,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
            shown.append(re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d", "2026-05-31T10:00", done.stdout))
    return shown


def picture(name: str) -> str:
    """Return the SVG ``name``."""
    commands = PICTURES[name]
    console = Console(record=True, width=WIDTH, file=io.StringIO(), force_terminal=True)
    console.print(Text.from_ansi(outputs(commands)[-1].rstrip()))
    title = shorten(f"strokebench {commands[-1]}", 60, placeholder=" ...")
    return WEB_FONT.sub("", console.export_svg(title=title, unique_id=name))


if __name__ == "__main__":
    for name in sys.argv[1:] or PICTURES:
        (DOCS / "img" / f"{name}.svg").write_text(picture(name), encoding="utf-8")
