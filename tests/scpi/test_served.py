"""A served bench with PyVISA as the client (pyvisa-py), real sockets, and a bridge that the test can see."""

from __future__ import annotations

import random
import socket
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.helpers.process import strokebench
from tests.helpers.waiting import wait_until
from tests.helpers.witnessed_bench import Witness
from tests.scpi.conftest import Served

pytestmark = pytest.mark.extras
NO_ERROR = '0,"No error"'
Connect = Callable[[], Any]


def raw(served: Served) -> socket.socket:
    """Return a bare connection."""
    return socket.create_connection((served.address, served.port), timeout=30)


def ready(client: Any) -> Any:
    """Select the part, and wait until it is at rest: one that still swings is found by the self-test."""
    client.query("*OPC?")
    client.write('CONF "short"')

    def at_rest() -> bool:
        client.write("OUTP:PROT:CLE")
        return bool(client.query("*TST?") == "0")

    wait_until(at_rest, "the part does not come to rest")
    client.write("*CLS")
    return client


def by_hand(client: Any, witness: Witness, percent: int) -> None:
    """Drive the part by hand. The self-test before it pulses the bridge, too, and is waited for."""
    client.write("OUTP ON")
    assert client.query("OUTP?;:SYST:ERR?") == f"1;{NO_ERROR}"
    client.write(f"PULS:DCYC {percent}")
    wait_until(lambda: witness.driven, "the part is not driven")


def test_it_says_what_it_is(connect: Connect, served: Served) -> None:
    client = connect()
    maker, board, number, versions = client.query("*IDN?").split(",")
    assert (maker, board) == ("strokebench", "simulated bench") and len(number) == 16 and "/" in versions
    assert client.query("SYST:VERS?") == "1999.0"
    assert client.query("*ESR?;*ESR?") == "128;0", "power-on, once"


def test_nothing_moves_without_limits(connect: Connect, witness: Witness) -> None:
    client = connect()
    client.write("*RST")
    for command in ("OUTP ON", "INIT"):
        client.write(command)
        assert client.query("SYST:ERR?").startswith("-221,")
    client.write("PULS:DCYC 20")
    assert client.query("SYST:ERR?").startswith("-221,")
    assert not witness.driven
    client.write("CURR:PROT 99")
    assert client.query("SYST:ERR?").startswith("-222,")
    client.write("CURR:PROT 6.5")
    assert client.query("SYST:ERR?;:CURR:PROT?") == f"{NO_ERROR};6.5"


def test_by_hand_and_stop(connect: Connect, witness: Witness) -> None:
    client = ready(connect())
    client.write("OUTP ON")
    assert client.query("OUTP?;:STAT:OPER:COND?;:SYST:ERR?") == f"1;256;{NO_ERROR}"
    client.write("PULS:DCYC 20")
    wait_until(lambda: witness.driven, "the part is not driven")
    assert float(client.query("MEAS:CURR?")) > 0.2
    assert client.query("PULS:DCYC?") == "20"
    since_s = time.time()
    client.write("ABOR")
    assert witness.off_after(since_s) < 0.5
    assert client.query("OUTP?;:SYST:ERR?") == f"0;{NO_ERROR}"


def test_a_run_to_its_verdict_and_its_samples(connect: Connect, served: Served) -> None:
    client = ready(connect())
    client.write('SYST:LAB CUST,"Harbour Garage";:SYST:LAB SER,"S-17";:STAT:OPER:ENAB 8;*SRE 128')
    client.write("INIT;*OPC")
    assert client.query("STAT:OPER:COND?") != "0"
    wait_until(lambda: int(client.query("*ESR?")) & 1, "*OPC sets its bit when the run is judged", 30.0)
    assert int(client.query("*STB?")) & (64 + 128) == 64 + 128, "service by polling"
    assert client.query("FETC:VERD?") in ("PASS", "FAIL", "INC")
    assert client.query("CALC:LIM:FAIL?") in ("0", "1", "9.91E+37")
    keys = [key.strip('"') for key in client.query("FETC:FIND:CAT?").split(",")]
    assert "supply_rest" in keys
    value, u, unit = client.query('FETC:FIND? "supply_rest"').split(",")[:3]
    assert 11 < float(value) < 14 and 0 < float(u) < 1 and unit == '"V"'
    rows = int(client.query("FETC:ARR:POIN?"))
    client.write("FORM REAL,64")
    exact = client.query_binary_values('FETC:ARR? "current_a"', "d", True, container=np.array)
    assert len(exact) == rows > 1000
    client.write("FORM:DATA REAL,32;BORD SWAP")
    close = client.query_binary_values('FETC:ARR? "current_a",100,50', datatype="f", container=np.array)
    assert np.array_equal(close, exact[100:150].astype(np.float32))
    client.write("FORM ASC")
    assert np.allclose(client.query_ascii_values('FETC:ARR? "current_a",100,50'), exact[100:150], atol=1e-8)
    listed = strokebench("book", "list", "--book", served.book, "--json", cwd=served.book.parent)
    assert '"Harbour Garage"' in listed.stdout and '"S-17"' in listed.stdout
    assert client.query("SYST:ERR?") == NO_ERROR


def test_abort_overtakes_what_waits(connect: Connect, witness: Witness, served: Served) -> None:
    client = ready(connect())
    with raw(served) as plain:
        client.write("SYST:LOCK:REL")
        plain.sendall(b'CONF "short";:INIT;*OPC?\r\n')
        wait_until(lambda: witness.driven, "the run does not begin")
        since_s = time.time()
        plain.sendall(b"ABORt\n")
        assert witness.off_after(since_s) < 0.5
        assert plain.recv(10) == b"1\n", "*OPC? answers once it is over"


def test_the_trigger_begins_a_run_that_waits(connect: Connect, witness: Witness) -> None:
    client = ready(connect())
    client.write("*TRG")
    assert client.query("SYST:ERR?").startswith("-211,")
    client.write("TRIG:SOUR BUS;:INIT")
    assert client.query("STAT:OPER:COND?;:TRIG:SOUR?") == "32;BUS" and not witness.driven
    client.write("*TRG")
    wait_until(lambda: witness.driven, "the run does not begin")
    assert client.query("*OPC?;:TRIG:SOUR IMM;:SYST:ERR?") == f"1;{NO_ERROR}"


def test_only_one_drives_and_anybody_stops(connect: Connect, witness: Witness) -> None:
    first, second = ready(connect()), connect()
    by_hand(first, witness, 15)
    second.write("PULS:DCYC 30")
    assert second.query("SYST:ERR?").startswith('-203,"Command protected;127.0.0.1:')
    assert second.query("SYST:LOCK:REQ?;OWN?").startswith('0;"127.0.0.1:')
    since_s = time.time()
    second.write("ABOR")
    assert witness.off_after(since_s) < 0.5
    first.write("SYST:LOCK:REL")
    wait_until(lambda: second.query("SYST:LOCK:REQ?") == "1", "the lock is free")
    second.write("SYST:LOCK:REL")


@pytest.mark.parametrize("way", ["closed", "silent"])
def test_a_client_that_is_gone_lets_the_part_go(connect: Connect, witness: Witness, way: str) -> None:
    client = ready(connect())
    by_hand(client, witness, 15)
    since_s = time.time()
    if way == "closed":
        client.close()
    assert witness.off_after(since_s, 10.0) < (1.0 if way == "closed" else 1.5 + 1.0)
    other = connect()
    wait_until(lambda: other.query("OUTP?") == "0", "the output is off")


def test_a_fault_comes_by_its_own_number(connect: Connect, witness: Witness) -> None:
    client = ready(connect())
    client.write("OUTP ON")
    assert client.query("OUTP?") == "1"
    witness.emergency(True)
    wait_until(lambda: client.query("OUTP:PROT:TRIP?") != "0", "no fault")
    code = client.query("OUTP:PROT:TRIP?")
    wait_until(lambda: int(client.query("SYST:ERR:COUN?")) > 0, "no error")
    errors = client.query("SYST:ERR:ALL?")
    assert f'{code},"' in errors, errors
    assert int(client.query("STAT:QUES?")) != 0 and client.query("OUTP?") == "0"
    client.write("OUTP ON")
    assert client.query("SYST:ERR?").startswith("-200,"), "refused while it is latched"
    witness.emergency(False)
    client.write("*CLS;OUTP:PROT:CLE")
    assert client.query("OUTP:PROT:TRIP?;:SYST:ERR?") == f"0;{NO_ERROR}"


def test_self_test(connect: Connect, witness: Witness) -> None:
    client = ready(connect())
    assert client.query("*TST?;:OUTP?;:SYST:ERR?") == f"0;0;{NO_ERROR}"
    assert not witness.driven


def test_too_long_a_line_is_one_error(connect: Connect, served: Served) -> None:
    with raw(served) as plain:
        plain.sendall(b"X" * 200_000 + b"\nSYST:ERR?\n")
        assert plain.recv(200).startswith(b"-363,")


PIECES = (
    "*IDN?", "*ESR?", "*STB?", "*ESE", "*SRE", "*CLS", "*OPC?", "*WAI", ":STAT:OPER:COND?", "STAT:QUES:ENAB",
    "12", "-1", "1E9999", "MAX", '"short"', "'", '"', "#", "#15abcde", "(", ";", ";:", ",", " ", "\t", "\x00",
    "\xff", "OUTP?", "FETC:CURR?", "FETC:FIND?", '"x"', 'FETC:ARR? "current_a"', "FORM", "REAL", "SYST:ERR?",
    "SYST:ERR:ALL?", "SYST:LOCK:OWN?", "CURR:PROT?", "PULS:DCYC", "CONF?", "FETC:VERD?", ":", "??", "\r",
)  # fmt: skip
"""Words of messages that move nothing, and what is no word of any."""


def garbage(served: Served, count: int, seed: int) -> None:
    """Send ``count`` random lines; after every hundred the server must still answer, and answer in order."""
    chance = random.Random(seed)
    with raw(served) as plain, plain.makefile("rb") as answers:
        for start in range(0, count, 100):
            for _ in range(100):
                line = "".join(chance.choice(PIECES) for _ in range(chance.randint(1, 8)))
                plain.sendall(line.encode("latin-1") + b"\n")
            mark = f"mark {start}"
            plain.sendall(f"\n*CLS;:CONF?;:SYST:LAB NOTE,'{mark}';:SYST:VERS?\n".encode())
            while b"1999.0" not in answers.readline():
                pass


def test_garbage_is_answered_by_errors_alone(connect: Connect, served: Served, witness: Witness) -> None:
    garbage(served, 3000, 1)
    assert connect().query("*IDN?").startswith("strokebench,") and not witness.driven


@pytest.mark.long
def test_a_hundred_thousand_random_messages(connect: Connect, served: Served, witness: Witness) -> None:
    garbage(served, 100_000, 2)
    assert connect().query("*IDN?").startswith("strokebench,") and not witness.driven
