"""Is the part connected as drawn? First without moving it, then by moving it gently once each way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from strokebench.connect import explain, model, plug, readings
from strokebench.connect.readings import Readings
from strokebench.errors import ProtectionTripped
from strokebench.link.link import refusal
from strokebench.parts.procedure import Procedure

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.data.samples import Samples
    from strokebench.parts.limits import Limits
    from strokebench.parts.profile import Profile

PAUSE_S, RAMP_S, HOLD_S, REST_S = 0.2, 1.0, 0.6, 0.5
MOVED_V = 0.15
FITS_V = 0.9
"""A mover that stops early, or a track that ends early, may be this far from its nominal end."""
SAME_V = 0.25

POLARITY = {
    True: "Is output A on the pin marked plus, or on the one that the vehicle's diagram feeds?",
    False: "Polarity does not show here: there is no sensor. Is output A on the pin that opens?",
}
COIL = "The coil is between outputs A and B. Its polarity matters only with a diode in its plug: plus on A."
CLEAR = "The part now moves gently, a second each way. Are all hands clear of it?"
Watch = Callable[["Samples"], object]
"""Hears what is measured during a move."""


@dataclass
class Result:
    """``as_drawn`` is None while it is not known; ``sentences`` say why, ``to_do`` what comes next."""

    as_drawn: bool | None
    sentences: list[str] = field(default_factory=list)
    seen: Readings | None = None
    to_do: str = ""

    @property
    def headline(self) -> str:
        """The one line that counts."""
        if self.as_drawn is None:
            return "Not known yet"
        return "Connected as drawn" if self.as_drawn else "Not connected as drawn"


@dataclass(frozen=True)
class Moved:
    """Where the sensor inputs were after a gentle move, V; ``most_v`` the largest change on the way."""

    a_v: float
    b_v: float
    most_v: float


def at_rest(bench: Bench, profile: Profile) -> Result:
    """Look at leads and plug with nothing moving. ``as_drawn`` False, or None: motion has to show the rest.

    Raises :class:`Refused` for a cause in the bench or its supply.
    """
    readings.sees_wires(bench)
    bench.set_limits(gentle(profile))
    seen = readings.read(bench)
    if seen.code in readings.BENCH_CAUSES:
        raise refusal("selftest", seen.code, 0)
    said = explain.symptoms(profile, seen)
    if profile.kind in plug.WIRING_KINDS:
        if seen.code:
            return Result(False, said, seen, "Compare the leads with the drawing.")
        whole = (
            "A current flows between outputs A and B. The places of the sensor inputs show only under load."
        )
        return Result(
            None,
            [whole],
            seen,
            "Run the procedure. The findings of the wires say whether they are on the right ends.",
        )
    found = explain.explaining(profile, seen)
    if found and explain.is_drawn(profile, found[0]):
        if profile.kind in plug.ONE_WAY and not profile.tracks:
            return Result(True, [COIL], seen)
        return Result(None, said, seen)
    return Result(False, said + explain.differences(profile, found), seen, "Correct it, then check again.")


def question(profile: Profile, rested: Result) -> str:
    """Return what is still to be asked: "move", "polarity", or nothing. See :data:`CLEAR`."""
    if rested.as_drawn is not None or rested.seen is None or rested.to_do:
        return ""
    return "move" if profile.tracks else "polarity"


def polarity_question(profile: Profile) -> str:
    """Return the question that a person answers, since the bench sees no polarity."""
    return POLARITY[profile.limits.drive_min >= 0]


def by_word(rested: Result, *, right: bool) -> Result:
    """Return the result where a person says whether the polarity is as drawn."""
    said = "somebody says so, the bench cannot see it" if right else "not as drawn, by your answer"
    sentence = f"The winding is between outputs A and B. Polarity: {said}."
    to_do = "" if right else "Swap outputs A and B, then check again."
    return Result(right, [*rested.sentences, sentence], rested.seen, to_do)


def gentle(profile: Profile) -> Limits:
    """Return the part's limits with the mean current held at what it bears without an end."""
    limits = profile.limits
    return limits.model_copy(update={"current_mean_a": min(limits.current_mean_a, limits.i2t_part_rest_a)})


def drive_of(profile: Profile, seen: Readings, supply_v: float) -> float:
    """Return the largest drive whose current the part bears without an end."""
    bearable = gentle(profile).current_mean_a * seen.loop_ohm / max(supply_v, 1.0)
    return min(profile.limits.drive_max, round(0.95 * bearable, 3))


def _unheard(_rows: Samples) -> None:
    """Nobody listens."""


def move(bench: Bench, drive: float, watch: Watch = _unheard) -> Moved:
    """Ramp the armed part to ``drive``, hold it there, let go; return what its sensor came to."""
    segments = [
        {"kind": "pause", "label": "rest", "for_s": PAUSE_S},
        {"kind": "ramp", "label": "ramp", "to": drive, "over_s": RAMP_S},
        {"kind": "hold", "label": "hold", "for_s": HOLD_S},
    ]
    run = bench.run(Procedure.model_validate({"title": "gentle move", "segments": segments}))
    start: tuple[float, float] | None = None
    most_v = 0.0
    end = (0.0, 0.0)
    for chunk in run:
        watch(chunk)
        held = chunk["time_s"] - (PAUSE_S + RAMP_S)
        rows = chunk[(held > 0.5 * HOLD_S) & (held < HOLD_S)]
        if len(rows):
            end = (float(rows["sensor_a_v"].mean()), float(rows["sensor_b_v"].mean()))
        start = start or (float(chunk["sensor_a_v"][0]), float(chunk["sensor_b_v"][0]))
        for name, before in zip(("sensor_a_v", "sensor_b_v"), start, strict=True):
            most_v = max(most_v, float(abs(chunk[name] - before).max()))
    return Moved(*end, most_v)


def by_moving(bench: Bench, profile: Profile, rested: Result, watch: Watch = _unheard) -> Result:
    """Move the part gently each way that it may be driven; return whether it does what the drawing says."""
    seen = rested.seen
    if seen is None or not profile.tracks:
        return rested
    top = drive_of(profile, seen, bench.status().terminals_v)
    drives = [top] + ([max(-top, profile.limits.drive_min)] if profile.limits.drive_min < 0 else [])
    try:
        bench.arm()
        moves = [_settled(bench, drive, watch) for drive in drives]
    except ProtectionTripped as error:
        return Result(False, [*rested.sentences, str(error)], seen, error.hint)
    finally:
        bench.stop_quietly()
    if max(each.most_v for each in moves) < MOVED_V:
        return Result(
            False,
            [*rested.sentences, f"Current flows, but nothing moves with a drive of {top:.2f}. The part is"
             " jammed, or its sensor gives nothing."],
            seen,
            "Check by hand that the part moves.",
        )  # fmt: skip
    return _judged(profile, rested, moves)


def _settled(bench: Bench, drive: float, watch: Watch) -> Moved:
    bench.link.poll(REST_S)
    return move(bench, drive, watch)


def _judged(profile: Profile, rested: Result, moves: list[Moved]) -> Result:
    seen = rested.seen
    assert seen is not None
    ranked = sorted(
        ((_off_v(profile, wiring, moves), explain.wrong_leads(profile, wiring), number, wiring)
         for number, wiring in enumerate(explain.alike(profile, seen))),
        key=lambda each: (round(each[0] / SAME_V), each[1], each[2]),
    )  # fmt: skip
    off_v, wrong = ranked[0][:2]
    if off_v > FITS_V:
        ends = ", then ".join(f"A {each.a_v:.2f} V, B {each.b_v:.2f} V" for each in moves)
        said = f"It moves, but its sensor does not reach the values of the drawing: {ends}."
        return Result(False, [*rested.sentences, said], seen, "Compare the leads with the drawing.")
    if wrong == 0:
        return Result(True, ["Positive drive opens it. The sensor follows on the right inputs."], seen)
    equal = [
        w for off, number, _n, w in ranked if number == wrong and round(off / SAME_V) == round(off_v / SAME_V)
    ]
    return Result(False, explain.differences(profile, equal), seen, "Correct it, then check again.")


def _off_v(profile: Profile, wiring: dict[str, str], moves: list[Moved]) -> float:
    """Return how far the sensor inputs were from what this wiring makes of the ends of the travel, V at
    most.
    """
    opens_first = wiring["out_a"] == "winding_plus" or profile.kind in plug.ONE_WAY
    ends = (1.0, 0.0) if opens_first else (0.0, 1.0)
    off = [0.0]
    for each, end in zip(moves, ends, strict=False):
        _feed_v, a_v, b_v = model.idle(model.moved(profile, end), wiring)
        off += [abs(each.a_v - a_v)] if "a" in profile.tracks else []
        off += [abs(each.b_v - b_v)] if "b" in profile.tracks else []
    return max(off)
