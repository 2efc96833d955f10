"""Which bench and part the people chose, and opening it for the panel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from strokebench.bench.bench import Bench, only_pico
from strokebench.bench.spec import SimSpec
from strokebench.errors import UsageError
from strokebench.panel.watched_port import WatchedPort

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile


@dataclass(frozen=True)
class Choice:
    """A part (built-in name or TOML file) on a real bench at ``port``, or on a simulated one.

    ``port`` empty: the only Pico that is plugged in. ``acknowledged``: the part's cautions are met.
    ``faults``, ``seed``, ``engine``, ``supply_v``, ``bench`` and ``troubles`` (of the
    bench and its wires) are the simulation's.
    """

    part: str
    simulated: bool = True
    port: str = ""
    faults: tuple[str, ...] = ()
    seed: int = 1
    engine: str = "inprocess"
    supply_v: float = 12.6
    acknowledged: bool = False
    bench: str = "reference"
    troubles: tuple[str, ...] = ()

    def spec(self, profile: Profile) -> SimSpec:
        """Return the simulated bench asked for."""
        return SimSpec(
            profile.simulated, self.seed, self.faults, self.engine, self.supply_v,
            bench=self.bench, bench_faults=self.troubles,
        )  # fmt: skip


def open_choice(choice: Choice, profile: Profile, look: Callable[[], None]) -> Bench:
    """Open the bench; ``look`` is called while its port waits.

    Raises :class:`strokebench.errors.LinkError` or :class:`strokebench.errors.UsageError`, the latter also
    for a real part whose cautions must be acknowledged and were not: then nothing was even connected.
    """
    if profile.part.acknowledge and not (choice.simulated or choice.acknowledged):
        raise UsageError(
            f"The cautions of {profile.part.title!r} must be acknowledged before it is driven.",
            "Read them, meet them, tick the box below them, then connect.",
        )
    if choice.simulated:
        from strokebench.panel.realtime import LivePort

        name = f"simulated {profile.simulated}"
        return Bench(WatchedPort(LivePort(choice.spec(profile)), look), name, choice.engine)
    from strokebench.link.serial import SerialPort

    name = choice.port or only_pico()
    return Bench(WatchedPort(SerialPort(name), look), name)


def injectable(part: str) -> list[tuple[str, str]]:
    """Return name and sentence of each defect that the simulation of ``part`` can have."""
    from strokebench.sim.plants import available

    return [(kind.name, kind.sentence) for kind in available(part)]
