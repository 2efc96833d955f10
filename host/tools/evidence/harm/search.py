"""The search itself: lives are changed a little and kept where they did more harm than any before."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from strokefw import state
from strokefw.drive import ramp

from tools.evidence.harm.lives import LIFE_TICKS, Life, changed, perform, some_life, variants
from tools.evidence.harm.stage import Part, Stage
from tools.evidence.harm.witness import MEASURES, WINDOW_S

KEPT = 5
"""Lives kept of each measure on each stage."""
HOLDS = (1500, 2500, 3000, 3500, 4000, 5000, 6500, 8000, 10_000)
STROKES_MS = (600, 2000)
LEAST = {"winding": 2.0, "junction": 0.2, "leads": 0.05, "held": 0.2, "mean": 0.2, "peak": 0.2}
"""Harm that is nothing to speak of; less than that counts as so much, in what is compared with."""
BOUND = {"winding": 1.25, "junction": 1.25, "leads": 1.25, "held": 1.25, "mean": 2.0, "peak": 2.0}
"""How many times what is allowed a life may reach: what cools in between may be spent again, and readings are
noisy. The times above the limits of the current are short, and the fold-back's answer varies."""
BESIDE = dict.fromkeys(MEASURES, 0.0) | {"held": WINDOW_S / 5}
"""Allowed beside an honest use's harm: to be held for a fifth of the time for ever (guard/stall.py)."""
PARTS = (
    Part("throttle-body", 3),
    Part("throttle-body", 13, heat_share=0.4),
    Part("throttle-body", 5, ("sticky=9",)),
    Part("egr-motor", 4, ("sticky=12",), mass=0.5),
    Part("egr-motor", 6, way_out=1.6),
    Part("idle-actuator", 7, ("jammed",), ohms=0.6),
    Part("egr-solenoid", 8, mass=0.6),
    Part("solenoid", 9, ohms=0.5),
    Part("cooling-fan", 10, ("blocked",), mass=0.3),
    Part("fuel-pump", 11, ("blocked",), mass=0.4),
    Part("water-pump", 12),
)
"""The stages: what moves freely, what is stuck, what has no sensor; light windings and heavy ones."""


@dataclass(frozen=True)
class Found:
    """A life, its harm by one measure, and how many times an honest use's that is."""

    life: Life
    harm: float
    ratio: float


@dataclass
class Front:
    """A stage and the worst lives by each measure."""

    stage: Stage
    honest: dict[int, dict[str, float]] = field(default_factory=dict)
    worst: dict[str, list[Found]] = field(default_factory=lambda: {name: [] for name in MEASURES})
    ticks: int = 0
    lives: int = 0
    luck: dict[str, float] = field(default_factory=lambda: dict.fromkeys(MEASURES, 1.0))

    def first(self) -> list[tuple[str, Found]]:
        """Return the worst life by each measure."""
        return [(measure, kept[0]) for measure, kept in self.worst.items() if kept]

    def allowed(self, variant: int, measure: str) -> float:
        """Return the harm of the worst honest use under one of the limits."""
        if variant not in self.honest:
            self.honest[variant] = honest(self.stage, variant)
        return max(self.honest[variant][measure], LEAST[measure]) + BESIDE[measure]

    def live(self, life: Life) -> set[str]:
        """Live through ``life`` and keep it where it is among the worst; return where it is the worst."""
        before = self.stage.ticks
        harm, used = perform(self.stage, life)
        self.ticks += self.stage.ticks - before
        self.lives += 1
        better = set()
        for measure, value in harm.items():
            ratio = value / max(self.allowed(variant, measure) for variant in used)
            kept = self.worst[measure]
            if any(each.life == life for each in kept):
                continue
            if not kept or ratio > kept[0].ratio:
                better.add(measure)
            kept.append(Found(life, value, ratio))
            kept.sort(key=lambda each: -each.ratio)
            del kept[KEPT:]
        return better


def beyond(fronts: Iterable[Front]) -> list[str]:
    """Return what went beyond its bound, in words."""
    return [
        f"{front.stage.part.name}: {measure} {found.ratio:.2f} times, {found.life}"
        for front in fronts
        for measure, found in front.first()
        if found.ratio > BOUND[measure]
    ]


def honest(stage: Stage, variant: int) -> dict[str, float]:
    """Return the worst that honest use does: a hold, or strokes, until the bench ends it."""
    most = dict.fromkeys(MEASURES, 0.0)
    limits = variants(stage.limits)[variant]
    uses: list[tuple[tuple[int, int, int], ...]] = [((ramp.HOLD, drive, 600_000),) for drive in HOLDS]
    if limits["drive_min"] < 0:
        uses += [((ramp.HOLD, -drive, 600_000),) for drive in HOLDS]
    for drive in HOLDS[5:]:
        uses += [((ramp.HOLD, drive, ms), (ramp.HOLD, -drive, ms)) for ms in STROKES_MS]
    for segments in uses:
        harm = _used(stage, limits, segments)
        most = {name: max(value, harm[name]) for name, value in most.items()}
    return most


def _used(
    stage: Stage, limits: dict[str, int], segments: tuple[tuple[int, int, int], ...]
) -> dict[str, float]:
    """Return the harm of one use under ``limits``, without a second try."""
    stage.begin(LIFE_TICKS)
    stage.first_limits(limits)
    if stage.make_armed():
        low, high = limits["drive_min"], limits["drive_max"]
        rows = (segments * 125)[:125] if len(segments) > 1 else segments
        stage.say("procedure_begin", len(rows))
        for index, (kind, drive, ms) in enumerate(rows):
            stage.say("segment", index, kind, min(max(drive, low), high), ms, 0, 0, 0, 0, 0, 0, 0, 0, 0)
        stage.say("run")
        stage.heard()
    stage.run(100)
    while stage.state in (state.DRIVING, state.STOPPING) and not stage.over:
        stage.run(1000)
    stage.run(100)  # until the winding's temperature, renewed every 16 ms, has followed
    return stage.witness.harm()


def search(
    ticks: int, seed: int, power_loss: bool = False, parts: tuple[Part, ...] = PARTS
) -> Iterator[list[Front]]:
    """Search for ``ticks`` in all; yield the fronts after each life."""
    dice = random.Random(seed)
    fronts = [Front(Stage(part)) for part in parts]
    for front in fronts:
        front.allowed(0, "winding")
    while sum(front.ticks for front in fronts) < ticks:
        weights = [max(front.luck.values()) for front in fronts]
        (front,) = dice.choices(fronts, weights)
        (measure,) = dice.choices(list(MEASURES), list(front.luck.values()))
        kept = front.worst[measure]
        if not kept or dice.random() < 0.15:
            life = some_life(dice, power_loss)
        else:
            others = dice.choice(fronts).worst[measure] or kept
            parent, other = dice.choice(kept).life, dice.choice(others).life
            life = changed(parent, other, dice, power_loss)
        better = front.live(life)
        for name in MEASURES:  # what has paid off lately is tried more often
            front.luck[name] = max(0.1, 0.97 * front.luck[name] + (0.5 if name in better else 0.0))
        yield fronts
