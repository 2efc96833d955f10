"""Lives: what a host does, as a list of acts that is done over and over until the time is up."""

from __future__ import annotations

import math
import random
from typing import Any

from strokebench.sim.board.board import SENSOR_SHARE
from strokefw import state
from strokefw.drive import ramp

from tools.evidence.harm.stage import Stage

Act = tuple[Any, ...]
"""Name of an act and its arguments: numbers, or for a procedure a tuple of segments."""
Life = tuple[Act, ...]
LIFE_TICKS = 60_000
ACTS_MAX = 8
SEGMENTS_MAX = 24
FIRST_WAIT = 8
EDGES_MS = (1, 2, 3, 7, 8, 9, 15, 16, 17, 33, 64, 65, 100, 500, 990, 1990, 2500, 2990, 3500, 3900, 5000)
"""Durations worth a try: around the firmware's own periods and the limits of the profiles."""
POWER_LOSS = "replug"
DRIVES = ("procedure", "jog")
BEGINS_ANEW = ("hello", "reset", POWER_LOSS)
"""Afterwards the bench wants limits before it arms."""
VARIANTS = 8


def variants(limits: dict[str, int]) -> list[dict[str, int]]:
    """Return the part's own limits and others that a host may send instead; the first are the part's."""

    def scaled(**shares: float) -> dict[str, int]:
        return limits | {name: max(1, round(limits[name] * share)) for name, share in shares.items()}

    return [
        limits,
        scaled(i2t_part_rest_ma=1.3),
        scaled(i2t_part_a2s=0.3, i2t_leads_a2s=0.3),
        scaled(i2t_part_a2s=1.3, i2t_leads_rest_ma=1.2),
        scaled(stall_ma=0.6),
        scaled(stall_ms=0.4),
        scaled(current_mean_ma=0.8, stall_ma=0.8, i2t_part_rest_ma=0.7),
        limits | {"i2t_part_rest_ma": limits["current_mean_ma"]},
    ]


# -- doing ---------------------------------------------------------------------------------------------------


def perform(stage: Stage, life: Life, ticks: int = LIFE_TICKS) -> tuple[dict[str, float], frozenset[int]]:
    """Let a stage live through ``life``; return the harm done, and under which limits it drove."""
    choices, used, current = variants(stage.limits), {0}, 0
    stage.begin(ticks)
    stage.first_limits(choices[0])
    while not stage.over:
        before = stage.ticks
        for act in life:
            if act[0] == "limits":
                current = act[1]
                stage.set_limits(choices[current])
            else:
                ACTS[act[0]](stage, *act[1:])
                if act[0] in DRIVES:
                    used.add(current)
                elif act[0] in BEGINS_ANEW:
                    stage.set_limits(choices[current])
            if stage.over:
                break
        if stage.ticks - before < FIRST_WAIT:
            stage.run(FIRST_WAIT)
    return stage.witness.harm(), frozenset(used)


def _drive_through(stage: Stage, ticks: int) -> None:
    """Let a run go on until it ends."""
    stage.run(2)
    while ticks > 0 and not stage.over and stage.state in (state.DRIVING, state.STOPPING):
        stage.run(min(ticks, 500))
        ticks -= 500


def _procedure(stage: Stage, times: int, segments: tuple[tuple[int, int, int], ...]) -> None:
    if not stage.make_armed():
        stage.run(100)
        return
    rows = (segments * times)[:SEGMENTS_MAX]
    low, high = (stage.app.ramp.words[place] - ramp.at.BIAS for place in (ramp.at.LOW, ramp.at.HIGH))
    stage.say("procedure_begin", len(rows))
    for index, (kind, drive, ms) in enumerate(rows):
        target = min(max(drive, low), high)
        numbers = (ms, max(1, ms // 7), 50, 0) if kind == ramp.PULSE else (0, 0, 0, 0)
        stage.say("segment", index, kind, target, ms, *numbers, 0, 0, 0, 0, 0)
    stage.say("run")
    stage.heard()
    longest = sum(60 * ms if kind == ramp.PULSE else ms for kind, _drive, ms in rows)
    _drive_through(stage, longest + 2000)


def _jog(stage: Stage, drive: int, ms: int) -> None:
    if not stage.make_armed():
        stage.run(100)
        return
    limits = stage.app.limits
    target = min(max(drive, limits.drive_min), limits.drive_max)
    while ms > 0 and not stage.over:
        stage.ask("jog", target)
        if stage.state != state.DRIVING:
            return
        stage.run(min(ms, 400))
        ms -= 400
    stage.ask("stop", 0)


def _brief(name: str, value: float) -> Any:
    def trouble(stage: Stage, ms: int) -> None:
        stage.board.bench.set(name, value)
        stage.run(ms)
        stage.board.bench.end(name)
        stage.run(2)

    return trouble


def _noise(stage: Stage, mv: int) -> None:
    stage.board.noise_v = mv * 1e-3


def _swing(stage: Stage, mv: int, ms: int) -> None:
    """Let a track's reading swing by ``mv`` either way, back and forth within ``ms``."""
    stage.board.swing_v, stage.board.swing_ticks = mv * 1e-3 * SENSOR_SHARE, ms


def _plain(name: str, *values: int) -> Any:
    return lambda stage: stage.ask(name, *values)


ACTS: dict[str, Any] = {
    "procedure": _procedure,
    "jog": _jog,
    "wait": lambda stage, ms: stage.run(ms),
    "arm": lambda stage: stage.make_armed(),
    "clear": _plain("clear"),
    "disarm": _plain("disarm"),
    "stop": _plain("stop", 1),
    "hello": _plain("hello", 1),
    "selftest": _plain("selftest"),
    "noise": _noise,
    "swing": _swing,
    "estop": _brief("estop", 1.0),
    "dip": _brief("supply", 9.0),
    "reset": lambda stage: (stage.restart(power_lost=False), stage.first_limits(variants(stage.limits)[0])),
    POWER_LOSS: lambda stage: (stage.restart(power_lost=True), stage.first_limits(variants(stage.limits)[0])),
}
"""What a host, a wire or the power can do; ``limits`` is done by :func:`perform`."""


# -- making up -----------------------------------------------------------------------------------------------


def some_ms(dice: random.Random, most: int = 30_000) -> int:
    """Return a duration, evenly in its logarithm or one of the edges."""
    if dice.random() < 0.4:
        return min(most, dice.choice(EDGES_MS))
    return round(math.exp(dice.uniform(0, math.log(most))))


def some_segment(dice: random.Random) -> tuple[int, int, int]:
    """Return a segment of a procedure: kind, drive in 1/10000, ms."""
    kind = dice.choice((ramp.HOLD, ramp.HOLD, ramp.STEP, ramp.RAMP, ramp.PAUSE, ramp.PULSE))
    drive = 0 if kind == ramp.PAUSE else round(dice.choice((-1, 1, 1)) * 10_000 * dice.random() ** 0.5)
    return kind, drive, some_ms(dice, 400 if kind == ramp.PULSE else 30_000)


def some_segments(dice: random.Random) -> tuple[tuple[int, int, int], ...]:
    """Return one to three of them."""
    return tuple(some_segment(dice) for _ in range(dice.randint(1, 3)))


def some_act(dice: random.Random, power_loss: bool) -> Act:
    """Return an act."""
    made: dict[str, Any] = {
        "procedure": lambda: (dice.choice((1, 1, 2, 5, 20)), some_segments(dice)),
        "jog": lambda: (dice.randint(-10_000, 10_000), some_ms(dice)),
        "wait": lambda: (some_ms(dice, 20_000),),
        "noise": lambda: (round(math.exp(dice.uniform(0, 6))),),
        "swing": lambda: (round(math.exp(dice.uniform(0, 5))), 2 + some_ms(dice, 5000)),
        "limits": lambda: (dice.randrange(VARIANTS),),
        "estop": lambda: (some_ms(dice, 100),),
        "dip": lambda: (some_ms(dice, 60),),
    }  # fmt: skip
    names = ["procedure"] * 6 + ["jog"] * 2 + ["limits", "noise", "swing", "wait"] * 2
    names += [name for name in ACTS if name not in ("procedure", "jog", POWER_LOSS)] + [
        POWER_LOSS
    ] * power_loss
    name = dice.choice(names)
    return name, *(made[name]() if name in made else ())


def some_life(dice: random.Random, power_loss: bool) -> Life:
    """Return a life out of nothing."""
    return tuple(some_act(dice, power_loss) for _ in range(dice.randint(1, 5)))


def changed(life: Life, other: Life, dice: random.Random, power_loss: bool) -> Life:
    """Return a life a little different from ``life``, perhaps with something of ``other``."""
    acts = list(life)
    for _ in range(dice.choice((1, 1, 2, 3))):
        place = dice.randrange(len(acts) + 1)
        what = dice.random()
        if what < 0.2 or not acts:
            acts.insert(place, some_act(dice, power_loss))
        elif what < 0.35 and len(acts) > 1:
            del acts[place % len(acts)]
        elif what < 0.45:
            acts[place:place] = other[dice.randrange(len(other)) :][:3]
        elif what < 0.5:
            acts[place % len(acts)] = some_act(dice, power_loss)
        else:
            acts[place % len(acts)] = _nudged(acts[place % len(acts)], dice)
    return tuple(acts[:ACTS_MAX])


def _nudged(act: Act, dice: random.Random) -> Act:
    """Return an act with a number of it changed."""
    if act[0] == "procedure":
        times, segments = act[1], list(act[2])
        place = dice.randrange(len(segments))
        kind, drive, ms = segments[place]
        choice = dice.random()
        if choice < 0.2:
            segments.insert(place, some_segment(dice))
        elif choice < 0.3 and len(segments) > 1:
            del segments[place]
        elif choice < 0.45:
            times = dice.choice((1, 2, 5, 10, 20))
        elif choice < 0.7:
            segments[place] = kind, drive, max(1, some_ms(dice) if dice.random() < 0.4 else _about(ms, dice))
        else:
            segments[place] = kind, max(-10_000, min(10_000, _about(drive or 1000, dice))), ms
        return "procedure", times, tuple(segments[:4])
    numbers = list(act[1:])
    if not numbers:
        return act
    place = dice.randrange(len(numbers))
    if act[0] == "limits":
        return "limits", dice.randrange(VARIANTS)
    numbers[place] = max(1, abs(_about(numbers[place], dice))) * (-1 if numbers[place] < 0 else 1)
    return act[0], *numbers


def _about(number: int, dice: random.Random) -> int:
    return round(number * math.exp(dice.gauss(0, 0.4))) + dice.choice((-1, 0, 0, 1))
