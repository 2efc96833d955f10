"""Who does what a bring-up asks for: a person, or the simulated laboratory."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol

from strokebench.bringup.steps import Step
from strokebench.calibrate.dialogue import Quit, Skip, answer
from strokebench.calibrate.units import reading
from strokebench.errors import DataError

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.sim.laboratory import Laboratory

__all__ = ["Hands", "LaboratoryHands", "PersonHands", "Quit", "Skip"]

LOAD_OHM = 4.7
SENSOR_V = {"sensor_low": 0.0, "sensor_high": 5.0}
"""What hands join the sensor's input to, as volts of a feed of 5 V."""


class Hands(Protocol):
    """``waits``: a person takes time, and the bench must be kept alive meanwhile."""

    waits: bool

    def prepare(self, step: Step) -> None:
        """Show the step and do what comes before the measurement, except while driving."""

    def press(self) -> None:
        """Press the emergency stop, now, while the bench drives."""

    def meter(self, step: Step) -> float:
        """Read the meter that the step names."""

    def by_hand(self, step: Step) -> float | None:
        """Return what a person reads or answers; None when nobody can."""

    def clean_up(self, step: Step) -> None:
        """Do what comes after the measurement."""


class PersonHands:
    """Asks at the terminal."""

    waits = True

    def __init__(self, ask: Callable[[str], str]) -> None:
        self._ask = ask

    def prepare(self, step: Step) -> None:
        if step.reads == "bench" and not step.meter and step.before != "press_driving":
            answer(self._ask, "  Enter when done: ")

    def press(self) -> None:
        self._ask("  Press the emergency stop now, then Enter: ")

    def meter(self, step: Step) -> float:
        return self._number("ohm" if step.meter == "load" else "V")

    def by_hand(self, step: Step) -> float | None:
        if step.reads == "answer":
            return float(answer(self._ask, "  yes or no: ").lower() in ("y", "yes"))
        return self._number(step.unit)

    def clean_up(self, step: Step) -> None:
        if step.after == "release":
            answer(self._ask, "  Turn the emergency stop out again, then Enter: ")
        elif step.after == "unload":
            answer(self._ask, "  Take the resistor off, then Enter: ")
        elif step.after == "sensor_free":
            answer(self._ask, "  Take the wire off the sensor's terminal block, then Enter: ")

    def _number(self, unit: str) -> float:
        while True:
            try:
                return reading(answer(self._ask, f"  Reading ({unit}): "), unit)
            except DataError as error:
                print(f"  {error} {error.hint}")


class LaboratoryHands:
    """Does it in the simulated laboratory; what is read before the power is on exists only on real copper."""

    waits = False

    def __init__(self, laboratory: Laboratory, bench: Bench) -> None:
        self._laboratory, self._bench = laboratory, bench

    def prepare(self, step: Step) -> None:
        if step.before == "press":
            self._laboratory.press()
        elif step.before == "release":
            self._laboratory.release()
        elif step.before == "load":
            self._laboratory.load(LOAD_OHM)
        elif step.before in SENSOR_V:
            self._laboratory.apply("sensor_a", SENSOR_V[step.before])
        self._bench.link.poll(0.05)

    def press(self) -> None:
        self._laboratory.press()

    def meter(self, step: Step) -> float:
        if step.meter == "load":
            return LOAD_OHM
        return self._laboratory.read("supply" if step.meter == "bus" else "vin", "V")

    def by_hand(self, step: Step) -> float | None:
        return None

    def clean_up(self, step: Step) -> None:
        if step.after == "release":
            self._laboratory.release()
        elif step.after == "unload":
            self._laboratory.load(None)
        elif step.after == "sensor_free":
            self._laboratory.remove("sensor_a")
