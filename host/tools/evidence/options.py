"""Options that several commands share which run many trials, and what they mean."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from strokebench.parts import part_names
from strokebench.sim.trials import GRADES as ALL_GRADES

from tools import ROOT

GRADES = ALL_GRADES[:2]
"""Moderate and severe: sizes of their own, without those spread between and beyond them."""


def add_parts(parser: argparse.ArgumentParser) -> None:
    """Add ``--part``."""
    parser.add_argument("--part", default="all", help="a part, several with commas, or all (default)")


def parts_of(args: argparse.Namespace) -> list[str]:
    """Return the names of the parts that ``--part`` asks for."""
    return part_names() if args.part == "all" else args.part.split(",")


def add_no_more(parser: argparse.ArgumentParser) -> None:
    """Add ``--no-more``, for commands whose result can be made of fewer trials than planned."""
    parser.add_argument("--no-more", action="store_true", help="run no trial, use those that are kept")


def add_work(parser: argparse.ArgumentParser, name: str) -> None:
    """Add who does the work and where it is kept: ``--jobs``, ``--scheduler`` and ``--kept``."""
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--scheduler", default="", metavar="ADDRESS", help="Dask scheduler, tcp://HOST:PORT")
    parser.add_argument("--kept", type=Path, default=ROOT / f"{name}-trials", help="folder of what is done")
