"""The bench as a bluesky device: python with_bluesky.py TCPIP::127.0.0.1::5025::SOCKET PART"""

import sys
import time

import pyvisa
from bluesky import RunEngine
from bluesky.plans import scan
from ophyd_async.core import AsyncStatus


class Line:
    """The connection that both devices share."""

    def __init__(self, resource):
        self.visa = pyvisa.ResourceManager("@py").open_resource(resource)
        self.visa.read_termination = "\n"
        self.visa.timeout = 60_000

    def do(self, command):
        """Send a command; raise with the bench's own words if it will not."""
        error = self.visa.query(f"{command};:SYST:ERR?")
        if not error.startswith("0,"):
            raise RuntimeError(error)


class Duty:
    """A movable: the duty by hand, in percent."""

    name = "duty_percent"
    parent = None

    def __init__(self, line):
        self._line = line
        self._at = 0.0

    @AsyncStatus.wrap
    async def set(self, value):
        self._line.do(f"SOUR:PULS:DCYC {value:g}")
        self._at = float(value)

    def read(self):
        return {self.name: {"value": self._at, "timestamp": time.time()}}

    def describe(self):
        return {self.name: {"source": "SOUR:PULS:DCYC", "dtype": "number", "shape": [], "units": "%"}}

    def read_configuration(self):
        return {}

    def describe_configuration(self):
        return {}


QUESTIONS = {"current_a": ("MEAS:CURR?", "A"), "sensor_a_v": ("MEAS:VOLT? SENSA", "V")}


class Readings:
    """A readable: current and position sensor."""

    name = "readings"
    parent = None

    def __init__(self, line):
        self._line = line

    def read(self):
        found = {
            name: float(self._line.visa.query(question)) for name, (question, _unit) in QUESTIONS.items()
        }
        return {name: {"value": value, "timestamp": time.time()} for name, value in found.items()}

    def describe(self):
        return {
            name: {"source": question, "dtype": "number", "shape": [], "units": unit}
            for name, (question, unit) in QUESTIONS.items()
        }

    def read_configuration(self):
        return {}

    def describe_configuration(self):
        return {}


if __name__ == "__main__":
    line = Line(sys.argv[1])
    line.do(f'CONF "{sys.argv[2]}"')
    line.do("OUTP ON")
    try:
        RunEngine()(
            scan([Readings(line)], Duty(line), 10, 30, 3),
            lambda kind, document: kind == "event" and print(document["data"]),
        )
    finally:
        line.visa.write("ABOR")
