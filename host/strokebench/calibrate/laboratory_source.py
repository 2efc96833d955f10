"""The simulated laboratory as the source and reference of a calibration."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strokebench.calibrate.instrument import Instrument
from strokebench.calibrate.quantities import Quantity

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.sim.laboratory import Laboratory


class LaboratorySource:
    """Sets the simulated sources itself; see :class:`strokebench.calibrate.points.Source`."""

    def __init__(self, bench: Bench, laboratory: Laboratory) -> None:
        self._bench, self._laboratory = bench, laboratory

    def prepare(self, quantity: Quantity, target: float) -> None:
        """Set the supply."""
        self._laboratory.apply(quantity.name, target)
        self._wait(0.1)

    def reference(self, quantity: Quantity, target: float) -> float:
        """Set the source and read the meter."""
        self._laboratory.apply(quantity.name, target)
        self._wait(0.1)
        return self._laboratory.read(quantity.name, quantity.unit)

    def finish(self, quantity: Quantity) -> None:
        """Take the source off."""
        self._laboratory.remove(quantity.name)

    def _wait(self, seconds: float) -> None:
        """Let so much of the bench's own time pass."""
        port = self._bench.link.port
        until_s = port.now() + seconds
        while port.now() < until_s:
            self._bench.link.poll(0.02)


def instruments() -> list[Instrument]:
    """Return what the simulated meters' data sheets would say; their true errors lie within."""
    from strokebench.calibrate.quantities import quantities
    from strokebench.sim.laboratory import METERS

    return [
        Instrument(
            name=f"simulated {unit} meter",
            identity="exists only in the simulation",
            percent=100 * gain,
            absolute=zero,
            resolution=step,
            channels=[quantity.name for quantity in quantities().values() if quantity.unit == unit],
        )
        for unit, (gain, zero, step) in METERS.items()
    ]
