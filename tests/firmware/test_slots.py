"""Slots: two checksummed copies; one damaged copy does no harm. (Power cuts: tests/chip.)"""

from __future__ import annotations

from pathlib import Path

import pytest
from strokefw.slots import Slots

DATA = bytes(range(64))


def test_comes_back_after_reopening(tmp_path: Path) -> None:
    Slots(str(tmp_path / "s")).store(3, DATA)
    assert Slots(str(tmp_path / "s")).load(3) == DATA
    assert Slots(str(tmp_path / "s")).load(4) is None


@pytest.mark.parametrize("copy", ["a", "b"])
@pytest.mark.parametrize("damage", ["flip", "short", "empty", "gone"])
def test_one_damaged_copy_does_no_harm(tmp_path: Path, copy: str, damage: str) -> None:
    slots = Slots(str(tmp_path))
    slots.store(0, DATA)
    path = tmp_path / f"0{copy}"
    whole = path.read_bytes()
    if damage == "gone":
        path.unlink()
    else:
        path.write_bytes(
            {"flip": whole[:9] + b"\xee" + whole[10:], "short": whole[:-1], "empty": b""}[damage]
        )
    assert slots.load(0) == DATA


@pytest.mark.parametrize("place", range(0, 70, 7))
def test_both_copies_damaged_is_no_record(tmp_path: Path, place: int) -> None:
    slots = Slots(str(tmp_path))
    slots.store(0, DATA)
    for copy in "ab":
        path = tmp_path / f"0{copy}"
        whole = bytearray(path.read_bytes())
        whole[place % len(whole)] ^= 0x10
        path.write_bytes(whole)
    assert slots.load(0) is None


def test_an_empty_record_is_one(tmp_path: Path) -> None:
    slots = Slots(str(tmp_path))
    slots.store(1, b"")
    assert slots.load(1) == b""
