"""The bench as a PyMeasure instrument: python with_pymeasure.py TCPIP::127.0.0.1::5025::SOCKET PART"""

import sys

from pymeasure.instruments import Instrument, SCPIMixin
from pymeasure.instruments.validators import strict_range


class StrokeBench(SCPIMixin, Instrument):
    """A strokebench behind `strokebench serve`."""

    current_a = Instrument.measurement("MEAS:CURR?", "Mean current through the part, A.")
    supply_v = Instrument.measurement("MEAS:VOLT? SUPP", "Supply, V.")
    sensor_v = Instrument.measurement("MEAS:VOLT? SENSA", "The part's position sensor, V.")
    duty_percent = Instrument.control(
        "SOUR:PULS:DCYC?", "SOUR:PULS:DCYC %g", "Duty by hand; its sign is the polarity.",
        validator=strict_range, values=(-100, 100), check_set_errors=True,
    )  # fmt: skip
    output = Instrument.control(
        "OUTP?",
        "OUTP %d",
        "Supply on the part.",
        map_values=True,
        values={True: 1, False: 0},
        check_set_errors=True,
    )
    verdict = Instrument.measurement("FETC:VERD?", "Verdict of the last run.", cast=str)

    def __init__(self, adapter, name="strokebench", **kwargs):
        super().__init__(adapter, name, read_termination="\n", timeout=60_000, **kwargs)

    def choose(self, part):
        """Select a part; its limits come into force."""
        self.write(f'CONF "{part}"')
        self.check_errors()

    def run(self):
        """Wait until the part is at rest, run its procedure and return the verdict."""
        while self.ask("*TST?").strip() != "0":
            self.write("OUTP:PROT:CLE;*CLS")
        self.write("INIT")
        self.check_errors()
        self.ask("*OPC?")
        return self.verdict


if __name__ == "__main__":
    bench = StrokeBench(sys.argv[1])
    try:
        bench.choose(sys.argv[2])
        bench.output = True
        for duty in (10, 20, 30):
            bench.duty_percent = duty
            print(f"{duty} %: {bench.current_a:.3f} A, sensor {bench.sensor_v:.3f} V")
        bench.output = False
        print("verdict:", bench.run())
    finally:
        bench.write("ABOR")
