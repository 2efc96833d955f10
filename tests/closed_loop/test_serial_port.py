"""What a serial port can do wrong, in the wording of three systems, and a pseudo-terminal that goes away."""

from __future__ import annotations

import errno
import os
import sys
import time

import pytest
from strokebench.errors import LinkError, LinkLost
from strokebench.link.serial import SLOWDOWN_VARIABLE, SerialPort, find_ports, open_error

# Texts as pyserial 3.5 words them (read in its serialposix.py and serialwin32.py).
CASES = [
    (OSError(errno.ENOENT, "could not open port /dev/ttyACM9: No such file"), False, "There is no port"),
    (OSError("could not open port 'COM9': FileNotFoundError(2, 'The system cannot find the file', None, 2)"),
     True, "There is no port"),
    (OSError("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"), True,
     "in use"),
    (OSError(errno.EBUSY, "Device or resource busy"), False, "in use"),
    (OSError("Could not exclusively lock port /dev/ttyACM0: [Errno 11] Resource temporarily unavailable"),
     False, "in use"),
    (OSError(errno.EACCES, "could not open port /dev/ttyACM0: Permission denied"), False, "No permission"),
    (OSError("Could not configure port: (25, 'Inappropriate ioctl for device')"), False, "not a serial port"),
    (OSError("Could not open port socket://nowhere:1: timed out"), False, "cannot be reached"),
]  # fmt: skip


@pytest.mark.parametrize(("error", "windows", "sentence"), CASES)
def test_each_system_error_has_its_own_sentence(error: OSError, windows: bool, sentence: str) -> None:
    name = "socket://nowhere:1" if "socket" in str(error) else "PORT"
    plain = open_error(name, error, windows)
    assert sentence in str(plain)
    assert plain.hint
    assert plain.exit_code == 4


def test_a_port_that_is_not_there() -> None:
    with pytest.raises(LinkError, match="There is no port /dev/no-such-port"):
        SerialPort("/dev/no-such-port")


def test_a_url_that_nobody_serves() -> None:
    with pytest.raises(LinkError, match="cannot be reached"):
        SerialPort("socket://127.0.0.1:1")


def test_an_unknown_url_scheme() -> None:
    with pytest.raises(LinkError):
        SerialPort("gopher://bench")


def test_ports_are_listed_without_opening_any() -> None:
    ports = find_ports()
    assert ports == sorted(ports, key=lambda port: (not port.pico, port.name))


posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a Unix thing")


@posix
def test_a_plain_file_is_not_a_serial_port(tmp_path: os.PathLike[str]) -> None:
    path = os.path.join(tmp_path, "file")
    open(path, "wb").close()
    with pytest.raises(LinkError, match="is not a serial port"):
        SerialPort(path)


@posix
def test_bytes_pass_and_a_closed_other_end_is_told() -> None:
    import pty
    import tty

    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    port = SerialPort(os.ttyname(theirs))
    os.close(theirs)
    os.write(ours, b"\x00\x03abc")
    assert port.read(1.0) == b"\x00\x03abc"
    port.write(b"\x11\x13")
    assert os.read(ours, 10) == b"\x11\x13"
    assert port.read(0.01) == b""
    os.close(ours)
    with pytest.raises(LinkLost, match="vanished"):
        port.read(1.0)
    with pytest.raises(LinkLost, match="vanished"):
        port.write(b"x")
    port.close()
    port.close()


@posix
def test_a_second_program_finds_the_port_busy() -> None:
    import pty

    ours, theirs = pty.openpty()
    first = SerialPort(os.ttyname(theirs))
    with pytest.raises(LinkError, match="in use by another program"):
        SerialPort(os.ttyname(theirs))
    first.close()
    for end in (ours, theirs):
        os.close(end)


@posix
def test_waits_are_stretched_for_a_slow_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = os.openpty()
    monkeypatch.setenv(SLOWDOWN_VARIABLE, "4")
    port = SerialPort(os.ttyname(theirs))
    began_s, began = time.monotonic(), port.now()
    assert port.read(0.05) == b""
    assert time.monotonic() - began_s >= 0.2
    assert port.now() - began == pytest.approx((time.monotonic() - began_s) / 4, abs=0.05)
    port.close()
    os.close(ours)
    os.close(theirs)


@pytest.mark.parametrize("text", ["", "fast", "0", "nan", "1e6"])
def test_a_slowdown_that_is_none_is_refused(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setenv(SLOWDOWN_VARIABLE, text)
    with pytest.raises(LinkError, match=SLOWDOWN_VARIABLE):
        SerialPort("/dev/no-such-port")
