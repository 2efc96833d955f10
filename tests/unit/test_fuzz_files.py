"""Profiles and recordings with anything in them: read, or refused in a sentence, soon."""

from __future__ import annotations

import random
import time
from importlib import resources
from pathlib import Path

import pytest
from strokebench.errors import StrokebenchError
from strokebench.foreign.read import read_csv
from strokebench.parts import load_part, part_names

SLOWEST_S = 20.0
"""For one file, on a busy computer; 2 million keys took 90 s."""
SCRAPS = (
    "[", "]", "{", "}", '"', "'", "=", ".", ",", "\n", "\r", "\0", "\ufeff", "9" * 400, "nan", "inf",
    "-", "1e400", "true", "[[limits]]\n", "[limits]\n", "#", "\\", "\u202e", "\x1b[2J", "1979-05-27",
    "0x", '"""', "é", ";", "\t",
)  # fmt: skip


def mangled(text: str, dice: random.Random) -> bytes:
    """Return ``text`` with a few pieces put in, taken out, swapped or doubled."""
    for _ in range(dice.choice((1, 3, 12))):
        at, end = sorted((dice.randrange(len(text) + 1), dice.randrange(len(text) + 1)))
        end = min(end, at + 40)
        way = dice.randrange(4)
        if way == 0:
            text = text[:at] + dice.choice(SCRAPS) + text[at:]
        elif way == 1:
            text = text[:at] + text[end:]
        elif way == 2:
            text = text[:at] + text[at:end] * 3 + text[end:]
        else:
            text = text[:at] + dice.choice(SCRAPS) + text[end:]
    data = bytearray(text.encode("utf-8", "surrogatepass"))
    if dice.random() < 0.2 and data:
        data[dice.randrange(len(data))] = dice.randrange(256)
    return bytes(data)


def profiles(path: Path, seeds: range) -> set[str]:
    """Load mangled built-in profiles; return how they ended."""
    texts = [
        (resources.files("strokebench.parts") / f"{name}.toml").read_text("utf-8") for name in part_names()
    ]
    ends = set()
    for seed in seeds:
        dice = random.Random(seed)
        path.write_bytes(mangled(dice.choice(texts), dice))
        began_s = time.monotonic()
        try:
            load_part(path)
            ends.add("read")
        except StrokebenchError as error:
            ends.add(type(error).__name__)
            assert str(error)
        assert time.monotonic() - began_s < SLOWEST_S, seed
    return ends


CSV = "time_s,current_a,supply_v,output_a_v\n" + "".join(
    f"{n / 1000:.3f},{n % 7 * 0.5:.3f},12.6,{6 + n % 3}\n" for n in range(60)
)


def recordings(path: Path, seeds: range) -> set[str]:
    """Read mangled recordings; return how they ended."""
    ends = set()
    for seed in seeds:
        dice = random.Random(seed)
        path.write_bytes(mangled(CSV, dice))
        try:
            read_csv(str(path), "")
            ends.add("read")
        except StrokebenchError as error:
            ends.add(type(error).__name__)
            assert str(error)
    return ends


def test_mangled_profiles(tmp_path: Path) -> None:
    assert {"read", "ProfileError"} <= profiles(tmp_path / "p.toml", range(400))


def test_mangled_recordings(tmp_path: Path) -> None:
    assert {"read", "DataError"} <= recordings(tmp_path / "r.csv", range(400))


@pytest.mark.long
def test_mangled_files_by_the_ten_thousand(tmp_path: Path) -> None:
    assert profiles(tmp_path / "p.toml", range(10_000, 20_000))
    assert recordings(tmp_path / "r.csv", range(10_000, 20_000))


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "9" * 5000,
        "a = " + "[" * 5000 + "]" * 5000,
        "a=" + "{a=" * 3000 + "1" + "}" * 3000,
        ".".join("a" * 5000) + " = 1",
        "\n".join(f"k{n} = 1" for n in range(30_000)),
        "a = 1\n" * 2_000_000,
    ],
    ids=["digits", "brackets", "tables", "dots", "unknown keys", "2 million keys"],
)
def test_a_profile_that_is_made_to_hurt_is_refused_soon(tmp_path: Path, text: str) -> None:
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    began_s = time.monotonic()
    with pytest.raises(StrokebenchError):
        load_part(path)
    assert time.monotonic() - began_s < SLOWEST_S


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text('based_on = "solenoid"\n', encoding="utf-8-sig")
    assert load_part(path).kind == load_part("solenoid").kind
