"""Only time without current takes back heat or held time; only movement shows that a part is not held."""
# Runs under CPython and MicroPython.

import math

from fake_board import LIMITS, FakeBoard, Host, segment
from readings import Readings, counts_of, limits, of_span
from strokefw import channels, faults, state
from strokefw.drive import ramp
from strokefw.guard import budget, current, stall
from strokefw.link import wire

HOLD = 3500  # mA; the stall current is 3000, the time 1000 ms


def held_ms(bench):
    """Return what is held against the part, in ms."""
    return bench.guard.budgets.words[stall.HELD] // stall.UNITS


def ticks_to_stall(bench, most, flow, sensor=None):
    """Return after how many ticks the stall guard acts, 0 if it does not; functions of the tick's number."""
    if sensor is not None:  # where it has been for long
        place = round(sensor(0))
        bench.guard.current_words[current.WAS_A] = bench.guard.budgets.words[stall.HOME_A] = place
    for n in range(most):
        bench.gate = 1 if flow(n) else 0
        place = {} if sensor is None else {"sensor_a_mv": sensor(n)}
        found = bench.tick(current_ma=flow(n), **place)
        assert found in (0, faults.STALL), found
        if found:
            return n + 1
    return 0


def noise(seed):
    """Return numbers of a bell curve (sum of twelve), mean 0, standard deviation 1, the same everywhere."""
    while True:
        total = -6.0
        for _ in range(12):
            seed = (seed * 69069 + 1) & 0xFFFFFFF
            total += seed / 0x10000000
        yield total


# -- held ------------------------------------------------------------------------------------------------


def test_a_hold_with_a_pause_of_one_tick_faults_as_a_plain_one():
    plain = ticks_to_stall(Readings(), 2000, lambda n: HOLD)
    assert 1000 < plain < 1016
    assert plain <= ticks_to_stall(Readings(), 2000, lambda n: HOLD if n % 875 else 0) < plain + 20


def test_pauses_take_back_a_quarter_of_their_own_length_whatever_it_is():
    for on, off in ((40, 10), (400, 100), (900, 450), (900, 900), (60, 120)):
        assert ticks_to_stall(Readings(), 8000, lambda n, on=on, all=on + off: HOLD if n % all < on else 0), (
            on,
            off,
        )
    for on, off in ((40, 200), (900, 4500)):  # a hold that rests five times as long may go on for ever
        assert not ticks_to_stall(
            Readings(), 12000, lambda n, on=on, all=on + off: HOLD if n % all < on else 0
        ), (on, off)


def test_less_current_takes_back_less_and_reversal_nothing():
    bench = Readings()
    bench.quiet(800, current_ma=HOLD)
    bench.quiet(800, current_ma=2990)
    assert 790 <= held_ms(bench) <= 800
    bench.drive = -5000
    assert 180 < bench.until(faults.STALL, 300, current_ma=-HOLD) < 220


def test_current_that_swings_round_the_limit_is_weighed_by_its_mean_square():
    # 2 A and 5 A in turn: mean 3.5 A; 0.1 A and 4.5 A: mean 2.3 A and root mean square 3.2 A
    assert ticks_to_stall(Readings(), 1500, lambda n: 5000 if n & 1 else 2000)
    assert ticks_to_stall(Readings(), 1500, lambda n: 4500 if n & 1 else 100)
    assert not ticks_to_stall(Readings(), 5000, lambda n: 4100 if n & 1 else 100)


def test_arming_and_limits_take_nothing_back():
    bench = Readings()
    bench.quiet(900, current_ma=HOLD)
    bench.guard.fresh()
    bench.guard.set_limits(limits(stall_ma=12000, stall_ms=30000))
    bench.guard.set_limits(limits())
    assert 90 < bench.until(faults.STALL, 200, current_ma=HOLD) < 120


def test_looser_limits_cool_a_part_no_faster():
    bench = Readings()
    bench.quiet(900, current_ma=HOLD)
    bench.guard.set_limits(limits(stall_ma=12000, stall_ms=30000))
    bench.quiet(1000, current_ma=2900)  # much below the new stall current
    assert held_ms(bench) > 870


# -- moved -----------------------------------------------------------------------------------------------


def test_noise_of_60_mv_on_a_track_does_not_defeat_the_stall_guard():
    for seed in (1, 2, 3):
        dice = noise(seed)
        found = ticks_to_stall(Readings(), 1100, lambda n: HOLD, lambda n, d=dice: 2500 + 60 * next(d))
        assert found > 1000


def test_a_swing_of_60_mv_does_not_whatever_its_frequency():
    for hertz in (0.3, 1, 2, 7.8, 15.6, 61.3, 500):
        turn = 2 * math.pi * hertz / 1000
        found = ticks_to_stall(
            Readings(stall_ms=4000), 4100, lambda n: HOLD, lambda n, t=turn: 2500 + 60 * math.sin(t * n + 0.7)
        )
        assert found, hertz


def test_noise_that_beats_with_the_bridge_does_not():
    # all ticks of a drive read 120 mV more than those of another: ground that rises with the current
    assert ticks_to_stall(
        Readings(), 1500, lambda n: 3500 if n % 400 < 200 else 4500, lambda n: 2500 + n % 400 // 200 * 120
    )


def test_a_track_that_drifts_or_loses_contact_does_not():
    assert ticks_to_stall(Readings(stall_ms=4000), 4100, lambda n: HOLD, lambda n: 1000 + n // 25)
    dice = noise(4)
    assert ticks_to_stall(Readings(), 1100, lambda n: HOLD, lambda n: 2500 if next(dice) < 1.3 else 0)


def test_a_slow_sweep_counts_as_movement():
    slowest = Readings(stall_ms=4000)
    assert not ticks_to_stall(slowest, 20000, lambda n: HOLD, lambda n: 500 + n // 5)  # 0.2 V/s
    both_ways = Readings(stall_ms=4000)
    assert not ticks_to_stall(both_ways, 20000, lambda n: HOLD, lambda n: 500 + abs(n % 16000 - 8000) // 2)


def test_jogs_of_a_hair_take_back_the_last_two_seconds_only():
    def jogged(n):
        return 2500 + (200 if n // 3500 & 1 else 0)

    assert ticks_to_stall(Readings(stall_ms=4000), 12000, lambda n: HOLD, jogged)


def test_movement_is_counted_from_where_the_part_was_held_not_from_where_it_last_moved_far():
    # 790 mV up to where it is held; a nudge of 30 mV is no movement of 820 mV
    nudged = ticks_to_stall(
        Readings(stall_ms=4000), 9000, lambda n: HOLD, lambda n: 1000 if n < 100 else 1790 + n // 2000 * 30
    )
    assert 4000 < nudged < 4600
    # and from 700 mV above the place of its last movement to 600 mV below is one of 1300 mV
    assert not ticks_to_stall(
        Readings(stall_ms=4000),
        15000,
        lambda n: HOLD,
        lambda n: 2500 if n < 100 else 3200 if n % 7000 < 3500 else 1900,
    )


def test_a_part_without_a_sensor_is_held_by_the_clock():
    assert ticks_to_stall(Readings(), 1100, lambda n: HOLD, lambda n: 0)


# -- heat ------------------------------------------------------------------------------------------------


def emptied():
    """Return a bench whose part budget has just run out: 10 A2s above 1 A."""
    bench = Readings(i2t_part_a2s=10, i2t_part_rest_ma=1000)
    bench.until(faults.BUDGET_PART, 2000, current_ma=2900)
    bench.gate = bench.drive = 0
    for _ in range(8):
        bench.tick()
    assert bench.guard.block == faults.BUDGET_PART
    return bench


def test_looser_limits_refill_no_budget_and_open_no_way_to_clear():
    for changes in ({"i2t_part_rest_ma": 15000}, {"i2t_part_a2s": 100000}):
        bench = emptied()
        bench.guard.set_limits(limits(**dict({"i2t_part_a2s": 10, "i2t_part_rest_ma": 1000}, **changes)))
        for _ in range(1800):
            bench.tick()
            assert bench.guard.block == faults.BUDGET_PART, changes
        for _ in range(400):  # a fifth of 10 A2s, at the 1 A2 of the limits that it was spent under
            bench.tick()
        assert bench.guard.block == 0


def test_a_small_budget_in_between_makes_no_large_one_full():
    bench = Readings(i2t_part_a2s=100, i2t_part_rest_ma=1000)
    bench.quiet(1000, current_ma=2900)
    left = bench.guard.left_part
    bench.guard.set_limits(limits(i2t_part_a2s=1, i2t_part_rest_ma=20000))
    bench.guard.set_limits(limits(i2t_part_a2s=100, i2t_part_rest_ma=1000))
    assert abs(bench.guard.left_part - left) < 2 and left < 930


def test_the_benchs_own_budget_knows_no_profile():
    bench = Readings()
    words = bench.guard.budgets.words
    before = words[budget.FULL], words[budget.REST]
    bench.guard.set_limits(limits(i2t_part_a2s=1, i2t_leads_a2s=1, i2t_part_rest_ma=10, i2t_leads_rest_ma=10))
    assert (words[budget.FULL], words[budget.REST]) == before
    assert before[1] == 40000 // 8


def test_heat_follows_the_root_mean_square_of_the_ripple():
    bench = Readings(i2t_part_a2s=100, i2t_part_rest_ma=100)
    counts = counts_of(1000)
    counts[channels.I_MAX] += of_span(3800, channels.COARSE_FULL_MA)
    counts[channels.I_MIN] -= of_span(3800, channels.COARSE_FULL_MA)
    counts[channels.LEG_A] = counts[channels.BUS] // 2
    for _ in range(4000):
        bench.scan(counts)
    # 1 A and (7.6 - 0.8)^2 / 12 A2 of ripple, for 4 s: 19.4 A2s of 100
    assert 795 <= bench.guard.left_part <= 815


def test_limits_that_allow_more_cool_no_part_that_is_too_hot():
    for changes in ({"part_temp_max_dc": 1500}, {"flags": 0}):
        bench = Readings(flags=1, part_temp_max_dc=300)
        bench.gate = bench.drive = 0
        for _ in range(60):
            bench.tick(ntc_counts=15000)  # some 60 C
        assert bench.guard.block == faults.PART_HOT
        bench.guard.set_limits(limits(**dict({"flags": 1, "part_temp_max_dc": 300}, **changes)))
        for _ in range(60):
            bench.tick(ntc_counts=15000)
        assert bench.guard.block == faults.PART_HOT, changes


# -- over a reset and a power cycle ----------------------------------------------------------------------


def test_heat_and_held_time_outlive_a_reset_and_cool_no_faster():
    board = FakeBoard()
    bench = Readings(board=board, i2t_part_a2s=100, i2t_part_rest_ma=1000)
    bench.quiet(900, current_ma=HOLD)
    before = bench.guard.left_part, held_ms(bench)
    again = Readings(board=board, fresh=1, i2t_part_a2s=100, i2t_part_rest_ma=1000)
    after = again.guard.left_part, held_ms(again)
    assert before[0] - 25 <= after[0] <= before[0], "within the grain of 1.07 A2s, never more"
    assert before[1] <= after[1] <= before[1] + 32
    loose = Readings(board=board, fresh=1, i2t_part_a2s=100, i2t_part_rest_ma=15000)
    again.quiet(800)
    loose.quiet(800)
    assert again.guard.left_part == loose.guard.left_part < before[0] + 15


def test_an_emptied_budget_still_forbids_after_a_reset_whatever_the_newlimits():
    board = FakeBoard()
    bench = Readings(board=board, i2t_part_a2s=10, i2t_part_rest_ma=1000)
    bench.until(faults.BUDGET_PART, 2000, current_ma=2900)
    bench.quiet(0)
    for _ in range(8):
        bench.tick()
    again = Readings(board=board, fresh=1, i2t_part_a2s=100000, i2t_part_rest_ma=15000)
    again.gate = again.drive = 0
    for _ in range(1500):
        again.tick()
    assert again.guard.block == faults.BUDGET_PART


def test_a_damaged_record_is_a_power_up():
    board = FakeBoard()
    bench = Readings(board=board)
    bench.quiet(100, current_ma=2000)
    whole = board.scratch
    known = Readings(board=board, fresh=1).guard.left_part
    for bit in range(8 * len(whole)):
        damaged = bytearray(whole)
        damaged[bit // 8] ^= 1 << bit % 8
        board.scratch = bytes(damaged)
        assert Readings(board=board, fresh=1).guard.left_part == 500, bit
    assert known > 900


def test_at_power_up_half_of_all_is_taken_for_spent_until_it_has_cooled():
    bench = Readings(fresh=1, i2t_part_a2s=100, i2t_part_rest_ma=2000)
    guard = bench.guard
    assert 490 < guard.left_part <= 500 and 490 < guard.left_leads <= 500 and 490 < guard.left_bench <= 500
    assert held_ms(bench) == 500
    bench.quiet(320)  # until it knows where the sensor is
    assert bench.until(faults.STALL, 600, current_ma=HOLD) < 600


def test_a_profile_in_between_does_not_pay_what_is_unknown():
    bench = Readings(fresh=1, i2t_part_a2s=1, i2t_part_rest_ma=20000)
    bench.quiet(40)
    bench.guard.set_limits(limits(i2t_part_a2s=100, i2t_part_rest_ma=2000))
    assert 490 < bench.guard.left_part < 510


# -- the whole bench -------------------------------------------------------------------------------------

EMPTY = dict(zip(wire.LIMIT_FIELDS, LIMITS))  # noqa: B905 - MicroPython's zip knows no strict


def values(**changes):
    """Return the values of a ``limits`` message."""
    return [dict(EMPTY, **changes)[name] for name in wire.LIMIT_FIELDS]


def latched_by_heat():
    """Return a host whose bench has used up its part's budget."""
    host = Host()
    host.tick(3)
    host.do("hello", wire.PROTOCOL)
    host.do("limits", *values(i2t_part_a2s=20, i2t_part_rest_ma=1000))
    host.tick(10000)  # what is unknown cools
    host.do("arm")
    host.load([segment(ramp.RAMP, 6000, 200), segment(ramp.HOLD, 6000, 9000)])
    assert host.run()[3:5] != (0, 0)
    host.tick(20)
    assert host.app.state == state.LATCHED and host.app.fault == faults.BUDGET_PART
    return host


def test_clear_is_refused_after_looser_limits_a_new_session_and_an_emergency_stop():
    host = latched_by_heat()
    for act in ("limits", "hello", "estop"):
        if act == "limits":
            host.do("limits", *values(i2t_part_a2s=100000, i2t_part_rest_ma=15000))
        elif act == "hello":
            host.do("hello", wire.PROTOCOL)
        else:
            host.board.open_line = 1
            host.tick(20)
            host.board.open_line = 0
        host.tick(30)
        assert host.ask("clear")[1][0] == faults.FAULT_LATCHED, act
    host.tick(7000)  # a fifth of 20 A2s at 1 A2, and what the ramp down was too much
    assert host.ask("clear")[1][0] == 0


def test_the_tick_keeps_what_it_knows_and_a_new_app_on_the_same_board_takes_it_over():
    host = latched_by_heat()
    again = Host(host.board)
    again.tick(3)
    again.do("hello", wire.PROTOCOL)
    again.do("limits", *values(i2t_part_a2s=100000, i2t_part_rest_ma=15000))
    again.tick(20)
    assert again.ask("arm")[1][0] == faults.BUDGET_PART
    fresh = Host()
    fresh.arm(values(i2t_part_a2s=20, i2t_part_rest_ma=1000))
