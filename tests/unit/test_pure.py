"""The watch over this folder does see what it forbids, and other folders are let alone."""

from __future__ import annotations

import fractions
import importlib
import os
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

FORBIDDEN: dict[str, Callable[[], object]] = {
    "subprocess.Popen": lambda: subprocess.run([sys.executable, "-c", "pass"], check=True),
    "os.system": lambda: os.system("true"),
    "socket.__new__": socket.socket,
    "sqlite3.connect": lambda: sqlite3.connect(":memory:"),
}
if hasattr(os, "fork"):
    FORBIDDEN["os.fork"] = os.fork


@pytest.mark.parametrize("event", FORBIDDEN)
def test_what_is_not_pure_is_refused_and_noted(event: str, refused: list[str]) -> None:
    with pytest.raises(RuntimeError, match="belongs elsewhere"):
        FORBIDDEN[event]()
    assert refused == [event]
    refused.clear()  # this test alone may


def test_files_and_imports_are_let_alone(refused: list[str]) -> None:
    assert Path(__file__).read_text(encoding="utf-8").startswith('"""The watch')
    assert importlib.reload(fractions).Fraction(1, 2) == 0.5
    assert refused == []
