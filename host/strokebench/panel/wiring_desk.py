"""Check of the wiring and pin finder in the panel, a step at a time, as on the command line.

Each step is an order that the thread that owns the bench obeys. So STOP and the dead-man hold here as they do
for a procedure. Only the gentle move drives the part, and only after somebody said that all hands are clear.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, Protocol

from strokebench.connect import check, finder, plug
from strokebench.panel.wiring import Wiring

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.connect.check import Result
    from strokebench.panel.strip import Strip
    from strokebench.panel.view import View
    from strokebench.parts.profile import Profile
    from strokebench.sim.clips import Clips

AT_REST = "At rest everything reads as drawn"
WHICH = {finder.CASE: "the bare metal of the case"}
CONNECT = "Take the clips off and connect it like this."


class Owner(Protocol):
    """The part of the panel that owns the bench."""

    view: View
    strip: Strip
    profile: Profile | None

    def with_bench(self, phase: str) -> AbstractContextManager[Bench]:
        """Give the bench; part and supply are off afterwards."""


class WiringDesk:
    """``acts``: the orders that are obeyed here, by name."""

    def __init__(self, owner: Owner) -> None:
        self._owner = owner
        self._rested: Result | None = None
        self._search: finder.Search | None = None
        self._found: finder.Found | None = None
        self._clips: Clips | None = None
        self.acts: dict[str, Callable[..., None]] = {
            "check": self._check,
            "gently": self._gently,
            "polarity": self._polarity,
            "find": self._find,
            "touch": self._touch,
            "connected": self._connected,
            "give_up": self._give_up,
        }

    def _asked(self, question: str) -> Profile | None:
        """Return the part on the bench if it is at rest and the page was asked this."""
        now = self._owner.view.now
        return self._owner.profile if now.phase == "idle" and now.wiring.question == question else None

    def _show(self, **what: Any) -> None:
        self._owner.view.set(wiring=Wiring(**what))

    # -- the check -----------------------------------------------------------------------------------

    def _check(self) -> None:
        profile = self._owner.profile
        if profile is None or self._owner.view.now.phase != "idle":
            return
        self._show()
        self._search = self._found = None
        with self._owner.with_bench("arming") as bench:  # the self-test sends a little current
            result = self._rested = check.at_rest(bench, profile)
        self._tell(result, check.question(profile, result), profile)

    def _tell(self, result: Result, question: str, profile: Profile) -> None:
        headline = AT_REST if question == "move" else result.headline
        asks = {"move": check.CLEAR, "polarity": check.polarity_question(profile)}.get(question, "")
        self._show(
            headline=headline, as_drawn=result.as_drawn, sentences=tuple(result.sentences),
            to_do=result.to_do, question=question, asks=asks,
        )  # fmt: skip
        self._owner.view.say(" ".join([f"{headline}.", *result.sentences]), result.to_do or asks)

    def _gently(self) -> None:
        profile = self._asked("move")
        if profile is None or self._rested is None:
            return
        with self._owner.with_bench("gentle") as bench:
            bench.set_limits(check.gentle(profile))
            result = check.by_moving(bench, profile, self._rested, self._owner.strip.append)
        self._tell(result, "", profile)

    def _polarity(self, *, right: bool) -> None:
        profile = self._asked("polarity")
        if profile is not None and self._rested is not None:
            self._tell(check.by_word(self._rested, right=right), "", profile)

    # -- the pin finder ------------------------------------------------------------------------------

    def _find(self, pins: int) -> None:
        profile = self._owner.profile
        if profile is None or self._owner.view.now.phase != "idle":
            return
        count = min(pins, plug.MOST_PINS) or plug.pin_count(profile)
        with self._owner.with_bench("idle") as bench:
            self._clips = _simulated(bench, profile)
        names = self._clips.names if self._clips else [str(number) for number in range(1, count + 1)]
        self._search, self._found = finder.Search(profile, names), None
        self._ask_next(())

    def _ask_next(self, measured: tuple[str, ...]) -> None:
        assert self._search is not None
        step = self._search.next()
        if isinstance(step, finder.Found):
            self._end(step, measured)
            return
        red, black = step
        asks = f"Red clip on pin {red}, black clip on {WHICH.get(black, f'pin {black}')}."
        self._show(
            headline="Finding the pins", question="clips", asks=asks, red=red, black=black, measured=measured
        )

    def _touch(self) -> None:
        profile, now = self._asked("clips"), self._owner.view.now.wiring
        if profile is None or self._search is None:
            return
        if self._clips is not None:
            self._clips.put(now.red, now.black)
        with self._owner.with_bench("idle") as bench:
            ohm = finder.ohms_now(bench)
        self._search.measure(now.red, now.black, ohm)
        black = now.black if now.black == finder.CASE else f"pin {now.black}"
        self._ask_next((*now.measured, f"Pin {now.red} to {black}: {finder.text(ohm)}"))

    def _end(self, found: finder.Found, measured: tuple[str, ...]) -> None:
        profile = self._owner.profile
        assert profile is not None
        self._found = found
        lines = tuple(finder.summary(profile, found))
        if found.complete:
            self._show(
                headline="Pins found", sentences=lines, question="connect", asks=CONNECT, measured=measured
            )
        else:
            to_do = "Use the vehicle's diagram, or another part."
            self._show(
                headline="Pins not found", as_drawn=False, sentences=lines, to_do=to_do, measured=measured
            )

    def _connected(self) -> None:
        profile = self._asked("connect")
        if profile is None or self._found is None:
            return
        if self._clips is not None:
            self._clips.connect(finder.placed(profile, self._found))
        self._check()

    def _give_up(self) -> None:
        """End the pin finder; on a simulated bench the leads go back to where they are drawn."""
        profile = self._owner.profile
        if profile is None or not self._owner.view.now.wiring.question:
            return
        if self._clips is not None and self._search is not None:
            pin_of = {role: pin for pin, role in self._clips.role_of.items()}
            self._clips.connect({each.lead: pin_of[each.pin] for each in plug.drawn(profile)})
        self._search = self._found = None
        self._show(headline="Given up", to_do="Connect it as drawn, then check the wiring.")


def _simulated(bench: Bench, profile: Profile) -> Clips | None:
    """Return the hand that moves the clips of a simulated bench, None on a real one."""
    board = getattr(bench.link.port, "board", None)
    if board is None:
        return None
    from strokebench.sim.clips import Clips

    return Clips(board, [each.pin for each in plug.drawn(profile)])
