"""A person at the sources: prompts, answers, second thoughts."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from strokebench.calibrate.instrument import Instrument, instrument_for
from strokebench.calibrate.points import take
from strokebench.calibrate.quantities import BRAKING, Quantity
from strokebench.calibrate.solve import check_point, solve
from strokebench.calibrate.unfinished import State
from strokebench.calibrate.units import reading
from strokebench.errors import DataError, StrokebenchError

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench

Ask = Callable[[str], str]
Say = Callable[[str], object]


class Skip(Exception):
    """The person leaves this channel out."""


class Quit(Exception):
    """The person goes; what was read is kept."""


def answer(ask: Ask, prompt: str) -> str:
    """Return a person's answer; ``skip`` and ``quit`` (or the end of input) leave by their exceptions."""
    try:
        text = ask(prompt).strip()
    except EOFError:
        raise Quit from None
    if text.lower() in ("quit", "q"):
        raise Quit
    if text.lower() in ("skip", "s"):
        raise Skip
    return text


class PersonSource:
    """A :class:`strokebench.calibrate.points.Source`: asks a person to set it and to read the reference."""

    waits = True

    def __init__(self, ask: Ask, say: Say) -> None:
        self._ask, self._say = ask, say

    def prepare(self, quantity: Quantity, target: float) -> None:
        """Ask for the supply."""
        answer(self._ask, f"  Set about {target:g} {quantity.unit}, then Enter: ")

    def reference(self, quantity: Quantity, target: float) -> float:
        """Ask for the reference's reading until it is one."""
        what = (
            "Source off or disconnected" if target == 0 else f"Bring it to about {target:g} {quantity.unit}"
        )
        while True:
            text = answer(self._ask, f"  {what}. The reference shows ({quantity.unit}): ")
            try:
                return reading(text, quantity.unit)
            except DataError as error:
                self._say(f"  {error} {error.hint}")

    def finish(self, quantity: Quantity) -> None:
        """A current source must be off before the bench lets go of the outputs."""
        if quantity.mode == BRAKING:
            try:
                self._ask("  Switch the source off, then Enter: ")
            except EOFError:
                self._say("  Switch the source off.")


def ask_instruments(units: list[str], by_unit: dict[str, list[str]], ask: Ask, say: Say) -> list[Instrument]:
    """Ask for one reference instrument per unit."""
    found = []
    for unit in units:
        say(f"Reference for {unit} (data sheet or certificate):")
        name = answer(ask, "  Name: ") or f"reference {unit}"
        identity = answer(ask, "  Serial number, certificate: ")
        numbers = [
            _number(ask, say, f"  {text}: ", unit)
            for text in (
                "Limit of error, % of the reading",
                f"plus an absolute part in {unit}",
                f"Last digit in {unit}",
            )
        ]
        found.append(
            Instrument(
                name=name,
                identity=identity,
                percent=numbers[0],
                absolute=numbers[1],
                resolution=numbers[2],
                channels=by_unit[unit],
            )
        )
    return found


def _number(ask: Ask, say: Say, prompt: str, unit: str) -> float:
    while True:
        try:
            return abs(reading(answer(ask, prompt) or "0", unit))
        except DataError as error:
            say(f"  {error} {error.hint}")


def guide(bench: Bench, state: State, quantities: list[Quantity], ask: Ask, say: Say) -> None:
    """Lead through the channels that have no usable readings yet."""
    for quantity in quantities:
        if _is_done(quantity, state):
            say(f"{quantity.name}: read earlier, {len(state.of(quantity.name))} points.")
            continue
        try:
            _channel(bench, state, quantity, ask, say)
        except Skip:
            state.forget(quantity.name)
            say(f"{quantity.name}: left out.")


def _is_done(quantity: Quantity, state: State) -> bool:
    used = instrument_for(quantity.name, state.instruments)
    try:
        return used is not None and bool(solve(quantity, state.of(quantity.name), used))
    except DataError:
        return False


def _channel(bench: Bench, state: State, quantity: Quantity, ask: Ask, say: Say) -> None:
    say(f"\n{quantity.name}\n  {quantity.wiring}")
    say("  'undo' takes the last point again, 'skip' leaves the channel out, 'quit' keeps what there is.")
    answer(ask, "  Enter when it is wired: ")
    source = PersonSource(ask, say)
    left = list(quantity.points[len(state.of(quantity.name)) :])
    while left:
        if not _point(bench, state, quantity, left[0], source, ask, say):
            continue
        left.pop(0)
        if left and answer(ask, "  Enter for the next point, 'undo' for this one again: ").lower() == "undo":
            undone = state.drop_last()
            left.insert(0, quantity.points[-len(left) - 1] if undone else left[0])


def _point(
    bench: Bench, state: State, quantity: Quantity, target: float, source: PersonSource, ask: Ask, say: Say
) -> bool:
    """Take one point and keep it unless it is nonsense or the bench would not; say so then."""
    try:
        reading = take(bench, quantity, target, source)
        check_point(quantity, reading)
    except StrokebenchError as error:
        say(f"  {error} {error.hint}")
        answer(ask, "  Enter to try again: ")
        return False
    state.add(reading)
    seen = quantity.nominal(reading.counts)
    say(f"  kept: reference {reading.reference:g} {quantity.unit}, bench {seen:.4f}")
    return True
