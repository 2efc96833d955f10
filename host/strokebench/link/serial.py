"""A bench on a serial port (USB), or behind any URL that pyserial opens (``socket://``, ``rfc2217://``)."""

from __future__ import annotations

import contextlib
import errno
import os
import time
from dataclasses import dataclass
from typing import Any

from strokebench.errors import LinkError, LinkLost

PICO_USB = (0x2E8A, 0x0005)
"""USB vendor and product id of a Pico that runs MicroPython."""
SLOWDOWN_VARIABLE = "STROKEBENCH_SLOWDOWN"
"""Environment variable: so many times slower than a real bench is the one at the port (an emulated chip)."""
SLICE_S = 0.02
WRITE_S = 1.0
_LIST = "`strokebench ports` lists what is there."


class SerialPort:
    """A :class:`strokebench.link.port.Port` on ``serial.serial_for_url(name)``.

    The environment variable ``STROKEBENCH_SLOWDOWN`` stretches every wait on it.  Raises
    :class:`LinkError` with a plain sentence when the port does not exist, is busy, is not permitted or
    is not a serial port; :class:`LinkLost` from ``read`` and ``write`` when it vanishes.
    """

    def __init__(self, name: str) -> None:
        import serial

        self.name = name
        self._slowdown = _asked_slowdown()
        try:
            self._serial: Any = serial.serial_for_url(name, do_not_open=True)
            self._serial.baudrate = 115200
            self._serial.timeout = SLICE_S
            self._serial.write_timeout = WRITE_S
            if os.name == "posix" and "://" not in name:
                self._serial.exclusive = True
            self._serial.open()
        except (OSError, ValueError) as error:  # SerialException is an OSError
            raise open_error(name, error) from error

    def read(self, timeout_s: float) -> bytes:
        """Return what has arrived, waiting up to ``timeout_s`` for the first byte."""
        deadline_s = time.monotonic() + timeout_s * self._slowdown
        try:
            while True:
                data: bytes = self._serial.read(self._serial.in_waiting or 1)
                if data:
                    return data + bytes(self._serial.read(self._serial.in_waiting))
                if time.monotonic() >= deadline_s:
                    return b""
        except (OSError, TypeError) as error:  # TypeError: pyserial's own answer to a port closed under it
            raise self._gone() from error

    def write(self, data: bytes) -> None:
        """Send all of ``data``."""
        import serial

        try:
            self._serial.write(data)
        except serial.SerialTimeoutException as error:
            raise LinkLost(
                f"The bench at {self.name} takes no data any more.", "Unplug it and plug it in again."
            ) from error
        except (OSError, TypeError) as error:
            raise self._gone() from error

    def close(self) -> None:
        """Close the port; never raises."""
        with contextlib.suppress(OSError):  # it is gone, which is what we wanted
            self._serial.close()

    def now(self) -> float:
        """Return the computer's monotonic clock in seconds, slowed down like the bench."""
        return time.monotonic() / self._slowdown

    def _gone(self) -> LinkLost:
        return LinkLost(
            f"The bench at {self.name} vanished in the middle.",
            "Check the USB cable and the bench's supply; without one the bench stops the part by itself.",
        )


def _asked_slowdown() -> float:
    text = os.environ.get(SLOWDOWN_VARIABLE, "1")
    try:
        slowdown = float(text)
    except ValueError:
        slowdown = 0.0
    if not 1.0 <= slowdown <= 1000.0:
        raise LinkError(
            f"{SLOWDOWN_VARIABLE} is {text!r}, not a number from 1 to 1000.", "Unset it for a real bench."
        )
    return slowdown


def open_error(name: str, error: Exception, windows: bool = os.name == "nt") -> LinkError:
    """Return the plain error for a port that did not open; knows Linux, macOS and Windows wording."""
    text = str(error)
    code = getattr(error, "errno", None)
    if code == errno.ENOENT or "FileNotFoundError" in text or "No such file" in text:
        return LinkError(f"There is no port {name}.", f"Check the cable. {_LIST}")
    denied = code == errno.EACCES or "PermissionError" in text or "ccess is denied" in text
    if code == errno.EBUSY or "exclusively lock" in text or "busy" in text.lower() or (denied and windows):
        return LinkError(
            f"The port {name} is in use by another program.", "Close that program, then try again."
        )
    if denied:
        return LinkError(
            f"No permission to open {name}.",
            "On Linux: add your user to the group that owns it (often `dialout`) and log in again.",
        )
    if "://" in name and (
        "Could not open" in text or "could not open" in text or isinstance(error, ValueError)
    ):
        return LinkError(f"{name} cannot be reached: {text}.", "Check the address and that its server runs.")
    if code in (errno.ENOTTY, errno.EINVAL, errno.EISDIR) or "ioctl" in text:
        return LinkError(f"{name} is not a serial port.", _LIST)
    return LinkError(f"The port {name} cannot be opened: {text}.", _LIST)


@dataclass(frozen=True)
class FoundPort:
    """A serial port of this computer; ``pico`` when its USB id is that of a Pico running MicroPython."""

    name: str
    description: str
    serial_number: str
    pico: bool


def find_ports() -> list[FoundPort]:
    """Return the computer's serial ports, Picos first."""
    from serial.tools import list_ports

    found = [
        FoundPort(
            port.device, port.description or "", port.serial_number or "", (port.vid, port.pid) == PICO_USB
        )
        for port in list_ports.comports()
    ]
    return sorted(found, key=lambda port: (not port.pico, port.name))
