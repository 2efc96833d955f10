"""Mutated frames through the real parser: nothing is invented, and the next zero brings it back in step."""
# Runs under CPython and MicroPython.

from fake_board import Host
from strokefw import state
from strokefw.link import wire

ROUNDS = 50000


class Dice:
    """A small repeatable source of numbers, the same in every interpreter."""

    def __init__(self, seed):
        self.x = seed

    def __call__(self, n):
        self.x = (self.x * 1103515245 + 12345) & 0x7FFFFFFF
        return (self.x >> 8) % n


def originals():
    """Return valid frames of many kinds and lengths, seq from 1 on, all different."""
    frames = []
    for kind in sorted(wire.NAME):
        size = wire.struct.calcsize(wire.FORMAT[kind])
        body = bytes([(kind + 3 * i) & 255 for i in range(size)])
        frames.append(wire.frame(kind, len(frames) + 1, body))
    return frames


def mutate(frames, dice):
    """Return damaged or shuffled bytes made of ``frames``."""
    frame = frames[dice(len(frames))]
    way = dice(7)
    if way == 0:  # bit flips
        bad = bytearray(frame)
        for _ in range(1 + dice(4)):
            bad[dice(len(bad))] ^= 1 << dice(8)
        return bytes(bad)
    if way == 1:  # truncation
        return frame[: dice(len(frame))]
    if way == 2:  # two spliced
        other = frames[dice(len(frames))]
        return frame[: dice(len(frame))] + other[dice(len(other)) :]
    if way == 3:  # twice
        return frame + frame
    if way == 4:  # out of order
        return frames[dice(len(frames))] + frame
    if way == 5:  # a byte lost or added
        at = dice(len(frame))
        return frame[:at] + frame[at + 1 :] if dice(2) else frame[:at] + bytes([dice(256)]) + frame[at:]
    return bytes([dice(256) for _ in range(1 + dice(60))])  # noise


def play(rounds, seed):
    """Feed mutations; return (decoder, how many whole originals came out of the mutations)."""
    frames = originals()
    genuine = {}
    for frame in frames:
        kind, seq, body = wire.Decoder().feed(frame)[0]
        genuine[(kind, seq)] = body
    dice = Dice(seed)
    decoder = wire.Decoder()
    came = 0
    for turn in range(rounds):
        for kind, seq, body in decoder.feed(mutate(frames, dice)):
            assert genuine.get((kind, seq)) == body, ("invented", turn, kind, seq, body)
            came += 1
        good = frames[turn % len(frames)]
        got = decoder.feed(b"\0" + good)
        assert got and got[-1] == (good_key(good, genuine)), ("not in step", turn)
    return decoder, came


def good_key(frame, genuine):
    """Return (type, seq, body) of an original."""
    raw = wire.cobs.decode(frame[:-1])
    return raw[0], raw[1], genuine[(raw[0], raw[1])]


def test_nothing_is_invented_and_one_zero_brings_it_back():
    decoder, came = play(ROUNDS, 7)
    assert decoder.bad_frames > ROUNDS // 4
    assert came > ROUNDS // 4  # duplicates and reordered ones are whole


def test_damaged_frames_move_nothing():
    host = Host()
    host.arm()
    dice = Dice(11)
    jog = wire.frame(wire.ID["jog"], 9, wire.pack(wire.ID["jog"], 5000))
    run = wire.frame(wire.ID["run"], 8)
    sent = 0
    for turn in range(3000):
        bad = bytearray(run if dice(2) else jog)
        bad[dice(len(bad) - 1)] ^= 1 + dice(255)
        bad.extend(b"\0")
        host.board.inbox.extend(bad)
        sent += 1
        if turn % 400 == 0:
            host.send("heartbeat")
        host.tick()
    host.tick(100)
    assert host.app.state == state.ARMED and host.board.now_gate == 0
    assert not [step for step in host.steps if step[0] or step[2] > state.ARMED]
    assert host.app.link.decoder.bad_frames >= sent
