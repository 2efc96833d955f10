"""Whether the USB bus is awake: a computer that is there and not asleep sends a start of frame every ms.

Why it matters: docs/explanation/on-the-chip.md, "A link that never blocks". The newest frame number is in a
register of the USB controller, and numbers follow each other 1 ms apart. So a number that is behind the
chip's clock tells how long the bus has been still, however seldom somebody looks.
"""

from array import array

from strokefw.compat import const, micropython, ptr32

_FRAME = const(0)  # a frame number, 11 bits, and a time by which it had come
_AT = const(1)
_KNOWN = const(2)  # 0 nothing yet, _SEEN one frame, _SURE that they come
_SEEN = const(1)
_SURE = const(2)
_WORDS = const(3)
_NUMBERS = const(0x7FF)
_TIME = const(0x3FFFFFFF)
_FRAME_US = const(1000)
_BEHIND_US = const(1900)  # the frame then is at most 2.9 ms old; a bus sleeps after 3 (USB 2.0, 7.1.7.6)
_AHEAD_US = const(-1100)  # the time may be late by a frame's length
_OLD_US = const(1000000)  # the numbers come round after 2 s, so what is older is not compared


def watch():
    """Return the words that ``awake`` works on."""
    return array("i", [0] * _WORDS)


@micropython.viper
def awake(w: ptr32, register: ptr32, now_us: int) -> int:
    """Return 1 when a start of frame has surely come within the last 2.9 ms, else 0.

    After a sleep it takes two looks, at least a frame apart. ``now_us`` wraps at 2^30.
    """
    frame = register[0] & _NUMBERS
    passed = (frame - w[_FRAME]) & _NUMBERS
    since = (now_us - w[_AT]) & _TIME
    behind = since - passed * _FRAME_US
    on_time = 0
    if since < _OLD_US and behind < _BEHIND_US and behind > _AHEAD_US:
        on_time = 1
    known = w[_KNOWN]
    if known == _SURE and on_time and behind >= 0:
        if passed:
            # The computer's ms and ours may differ by some 500 millionths: the time kept here is let slip by
            # 1000, and is put right when a frame comes before it.
            w[_FRAME] = frame
            w[_AT] = (w[_AT] + passed * (_FRAME_US + 1)) & _TIME
        return 1
    if known == 0 or (known == _SEEN and passed == 0):
        on_time = 0
    w[_KNOWN] = _SEEN + on_time
    w[_FRAME] = frame
    w[_AT] = now_us
    return on_time
