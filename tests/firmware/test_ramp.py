"""Segments to drive, tick by tick: exact values and times, slew limit, reversal, watches, captures."""
# Runs under CPython and MicroPython.

from array import array

from strokefw import faults
from strokefw.drive import ramp
from strokefw.drive.ramp import BEGAN, BURST, ENDED, FIRED, HOLD, PAUSE, PULSE, RAMP, STEP
from strokefw.sensing import sense

FULL = 10000


def readings(current_ma=0, sensor_a_mv=0, sensor_b_mv=0):
    """Return what a watch looks at, as in ``Sense.values``."""
    values = array("i", [0] * sense.N_VALUES)
    values[sense.B_MERGED] = current_ma + sense.BIAS
    values[sense.RATIO_A] = sensor_a_mv
    values[sense.RATIO_B] = sensor_b_mv
    return values


NOTHING = readings()


def player(segments, slew=FULL, low=-FULL, high=FULL):
    """Return a started Ramp with ``segments`` of (kind, target, ms, p, watch) loaded."""
    r = ramp.Ramp()
    r.bounds(low, high, slew)
    assert r.begin(len(segments)) == 0
    for index in range(len(segments)):
        given = segments[index] + ((0, 0, 0, 0), (0, 0, 0, 0, 0))[len(segments[index]) - 3 :]
        kind, target, ms, p, watch = given
        assert r.put(index, (kind, target, ms) + p + watch) == 0, segments[index]
    assert r.complete() == 0
    r.start()
    return r


def play(r, cap=FULL, values=NOTHING, limit=100000):
    """Run to the end; return the rows (drive, gate, index, told), the ending step excluded."""
    rows = []
    for _ in range(limit):
        told = r.step(values, cap, r.slew)
        if told & ENDED:
            return rows
        rows.append((r.drive, r.gate, r.index, told))
    raise AssertionError("did not end")


def drives(rows):
    """Return the drives of rows."""
    return [row[0] for row in rows]


class Dice:
    """A small repeatable source of numbers, the same in every interpreter."""

    def __init__(self, seed):
        self.x = seed

    def __call__(self, low, high):
        self.x = (self.x * 1103515245 + 12345) & 0x7FFFFFFF
        return low + (self.x >> 8) % (high - low + 1)


def test_ramp_is_exact_in_every_tick():
    cases = (
        (0, 5000, 200), (0, 1000, 3), (5000, -5000, 777), (-30, 30, 7), (0, 10000, 30000), (100, 100, 5),
    )  # fmt: skip
    for start, target, ms in cases:
        r = player([(HOLD, start, 1), (RAMP, target, ms)])
        got = drives(play(r))[1:]
        want = [start + (target - start) * k // ms for k in range(1, ms + 1)]
        for k in range(ms):  # a tick that would jump across zero rests there
            before = start if k == 0 else want[k - 1]
            if before * want[k] < 0:
                want[k] = 0
        assert got == want, (start, target, ms)


def test_every_segment_lasts_its_ticks_whatever_the_slew_limit_does():
    segments = [
        (RAMP, 8000, 30), (HOLD, -8000, 40), (STEP, 500, 17), (PAUSE, 0, 9),
        (PULSE, 6000, 0, (5, 7, 4, -100)),
        (RAMP, 0, 1), (HOLD, 0, 1),
    ]  # fmt: skip
    for slew in (1, 7, 50, 400, FULL):
        rows = play(player(segments, slew))
        lengths = [len([1 for row in rows if row[2] == i]) for i in range(len(segments))]
        assert lengths == [30, 40, 17, 9, 48, 1, 1], (slew, lengths)
        began = [row[2] for row in rows if row[3] & BEGAN]
        assert began == list(range(len(segments)))


def test_hold_and_step_go_as_fast_as_the_slew_limit_allows():
    assert drives(play(player([(STEP, 100, 5)], 30))) == [30, 60, 90, 100, 100]
    assert drives(play(player([(HOLD, -100, 4)], 40))) == [-40, -80, -100, -100]


def test_reversal_rests_at_zero():
    assert drives(play(player([(STEP, 50, 2), (STEP, -50, 4)], 40))) == [40, 50, 10, 0, -40, -50]


def test_pulses():
    got = drives(play(player([(PULSE, 300, 0, (2, 3, 2, 20))])))
    assert got == [300, 300, 20, 20, 20, 300, 300, 20, 20, 20]


def test_pause_opens_the_bridge_at_once_and_leaves_from_zero():
    rows = play(player([(STEP, 200, 2), (PAUSE, 0, 2), (STEP, 200, 3)], 100))
    assert [row[:2] for row in rows] == [(100, 1), (200, 1), (0, 0), (0, 0), (100, 1), (200, 1), (200, 1)]


def test_cap_holds_the_drive_back_at_slew():
    r = player([(STEP, 1000, 10)], 100)
    got = []
    for cap in (FULL, FULL, FULL, 120, 120, 120, 0, 0, 0, 500):
        r.step(NOTHING, cap, r.slew)
        got.append(r.drive)
    assert got == [100, 200, 300, 200, 120, 120, 20, 0, 0, 100]


def test_braking_may_be_slowed_but_driving_not():
    r = player([(STEP, 300, 3), (STEP, -300, 9)], 100)
    got = []
    for _ in range(12):
        r.step(NOTHING, FULL, 50)
        got.append(r.drive)
    assert got == [100, 200, 300, 250, 200, 150, 100, 50, 0, -100, -200, -300]


def test_limits_tightened_while_running_are_obeyed():
    r = player([(STEP, 1000, 6)], 200)
    got = []
    for tick in range(6):
        if tick == 3:
            r.bounds(-FULL, 300, r.slew)
        r.step(NOTHING, FULL, r.slew)
        got.append(r.drive)
    assert got == [200, 400, 600, 400, 300, 300]


def random_segment(dice):
    """Return one valid random segment."""
    kind = dice(RAMP, PAUSE)
    p = (dice(1, 20), dice(1, 20), dice(1, 4), dice(-FULL, FULL)) if kind == PULSE else (0, 0, 0, 0)
    return (kind, dice(-FULL, FULL), dice(1, 60), p)


def test_slew_and_reversal_hold_for_random_procedures_and_caps():
    dice = Dice(20)
    for _ in range(40):
        slew = dice(1, 900)
        r = player([random_segment(dice) for _ in range(dice(1, 12))], slew)
        before = 0
        while True:
            cap = dice(0, FULL)
            down = dice(1, slew)
            told = r.step(NOTHING, cap, down)
            if told & ENDED:
                r.down()
            drive = r.drive
            off = r.gate == 0
            assert off or abs(drive - before) <= slew, (before, drive, slew)
            assert not off or drive == 0
            assert drive * before >= 0, "reversal must pass through zero"
            if not off and abs(drive) < abs(before):
                assert abs(before) - abs(drive) <= down
            before = drive
            if r.mode == ramp.DOWN and drive == 0:
                break


def test_down_ends_at_zero_within_the_slew_limit():
    r = player([(STEP, 95, 3)], 40)
    for _ in range(3):
        r.step(NOTHING, FULL, 40)
    r.down()
    got = []
    for _ in range(4):
        r.step(NOTHING, FULL, 40)
        got.append(r.drive)
    assert got == [55, 15, 0, 0]


def test_jog_follows_its_target():
    r = ramp.Ramp()
    r.bounds(-100, 100, 30)
    r.jog(70)
    got = []
    for tick in range(8):
        if tick == 4:
            r.jog(-1000)
        r.step(NOTHING, FULL, 30)
        got.append(r.drive)
    assert got == [30, 60, 70, 70, 40, 10, 0, -30]


def watching(watch, values, name="current_ma", ms=20):
    """Play a HOLD under ``watch`` while a reading takes ``values``; return the told bits, tick by tick."""
    r = player([(HOLD, 10, ms, (0, 0, 0, 0), watch), (HOLD, 20, 5)])
    told = []
    for value in values:
        told.append(r.step(readings(**{name: value}), FULL, FULL))
    return told, r


def test_watch_on_each_reading_both_ways():
    for kind, name, quiet, hit in (
        (1, "current_ma", 500, 501), (1, "current_ma", -500, -501), (2, "current_ma", 500, 499),
        (2, "current_ma", -500, 0), (3, "sensor_a_mv", 500, 501), (4, "sensor_a_mv", 500, 499),
        (5, "sensor_b_mv", 500, 501), (6, "sensor_b_mv", 500, 499),
    ):  # fmt: skip
        told, r = watching((kind, 0, 500, 0, 0), (quiet, quiet, quiet, hit), name)
        assert told == [BEGAN, 0, 0, FIRED | BEGAN] and r.index == 1 and r.last_index == 0, (kind, told)


def test_watch_may_end_the_run():
    told, _r = watching((1, ramp.WATCH_END, 500, 0, 0), (0, 0, 600))
    assert told == [BEGAN, 0, FIRED | ENDED]


def test_watch_waits_and_wants_it_to_last():
    told, _r = watching((1, 0, 500, 3, 0), (600,) * 6)  # blind for 3 ticks after the segment began
    assert told == [BEGAN, 0, 0, 0, FIRED | BEGAN, 0]
    told, _r = watching((1, 0, 500, 0, 2), (600, 600, 600, 0, 600, 600, 600))
    assert told == [BEGAN, 0, 0, 0, 0, 0, FIRED | BEGAN]


def test_watch_of_the_last_segment_is_off_in_the_next():
    told, _r = watching((1, 0, 500, 0, 0), (0, 0, 600, 600, 600), ms=2)
    assert told == [BEGAN, 0, FIRED | BEGAN, 0, 0]


def test_capture_holds_the_segment_until_done():
    r = player([(STEP, 300, 2), (BURST, 0, 0, (1, 500000, 100, 0)), (STEP, 0, 2)])
    r.step(NOTHING, FULL, FULL)
    r.step(NOTHING, FULL, FULL)
    assert r.step(NOTHING, FULL, FULL) == BEGAN and r.capture == ramp.CAPTURE_ASKED
    assert r.capture_wanted() == (1, 500000, 100, 0)
    for _ in range(50):
        assert r.step(NOTHING, FULL, FULL) == 0 and r.drive == 300
    r.capture = ramp.CAPTURE_RUNNING
    assert r.step(NOTHING, FULL, FULL) == 0 and r.trigger == 0
    r.capture = ramp.CAPTURE_DONE
    assert r.step(NOTHING, FULL, FULL) == BEGAN and r.index == 2 and r.drive == 0


def test_capture_with_pre_trigger_triggers_the_next_segment():
    r = player([(BURST, 0, 0, (1, 10000, 100, 50)), (STEP, 900, 3)])
    r.step(NOTHING, FULL, FULL)
    r.capture = ramp.CAPTURE_RUNNING
    ticks = 0
    while not r.trigger:
        told = r.step(NOTHING, FULL, FULL)
        ticks += 1
    assert ticks == 6 and told == BEGAN and r.drive == 900  # 50 values at 10 kHz are 5 ms, and one to be sure


def test_unreasonable_segments_are_refused():
    r = ramp.Ramp()
    r.bounds(-100, 100, 1)
    assert r.complete() == faults.INCOMPLETE
    assert r.begin(0) == r.begin(ramp.SEGMENTS_MAX + 1) == faults.OUT_OF_RANGE
    assert r.begin(2) == 0 and r.complete() == faults.INCOMPLETE
    good = (HOLD, 50, 10, 0, 0, 0, 0, 0, 0, 0, 0, 0)
    assert r.put(2, good) == faults.OUT_OF_RANGE
    for at, value in ((0, 0), (0, 7), (7, 7), (8, 2)):
        bad = good[:at] + (value,) + good[at + 1 :]
        assert r.put(0, bad) == faults.BAD_MESSAGE, bad
    for at, value in ((1, 10001), (1, -10001), (2, 0), (2, 600001), (9, -1), (9, 1 << 30)):
        bad = good[:at] + (value,) + good[at + 1 :]
        assert r.put(0, bad) == faults.OUT_OF_RANGE, bad
    for p in ((0, 1, 1, 0), (1, 0, 1, 0), (1, 1, 0, 0), (1, 1, 1, 10001), (1, 1, 10001, 0)):
        assert r.put(0, (PULSE, 0, 0) + p + (0,) * 5) == faults.OUT_OF_RANGE, p
    for p in ((13, 1000, 10, 0), (-1, 1000, 10, 0), (0, 0, 10, 0), (0, 1000, 0, 0), (0, 1000, 10, 10)):
        assert r.put(0, (BURST, 0, 0) + p + (0,) * 5) == faults.OUT_OF_RANGE, p
    assert r.put(0, good) == r.put(1, (HOLD, 101) + good[2:]) == 0
    assert r.complete() == faults.OUT_OF_RANGE  # fits the bench, not the part's limits
    assert r.put(1, good) == 0 and r.complete() == 0
    assert r.begin(2) == 0 and r.complete() == faults.INCOMPLETE
