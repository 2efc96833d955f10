"""A bench that goes through a session as it should, and lies at chosen rates.

Each session draws which lies are told and how often, so that most sessions go far and none is like another: a
bench that only talks nonsense is turned away at the door.
"""

from __future__ import annotations

import random
import struct

from strokefw import state
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, row

RATES = (0.0, 0.0, 0.0, 0.0, 0.001, 0.01, 0.1, 0.5)
BENCH = [kind for kind, _name, by, *_ in wire.MESSAGES if by == wire.BENCH]
UNASKED = [kind for kind in BENCH if kind in wire.UNSOLICITED]
ANSWERS = [kind for kind in BENCH if kind not in wire.UNSOLICITED]
NAMES = {
    "identity": "identity_text", "status": "status_report", "selftest": "selftest_report",
    "events": "event_log", "counts": "counts_report", "raw": "raw_begun",
}  # fmt: skip
LIES = (
    "wrong size", "random fields", "odd event", "again", "late rows", "rows jump", "clock jumps", "dropped",
    "bits", "noise", "burst", "another answer", "random answer", "refusal", "silence", "answer twice",
    "endless run", "deaf to stop", "never begins",
)  # fmt: skip


ROWS = [row(0, current_ma=100 * n)[4:] for n in range(90)]
"""What follows the tick in a row."""


class LyingBench(FakePort):
    """One session's bench: ``seed`` decides about everything."""

    def __init__(self, seed: int) -> None:
        super().__init__()
        self.dice = random.Random(seed)
        self.rates = {
            lie: self.dice.choice(RATES) for lie in self.dice.sample(LIES, self.dice.choice((1, 2, 5)))
        }
        self.kept: list[bytes] = []
        self.segments: list[float] = []
        self.began_s: float | None = None
        self.stop_s = float("inf")
        self.tick0 = self.dice.choice((1000, 0, 2**30 - 200))
        self.sent = 0
        self.at = -1

    def lies(self, lie: str) -> bool:
        """Roll the dice for one kind of lie."""
        return lie in self.rates and self.dice.random() < self.rates[lie]

    def read(self, timeout_s: float) -> bytes:
        self.time_s += min(timeout_s, 0.02) if self.outbox or self.began_s is not None else 0.002
        if self.began_s is not None:
            self._go_on()
        self._unasked_lies()
        data = bytearray(super().read(timeout_s))
        if data and self.lies("bits"):
            data[self.dice.randrange(len(data))] ^= 1 << self.dice.randrange(8)
        return bytes(data)

    def say(self, name: str, *values: object, tail: bytes = b"") -> None:
        frame = self.frame(name, *values, tail=tail)
        if not self.lies("dropped"):
            self.outbox += frame
        if self.lies("again"):
            self.outbox += frame
        self.kept = [*self.kept[-20:], frame]

    def _go_on(self) -> None:
        """Say what a run has to say by now."""
        assert self.began_s is not None
        over_s = min(sum(self.segments), self.stop_s) if not self.rates.get("endless run") else 1e9
        if self.stop_s < over_s and not self.rates.get("deaf to stop"):
            over_s = self.stop_s
        done_s = min(self.time_s - self.began_s, over_s)
        begins_s = 0.0
        for index, length_s in enumerate(self.segments):
            if index > self.at and begins_s <= done_s:
                self.at = index
                self._event(round(begins_s * 1000), state.EVENT_SEGMENT, 5, index)
            begins_s += length_s
        while self.sent < round(done_s * 1000):
            count = min(20, round(done_s * 1000) - self.sent)
            self._rows(self.sent, count)
            self.sent += count
        if self.time_s - self.began_s >= over_s:
            end = state.END_STOPPED if over_s == self.stop_s else state.END_DONE
            self._event(self.sent, state.EVENT_RUN_END, end, 0)
            self.began_s = None

    def _rows(self, first: int, count: int) -> None:
        dice, tick = self.dice, self.tick0 + first
        if self.lies("late rows"):
            first -= dice.choice((1, 20, 40, first))
        if self.lies("rows jump"):
            first += dice.choice((1, 20, 1000, 2**29))
        if self.lies("clock jumps"):
            tick += dice.choice((-40, -1, 1, 500, 2**29, -self.tick0))
        rest = dice.choice(ROWS)
        rows = [struct.pack("<I", (tick + n) & state.TICK_MASK) + rest for n in range(count)]
        if self.lies("wrong size"):
            rows[-1] = rows[-1][: dice.randrange(len(rows[-1]))]
        self.say("samples", first & state.TICK_MASK, count, dice.choice((0, 0, 0, 1)), tail=b"".join(rows))

    def _event(self, at: int, kind: int, code: int, index: int) -> None:
        self.say("event", (self.tick0 + at) & state.TICK_MASK, kind, code, index, 0)

    def _unasked_lies(self) -> None:
        dice = self.dice
        if self.lies("random fields"):
            self.outbox += self._random(dice.choice(UNASKED))
        if self.lies("odd event"):
            at = dice.choice((self.sent, 0, dice.randrange(2**30)))
            self._event(at, dice.randrange(12), dice.randrange(90), dice.choice((0, 1, 2, 60000)))
        if self.lies("burst"):
            count = dice.choice((0, 1, 40, 4000))
            self.say(
                "burst",
                dice.choice((0, 1, 9)),
                dice.randrange(4),
                1000,
                count,
                dice.choice((0, 5)),
                self.tick0,
            )
            self.say("burst_data", dice.choice((0, 20, 65000)), tail=bytes(2 * min(count, 240)))
        if self.lies("noise"):
            self.outbox += dice.randbytes(dice.choice((1, 30, 3000)))
        if self.kept and self.lies("again"):
            self.outbox += dice.choice(self.kept)

    def _random(self, kind: int) -> bytes:
        """Return a frame whose fields are all at random, with a tail of whole rows."""
        tail = wire.TAIL[kind]
        size = 0 if not tail else 1 if tail == "bytes" else struct.calcsize(tail)
        body = self.dice.randbytes(struct.calcsize(wire.FORMAT[kind]) + size * self.dice.choice((0, 1, 3)))
        if self.lies("wrong size"):
            body = body[: self.dice.randrange(len(body) + 1)]
        seq = self._host_seq if kind in ANSWERS else self.dice.randrange(256)
        return wire.frame(kind, seq, body[:900])

    def _answer(self, name: str, values: tuple[int, ...]) -> bytes | None:
        answer = self._honest(name, values)
        if self.lies("silence"):
            return None
        if self.lies("another answer"):
            answer = self._random(self.dice.choice(ANSWERS))
        if self.lies("refusal"):
            answer = self.frame("reply", self.dice.randrange(1, 256), self.dice.randrange(-9, 99))
        return answer + answer if self.lies("answer twice") else answer

    def _honest(self, name: str, values: tuple[int, ...]) -> bytes:
        if name == "segment":
            self.segments.append(values[3] / 1000)
        elif name == "procedure_begin":
            self.segments = []
        elif name == "run" and not self.lies("never begins"):
            self.began_s, self.at, self.sent, self.stop_s = self.time_s, -1, 0, float("inf")
        elif name == "stop" and self.began_s is not None:
            self.stop_s = min(self.stop_s, self.time_s - self.began_s + 0.1)
        elif name in NAMES:
            kind = wire.ID[NAMES[name]]
            fields = [0] * len(wire.FIELDS[kind])
            tail = b"version=1\n" if name == "identity" else b""
            return (
                self._random(kind)
                if self.lies("random answer")
                else self.frame(NAMES[name], *fields, tail=tail)
            )
        answer = super()._answer(name, values)
        assert answer is not None
        return answer
