"""Bring-up and calibration walked through on the simulated bench, as pages of the documentation.

``python -m tools.pages.walkthroughs`` writes docs/walk-bring-up.md and docs/walk-calibrate.md;
``--check`` only says whether they still say what the program does.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tools import DOCS

PAGES = ("walk-bring-up.md", "walk-calibrate.md")
DATE = re.compile(r"\b20\d\d-\d\d-\d\d\b")
NUMBER = re.compile(r"\b(?<=[ -])[0-9a-f]{8}(?=\b|\.)")

BRINGUP_HEAD = """# Bring-up, walked through

This page shows what `strokebench bringup` prints, for a good bench and for three benches with a defect. The
simulation does the work of the hands and reads the meters by itself. On your own bench the program asks you
to do that. For hardware read [Bring up a bench](bring-up.md). The page is made by
`python -m tools.pages.walkthroughs` on the simulated bench, and a test compares it.
"""
CALIBRATE_HEAD = """# Calibration, walked through

This page shows what `strokebench calibrate` prints. The simulated bench is "as built": its errors are as
large as the tolerances of its parts allow. Sources and meters are simulated too. For yours read [Calibrate
a bench](calibrate.md). The identity of a calibration contains its date, so it is shown as `xxxxxxxx` here,
and the date as `YYYY-MM-DD`. The page is made by `python -m tools.pages.walkthroughs`, and a test compares
it.
"""
FAULTS = (
    ("mosfet_short_ah", "MOSFET A high shorted: its output does not float where it should."),
    ("heatsink_ntc_open", "The plug of the heatsink's thermistor forgotten."),
    ("comparator_dead", "The fast current limit not connected."),
)


def run(*args: str) -> str:
    """Return what ``strokebench args`` prints, and its exit code where that is not 0."""
    from strokebench.cli import main

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = main(args)
    return out.getvalue().rstrip() + ("" if code == 0 else f"\n(exit code {code})")


def session(*args: str, last: int = 0) -> str:
    """Return one command with its output as a block of Markdown; ``last``: only so many lines of it."""
    shown = run(*args)
    if last:
        shown = "...\n" + "\n".join(shown.splitlines()[-last:])
    return f"```text\n$ strokebench {' '.join(args)}\n{shown}\n```\n"


def bring_up() -> str:
    """Return the page of the bring-up."""
    parts = [BRINGUP_HEAD, "## A good bench\n", session("bringup", "--sim")]
    parts.append("## Benches with something wrong\n")
    parts.append("`--trouble` gives the simulated bench a defect; the bring-up stops where it shows.\n")
    for name, sentence in FAULTS:
        parts += [f"{sentence}\n", session("bringup", "--sim", "--fresh", "--trouble", name, last=9)]
    return "\n".join(parts)


def calibrate() -> str:
    """Return the page of the calibration."""
    bench = ("--sim", "--as-built", "--memory", "flash")
    parts = [
        CALIBRATE_HEAD,
        "## One channel\n",
        session("calibrate", *bench, "--channel", "current_fine", "--person", "A. Baker"),
        "## The others\n",
        "`--memory` stands for the chip's flash: the calibration is still there when the bench is switched\n"
        "on again, and the channel that is not read again keeps its numbers.\n",
        session(
            "calibrate", *bench, *(f"--channel={name}" for name in ("vin", "supply", "sensor_a", "feed")),
            "--person", "A. Baker",
        ),
        "## Nonsense is refused\n",
        _refused(),
    ]  # fmt: skip
    return NUMBER.sub("xxxxxxxx", DATE.sub("YYYY-MM-DD", "\n".join(parts)))


def _refused() -> str:
    from strokebench.errors import DataError

    Path("slip.csv").write_text(
        "channel,reference,counts\nvin,9000,23310\nvin,15000,38850\n", encoding="utf-8"
    )
    Path("meter.toml").write_text('[[instrument]]\nname = "shop meter"\npercent = 0.5\n', encoding="utf-8")
    args = (
        "calibrate",
        "--sim",
        "--readings",
        "slip.csv",
        "--reference",
        "meter.toml",
        "--person",
        "A. Baker",
    )
    error = io.StringIO()
    with contextlib.redirect_stderr(error):
        shown = run(*args)
    assert DataError.exit_code == 7 and "exit code 7" in shown
    complaint = " ".join(error.getvalue().split())
    return f"```text\n$ strokebench {' '.join(args)}\n{complaint}{shown}\n```\n"


@contextlib.contextmanager
def _elsewhere() -> Iterator[None]:
    """Work in an empty folder, so that nothing of the user's is read or written."""
    before = Path.cwd()
    kept = os.environ.pop("STROKEBENCH_CALIBRATIONS", None)
    with tempfile.TemporaryDirectory(prefix="strokebench-") as folder:
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(before)
            if kept is not None:
                os.environ["STROKEBENCH_CALIBRATIONS"] = kept


def pages() -> dict[str, str]:
    """Return both pages by file name."""
    texts = []
    for make in (bring_up, calibrate):
        with _elsewhere():
            texts.append(make())
    return dict(zip(PAGES, texts, strict=True))


def main(argv: list[str]) -> int:
    """Write the pages, or compare them."""
    made = pages()
    if "--check" in argv:
        stale = [name for name, text in made.items() if (DOCS / name).read_text(encoding="utf-8") != text]
        print(
            "\n".join(f"{name} is not what the program does now" for name in stale)
            or "The pages are up to date."
        )
        return 1 if stale else 0
    for name, text in made.items():
        (DOCS / name).write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
