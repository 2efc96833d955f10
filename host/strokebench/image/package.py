"""Writes the firmware as a package for MicroPython's own installer, mip.

``python -m strokebench.image.package FOLDER`` makes the folder. Then ``mpremote mip install
FOLDER/package.json`` copies it onto a Pico, or a web server offers the folder to others.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import strokefw

from strokebench.errors import StrokebenchError, UsageError
from strokebench.image.files import lean_firmware, write_files

LIST = "package.json"


def listing() -> str:
    """The package's list as mip reads it: (where on the chip, where in the folder) of every file.

    mip counts from the chip's folder /lib; main.py belongs beside that.
    """
    urls = [("../main.py" if name == "main.py" else name, name) for name in lean_firmware()]
    version = ".".join(map(str, strokefw.VERSION))
    return json.dumps({"version": version, "deps": [], "urls": urls}, indent=2) + "\n"


def write(folder: Path) -> int:
    """Write the list and the folded sources into a new or empty folder; return how many files they are.

    Raises UsageError when the folder holds something already or cannot be written.
    """
    files = {**lean_firmware(), LIST: listing().encode()}
    try:
        if folder.exists() and any(folder.iterdir()):
            raise UsageError(f"The folder {folder} is not empty.", "Name a new one, or empty it.")
        write_files(folder, files)
    except OSError as error:
        raise UsageError(
            f"The folder {folder} cannot be written ({error.strerror}).", "Name another."
        ) from error
    return len(files)


def main(arguments: list[str] | None = None) -> int:
    """Write the package into the folder named on the command line; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m strokebench.image.package", description=__doc__)
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="a new or empty folder")
    folder: Path = parser.parse_args(arguments).folder
    try:
        count = write(folder)
    except StrokebenchError as error:
        print(f"{error} {error.hint}", file=sys.stderr)
        return error.exit_code
    print(f"{count} files in {folder}. Install with: mpremote mip install {folder / LIST}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
