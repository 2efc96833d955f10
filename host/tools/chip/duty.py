"""The duty on the emulated chip's gate inputs, measured over whole PWM periods, over the range of drive."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from strokebench.sim.chip.world import GATES, PERIOD_NS, ChipWorld

PERIODS = 6
SETTLE_PERIODS = 3
NEAR_ENDS = (1, 10, 100)
"""Drives close to 0 and to full, in 1/10000, beside the even steps."""


def drives(steps: int) -> list[int]:
    """Return ``steps`` even drives from -10000 to 10000, and some near 0 and near full in both polarities."""
    even = {round(-10000 + 20000 * n / (steps - 1)) for n in range(steps)}
    near = {sign * drive for end in NEAR_ENDS for drive in (end, 10000 - end) for sign in (-1, 1)}
    return sorted(even | near)


@dataclass(frozen=True)
class Duty:
    """What a drive (1/10000) made: the share of time high of each gate input and of the enable line."""

    drive: int
    share: dict[str, float]
    period_ns: float
    """Length of a period; nan where no pin has an edge (0 and 100 %)."""

    @property
    def measured(self) -> float:
        """Signed duty: leg A's high side less leg B's."""
        return self.share["A_HIGH"] - self.share["B_HIGH"]

    @property
    def error(self) -> float:
        """Measured less asked, as a share of full."""
        return self.measured - self.drive / 10000


def measure(world: ChipWorld, drive: int) -> Duty:
    """Set ``drive`` on a board that stands in the chip's REPL as `b`, and look at its pins."""
    machine = world.machine
    machine.execute(f"b.drive({drive}, 1)")
    machine.run(SETTLE_PERIODS * PERIOD_NS * 1e-9)
    nets = (*GATES, "BRIDGE_ENABLE")
    before = {net: world.clocks[net].changed for net in nets}
    edges: dict[str, list[tuple[bool, float]]] = {net: [] for net in nets}
    for net in nets:
        world.clocks[net].changed = _noting(edges[net], before[net])  # type: ignore[method-assign, assignment]
    began_ns = machine.now_ns
    machine.run((PERIODS + 1) * PERIOD_NS * 1e-9)
    ended_ns = machine.now_ns
    for net in nets:
        world.clocks[net].changed = before[net]  # type: ignore[method-assign]
    found = {net: _over_periods(edges[net], world.clocks[net].high, ended_ns - began_ns) for net in nets}
    period_ns = next((period for _, period in found.values() if period > 0), float("nan"))
    return Duty(drive, {net: share for net, (share, _) in found.items()}, period_ns)


def sweep(world: ChipWorld, wanted: Iterable[int]) -> list[Duty]:
    """Measure each drive, and switch off."""
    found = [measure(world, drive) for drive in wanted]
    world.machine.execute("b.drive(0, 0)")
    return found


def _noting(
    edges: list[tuple[bool, float]], inner: Callable[[bool, float], None]
) -> Callable[[bool, float], None]:
    def changed(high: bool, now_ns: float) -> None:
        edges.append((high, now_ns))
        inner(high, now_ns)

    return changed


def _over_periods(edges: list[tuple[bool, float]], high: bool, window_ns: float) -> tuple[float, float]:
    """Return share of time high from the first rise to the last, and the period (0 without any edge)."""
    if not edges:
        return float(high), 0.0
    rises = [at for is_high, at in edges if is_high]
    if len(rises) < PERIODS or window_ns < PERIODS * PERIOD_NS:
        raise ValueError(f"{len(rises)} rises in {window_ns:.0f} ns: the pin does not follow the PWM")
    up_ns, since = 0.0, rises[0]
    for is_high, at in edges:
        if at <= rises[0]:
            continue
        if is_high:
            since = at
        else:
            up_ns += at - since if at < rises[-1] else 0.0
    return up_ns / (rises[-1] - rises[0]), (rises[-1] - rises[0]) / (len(rises) - 1)


def rows(world: ChipWorld) -> Iterator[tuple[str, str]]:
    """Rows of the chip's report: the largest error of the duty, and whether 0 and 100 % are true."""
    found = sweep(world, drives(41))
    worst = max(found, key=lambda duty: abs(duty.error))
    what = f"duty on the gate inputs, {len(found)} drives from -100 to 100 %: largest error"
    yield what, f"{abs(worst.error) * 100:.4f} % of full, at {worst.drive / 100:g} %"
    still = sum(duty.drive in (-10000, 0, 10000) and duty.error == 0 for duty in found)
    yield "drives of -100, 0 and 100 % without any edge on the pins", f"{still} of 3"
