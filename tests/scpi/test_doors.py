"""Served to other machines: a one-time token first, and a bench that is not there."""

from __future__ import annotations

import socket
from pathlib import Path
from typing import BinaryIO

import pytest

from tests.helpers.process import strokebench
from tests.helpers.waiting import wait_until
from tests.scpi.conftest import Served

pytestmark = pytest.mark.slow


def test_from_another_address_the_token_comes_first(tmp_path: Path) -> None:
    running = Served(tmp_path, "--sim", "solenoid", "--listen", "0.0.0.0")
    try:
        (token,) = running.tokens
        with _connected(running) as plain, plain.makefile("rb") as answers:
            plain.sendall(b"MEAS:CURR?;\nSYST:ERR?\nSYST:PASS:CEN 'WRONG'\nSYST:ERR?\n")
            assert answers.readline().startswith(b"-203,") and answers.readline().startswith(b"-203,")
        with _connected(running) as plain, plain.makefile("rb") as answers:
            plain.sendall(b"*IDN?\n")
            assert answers.readline().startswith(b"strokebench,")
            _until_let_in(plain, answers, token)
            plain.sendall(b"MEAS:VOLT?\n")
            assert 5 < float(answers.readline()) < 15
    finally:
        assert running.end()[0] == 0


def _connected(running: Served) -> socket.socket:
    return socket.create_connection(("127.0.0.1", running.port), 20)


def _until_let_in(plain: socket.socket, answers: BinaryIO, token: str) -> None:
    """Give the right token until it counts: after a wrong one nothing counts for a second."""

    def let_in() -> bool:
        plain.sendall(f"*CLS;:SYST:PASS:CEN '{token}';:SYST:ERR?\n".encode())
        return answers.readline().startswith(b"0,")

    wait_until(let_in, "the right token is refused")


def test_a_port_in_use_and_a_part_that_nobody_knows(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = taken.getsockname()[1]
        done = strokebench("serve", "--sim", "solenoid", "--scpi-port", number, cwd=tmp_path)
    assert done.returncode == 2 and "--scpi-port" in done.stderr and "Traceback" not in done.stderr
    done = strokebench("serve", "--sim", "toaster", cwd=tmp_path)
    assert done.returncode == 2 and "toaster" in done.stderr


def test_the_small_bench_is_served_too(tmp_path: Path) -> None:
    running = Served(tmp_path, "--sim", "solenoid", "--bench", "small")
    with socket.create_connection((running.address, running.port), timeout=30) as client:
        client.sendall(b"*OPC?;*IDN?\n")
        assert b"small" in client.makefile("rb").readline()
    assert running.end() == (0, "")


def test_a_real_bench_says_itself_which_it_is(tmp_path: Path) -> None:
    done = strokebench("serve", "--bench", "small", cwd=tmp_path)
    assert done.returncode == 2 and "Leave it out" in done.stderr
