"""A report as PDF, printed by a browser that is on this computer."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from strokebench.data.output import output_file
from strokebench.errors import BookError

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge")
VARIABLE = "STROKEBENCH_CHROMIUM"
SLOWEST_S = 120


def browser() -> str:
    """Return the path of a Chromium: $STROKEBENCH_CHROMIUM, else on the path; BookError without."""
    found = next((path for name in _names() if (path := shutil.which(name))), None)
    if found is None:
        raise BookError(
            "There is no Chromium on the path to make a PDF with.",
            f"Install it, or name its program in ${VARIABLE}; or print the HTML page from any browser.",
        )
    return found


def _names() -> tuple[str, ...]:
    named = os.environ.get(VARIABLE)
    return (named,) if named else BROWSERS


def print_page(page: Path, mark: str, *, replace: bool = False) -> Path:
    """Print an HTML report into a PDF beside it, on the paper that it asks for, and return the file.

    An earlier PDF of the same name is replaced only with ``replace``. Raises :class:`BookError`.
    """
    target = page.with_suffix(".pdf")
    program = browser()
    with output_file(target, replace=replace, mark=mark) as partial, tempfile.TemporaryDirectory() as home:
        command = [
            program, "--headless", "--disable-gpu", "--no-first-run", f"--user-data-dir={home}",
            "--no-pdf-header-footer", f"--print-to-pdf={partial.resolve()}",
        ]  # fmt: skip
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.append("--no-sandbox")  # Chromium refuses to run as root with it
        try:
            subprocess.run(
                [*command, page.resolve().as_uri()], check=True, capture_output=True, timeout=SLOWEST_S
            )
        except (OSError, subprocess.SubprocessError) as error:
            raise _failed(program) from error
        if not partial.stat().st_size:
            raise _failed(program)
    return target


def _failed(program: str) -> BookError:
    return BookError(
        f"{program} did not print the page.", "Open the HTML report in a browser and print it from there."
    )
