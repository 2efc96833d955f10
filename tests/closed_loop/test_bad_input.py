"""Whatever is wrong from outside ends in one sentence and its exit code, through the real command line."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from strokebench.book.book import Book
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, welcome
from tests.helpers.process import short_profile, simulated_device, strokebench
from tests.helpers.waiting import wait_until

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")]


def refused(code: int, sentence: str, *args: object, cwd: Path, **more: object) -> str:
    """Run, expect ``code`` and ``sentence`` in one error and no traceback; return standard error."""
    result = strokebench(*args, cwd=cwd, **more)
    assert result.returncode == code, result.stderr
    assert "Traceback" not in result.stderr
    flowing = " ".join(result.stderr.split())
    assert flowing.count("Error:") == 1
    assert sentence in flowing
    return flowing


@contextlib.contextmanager
def terminal(port: FakePort | None = None) -> Iterator[str]:
    """A pseudo-terminal; with ``port``, its scripted bench answers at the other end."""
    import pty
    import select
    import tty

    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    done = threading.Event()

    def answer() -> None:
        while not done.is_set():
            if select.select([ours], [], [], 0.02)[0] and port is not None:
                port.write(os.read(ours, 4096))
                os.write(ours, port.read(0.0))

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        yield os.ttyname(theirs)
    finally:
        done.set()
        thread.join()
        os.close(ours)
        os.close(theirs)


def test_no_such_port(tmp_path: Path) -> None:
    refused(
        4, "There is no port /dev/ttyNONE", "run", "throttle-body", "--port", "/dev/ttyNONE", cwd=tmp_path
    )


def test_busy_port(tmp_path: Path) -> None:
    from strokebench.link.serial import SerialPort

    with terminal() as name, contextlib.closing(SerialPort(name)):
        refused(4, f"The port {name} is in use", "info", "--port", name, cwd=tmp_path)


def test_a_port_where_nobody_answers(tmp_path: Path) -> None:
    with terminal() as name:
        refused(4, f"Nothing answers at {name}", "info", "--port", name, cwd=tmp_path)


def test_a_port_that_is_not_a_bench(tmp_path: Path) -> None:
    modem = FakePort({"hello": lambda *_: b"\r\nERROR\r\n"})
    with terminal(modem) as name:
        refused(4, "is not a bench", "run", "throttle-body", "--port", name, cwd=tmp_path)


@pytest.mark.parametrize(("protocol", "sentence"), [(0, "is older"), (wire.PROTOCOL + 1, "is newer")])
def test_firmware_of_another_age(tmp_path: Path, protocol: int, sentence: str) -> None:
    port = FakePort()
    port.script["hello"] = lambda *_: wire.frame(wire.ID["welcome"], 1, welcome(protocol=protocol))
    with terminal(port) as name:
        refused(4, sentence, "stop", "--port", name, cwd=tmp_path)


def test_unplugged_in_the_middle(tmp_path: Path) -> None:
    profile = short_profile(tmp_path, 20)
    with simulated_device(tmp_path, "--pty") as (name, bench):

        def unplug() -> None:
            wait_until(lambda: _samples(tmp_path / "t.book") > 300)
            bench.kill()

        thread = threading.Thread(target=unplug)
        thread.start()
        said = refused(
            4, "vanished in the middle", "run", profile, "--port", name, "--book", "t.book", cwd=tmp_path
        )
        thread.join()
    assert "What was recorded is kept: run 1 in t.book" in said
    with Book(tmp_path / "t.book", read_only=True) as book:
        (summary,) = book.runs()
        assert summary.outcome == "cut"
        assert summary.samples > 300


def _samples(path: Path) -> int:
    from strokebench.errors import BookError

    with contextlib.suppress(BookError), Book(path, read_only=True) as book:
        return sum(run.samples for run in book.runs())
    return 0


PROFILES = [
    ("[limits\n", "not valid TOML"),
    ('based_on = "throttle-body"\n[limits]\ncurrent_max_a = 500\n', "limits.current_max_a = 500"),
    ('based_on = "throttle-body"\n[limits]\nsupply_min_v = 16.0\n', "supply_min_v = 16 must be below"),
    ('based_on = "throttle-body"\n[limits]\nsupply_max_v = 24.0\n', "must be between 8 and 17 V"),
    ('based_on = "throttle-body"\n[procedure]\nsegments = []\n', "procedure.segments"),
    ("", "part is missing"),
]


@pytest.mark.parametrize(("text", "sentence"), PROFILES)
def test_profiles_that_cannot_be_used(tmp_path: Path, text: str, sentence: str) -> None:
    (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
    refused(2, sentence, "run", "bad.toml", "--sim", cwd=tmp_path)


def test_unknown_part_fault_and_contradicting_options(tmp_path: Path) -> None:
    refused(2, "There is no part called 'flap'", "run", "flap", "--sim", cwd=tmp_path)
    refused(2, "gremlins", "run", "throttle-body", "--sim", "--inject", "gremlins", cwd=tmp_path)
    refused(2, "exclude each other", "run", "throttle-body", "--sim", "--port", "x", cwd=tmp_path)
    assert strokebench("run", cwd=tmp_path).returncode == 2
    assert strokebench("dance", cwd=tmp_path).returncode == 2


def test_full_disk(tmp_path: Path) -> None:
    import resource

    def little_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))

    profile = short_profile(tmp_path, 30)
    refused(6, "t.book", "run", profile, "--sim", "--book", "t.book", cwd=tmp_path, preexec_fn=little_room)
    with Book(tmp_path / "t.book", read_only=True) as book:
        assert book.runs()[0].outcome == "cut"
        assert len(book.load(1).samples) > 500, "what was committed before stays"


def bound_by_permissions() -> None:
    """Take from root the right to write what its permissions forbid (Linux: CAP_DAC_OVERRIDE)."""
    if os.geteuid() == 0:
        import ctypes

        drop_from_bounding_set, dac_override = 24, 1  # prctl(2), capabilities(7)
        ctypes.CDLL(None).prctl(drop_from_bounding_set, dac_override, 0, 0, 0)


def test_read_only_book(tmp_path: Path) -> None:
    Book(tmp_path / "t.book").close()
    profile = short_profile(tmp_path)
    (tmp_path / "t.book").chmod(0o444)
    tmp_path.chmod(0o555)
    command = ("run", profile, "--sim", "--book", "t.book")
    try:
        said = refused(6, "is read-only", *command, cwd=tmp_path, preexec_fn=bound_by_permissions)
        assert "permissions" in said
    finally:
        tmp_path.chmod(0o755)


def test_a_book_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "t.book").write_text("not a database, but some text that is long enough to be looked at")
    refused(6, "is not a job book", "run", "throttle-body", "--sim", "--book", "t.book", cwd=tmp_path)
    refused(6, "is not a job book", "report", "--book", "t.book", cwd=tmp_path)
    refused(6, "There is no job book", "export", "--csv", "x.csv", "--book", "none.book", cwd=tmp_path)


HEAD = "time_s,drive,current_a,sensor_a_v\n"
FILES = [
    ("time_s,drive\n0,0\n", "has no column current_a"),
    (HEAD + "0,0,1,1\n0.001,0,nan,1\n", "current_a is not a number in 1 of 2 rows, first in line 3"),
    (HEAD + "0.002,0,1,1\n0.001,0,1,1\n", "time_s goes back at line 3"),
    (HEAD + "0,0,1,1\n0.001,0,5000,1\n", "current_a reaches 5000"),
    (HEAD + "0,0,1,1\n1,0,1,1\n", "time_s gives 1 rows per second"),
]


@pytest.mark.parametrize(("text", "sentence"), FILES)
def test_csv_files_that_cannot_be_used(tmp_path: Path, text: str, sentence: str) -> None:
    (tmp_path / "bad.csv").write_text(text)
    refused(7, sentence, "judge", "bad.csv", "--part", "throttle-body", cwd=tmp_path)


def test_errors_as_json_are_json_and_nothing_else(tmp_path: Path) -> None:
    import json

    result = strokebench("run", "flap", "--sim", "--json", cwd=tmp_path)
    told = json.loads(result.stdout)
    assert told["exit_code"] == result.returncode == 2
    assert "flap" in told["error"]
    assert result.stderr == ""
