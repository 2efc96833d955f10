"""A small file system that can be filled to the last byte."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def full_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a folder on a file system of 1 MB; skipped where mounting is not allowed."""
    folder = tmp_path / "small"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], capture_output=True
    )
    if made.returncode:
        pytest.skip("mounting a small file system needs to be root")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)
