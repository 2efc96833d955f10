"""Each guard by itself: it acts within its time, and not before its cause."""
# Runs under CPython and MicroPython.

from readings import DEFAULTS, Readings, counts_of, limits
from strokefw import channels, faults
from strokefw.guard import limits as guard_limits
from strokefw.guard.limits import ABSOLUTE


def test_ordinary_driving_is_left_alone():
    bench = Readings()
    bench.quiet(3000, current_ma=1500)
    assert bench.guard.cap == 10000 and bench.guard.slew_down == 100 and bench.guard.warn == 0
    assert bench.guard.block == 0


def test_peak_not_cut_is_a_fault_after_three_ticks_and_a_hard_one_at_once():
    bench = Readings()
    bench.quiet(5, current_ma=13500)  # limit 12 A, a tenth and 0.8 A of tolerance above it
    assert Readings().until(faults.CURRENT_PEAK, 5, current_ma=14500) == 3
    assert Readings().until(faults.CURRENT_PEAK, 5, current_ma=-14500) == 3
    assert Readings().until(faults.CURRENT_PEAK, 5, current_ma=78000) == 1


def test_mean_that_foldback_cannot_hold():
    bench = Readings(stall_ms=30000)
    # 60 ms and the time a slew of 100 per tick takes from full drive to none
    assert bench.until(faults.CURRENT_MEAN, 400, current_ma=5600) == 161
    bench = Readings(stall_ms=30000)
    for _ in range(20):  # a fold-back that works leaves no trace
        bench.quiet(100, current_ma=5600)
        bench.quiet(120, current_ma=3900)


def test_trips_escalate_only_when_they_do_not_stop():
    bench = Readings()
    for _ in range(10):  # an inrush: 20 ms of cut cycles, then none for a while
        for _ in range(20):
            assert bench.tick(trips=20) == 0
        bench.quiet(400)
    bench = Readings()
    ticks = 0
    while bench.tick(trips=20) == 0:
        ticks += 1
    assert 30 <= ticks <= 36
    bench = Readings()
    for _ in range(5000):  # a tenth of the cycles may be cut for ever
        assert bench.tick(trips=2) == 0


def test_stall_needs_current_and_a_sensor_that_stands():
    assert 1000 < Readings().until(faults.STALL, 1200, current_ma=3500) < 1016
    assert 1000 < Readings().until(faults.STALL, 1200, current_ma=-3500) < 1016
    Readings().quiet(3000, current_ma=2900)
    bench = Readings()
    for n in range(3000):  # 50 mV every 250 ms is movement: 160 mV in less than the allowed second
        assert bench.tick(current_ma=3500, sensor_a_mv=1000 + 50 * (n // 250)) == 0
    bench = Readings()
    for n in range(3000):  # so is movement of the second track alone
        assert bench.tick(current_ma=3500, sensor_b_mv=1000 + 50 * (n // 250)) == 0


def test_stall_time_adds_up_over_short_pauses():
    bench = Readings()
    for _ in range(5):
        bench.quiet(200, current_ma=3500)
        bench.quiet(80, current_ma=100)
    assert 90 < bench.until(faults.STALL, 200, current_ma=3500) < 120  # a quarter of each pause is taken back


def test_current_while_off():
    bench = Readings()
    bench.gate = bench.drive = 0
    bench.quiet(1000, current_ma=300)
    assert 200 <= bench.until(faults.CURRENT_OFF, 300, current_ma=700) <= 201


def test_ranges_that_disagree():
    bench = Readings()
    counts = counts_of(3000)
    counts[channels.LEG_A] = counts[channels.BUS] // 2
    counts[channels.I_FINE] = channels.MID_SCALE  # the fine amplifier is dead
    codes = [bench.scan(counts) for _ in range(102)]
    assert codes[99] == 0 and codes[101] == faults.RANGES_DIFFER
    bench = Readings()
    bench.quiet(500, current_ma=3900)
    bench = Readings(current_max_ma=50000, current_mean_ma=40000, stall_ma=45000, i2t_part_rest_ma=40000)
    bench.quiet(500, current_ma=35000)  # the fine range is at its end there, which is no fault


def test_flat_battery_and_sag_are_told_apart():
    bench = Readings()
    bench.drive = 0
    bench.quiet(200, bus_mv=12600)
    bench.drive = 9000
    assert bench.until(faults.SUPPLY_SAG, 40, current_ma=3000, bus_mv=10000) == 20
    bench = Readings()
    bench.drive = 0
    bench.quiet(200, bus_mv=10600)
    bench.drive = 9000
    assert bench.until(faults.SUPPLY_LOW, 40, current_ma=3000, bus_mv=10000) == 20
    bench = Readings()
    bench.drive = 0
    assert bench.until(faults.SUPPLY_LOW, 40, bus_mv=10000) == 20


def test_short_dips_pass_and_deep_ones_do_not():
    bench = Readings()
    for _ in range(10):
        bench.quiet(15, bus_mv=9500)
        bench.quiet(40, bus_mv=12000)
    assert bench.until(faults.NO_SUPPLY, 10, bus_mv=4000) == 2


def test_supply_is_judged_only_with_the_main_switch_closed():
    bench = Readings()
    bench.gate = bench.drive = bench.rail = 0
    bench.quiet(100, bus_mv=0)
    bench.quiet(100, bus_mv=18000)


def test_overvoltage_and_regeneration():
    assert Readings().until(faults.SUPPLY_HIGH, 5, bus_mv=16500) == 3
    assert Readings().until(faults.SUPPLY_HIGH, 5, bus_mv=21000) == 1
    assert Readings().until(faults.REGEN_HIGH, 5, bus_mv=16500, current_ma=-2000) == 3
    assert Readings().until(faults.REGEN_HIGH, 5, bus_mv=16500, lifted_mv=1000) == 3  # it fed back before
    bench = Readings()
    bench.drive = -5000
    assert bench.until(faults.REGEN_HIGH, 5, bus_mv=16500, current_ma=2000) == 3


def test_regeneration_slows_the_way_down_before_it_trips():
    bench = Readings()
    bench.quiet(100, current_ma=1000)
    assert bench.guard.slew_down == 100
    seen = []
    for bus_mv in (12000, 14000, 15000, 15500, 15790, 15950):
        bench.quiet(1, bus_mv=bus_mv, lifted_mv=1000, current_ma=-200)
        seen.append(bench.guard.slew_down)
    assert 50 <= seen[0] <= 80 and seen == sorted(seen, reverse=True) and seen[-2:] == [0, 0], seen
    bench.quiet(8, bus_mv=15950, lifted_mv=1000, current_ma=-200)
    assert bench.guard.warn == faults.REGEN_SLOWED
    bench.quiet(10, bus_mv=15950, current_ma=1000)  # recovers slowly: brushes let the current swing
    assert bench.guard.slew_down == 10
    bench.quiet(90, bus_mv=15950, current_ma=1000)  # a charger is no regeneration
    assert bench.guard.slew_down == 100
    bench.quiet(1, lifted_mv=1000, current_ma=-6000)  # more than the room to the limit allows
    assert bench.guard.slew_down == 0


def fallen(bench, ticks, **reading):
    """By how much the drive may fall in so many ticks, 1/10000."""
    sum_ = 0
    for _ in range(ticks):
        bench.quiet(1, **reading)
        sum_ += bench.guard.slew_down
    return sum_


def test_what_only_looks_like_regeneration_does_not_hold_the_drive_up():
    """A current's zero that is 0.3 A off, on a charger: nothing stands above the supply."""
    for slew, at_least in ((1, 50), (100, 10000), (1000, 10000)):
        bench = Readings(slew_per_ms=slew)
        bench.quiet(1100, current_ma=1000)
        assert fallen(bench, 2800, bus_mv=15500, current_ma=-300) > at_least, slew
    bench = Readings()
    bench.quiet(1100, current_ma=1000)
    assert fallen(bench, 1000, bus_mv=15500, current_ma=-100) > 90000  # what tolerances allow is not seen


def test_a_part_that_somebody_else_turns_is_let_go_too():
    """Held by a full bus, the drive still ends: 160 s from full drive, however slow the slew."""
    for slew in (1, 100, 1000):
        bench = Readings(slew_per_ms=slew)
        bench.quiet(1100, current_ma=1000)
        assert 55 < fallen(bench, 1000, bus_mv=15950, lifted_mv=1000, current_ma=-300) < 70, slew


def test_regeneration_is_over_with_the_drive():
    bench = Readings()
    bench.quiet(20, bus_mv=15900, lifted_mv=3000, current_ma=-500)
    assert bench.guard.warn == faults.REGEN_SLOWED
    bench.drive = 0  # the capacitors stay full for long: their bleeder alone empties them
    bench.quiet(200, bus_mv=15900, lifted_mv=3000)
    assert bench.guard.slew_down == 100 and bench.guard.warn == 0


def test_cut_supply():
    bench = Readings()
    counts = counts_of(0, bus_mv=9000)
    counts[channels.VIN] = counts_of()[channels.VIN]
    counts[channels.LEG_A] = counts[channels.BUS] // 2
    assert [bench.scan(counts) for _ in range(5)] == [0, 0, 0, 0, faults.SUPPLY_CUT]
    counts[channels.BUS] = counts[channels.LEG_A] = counts_of(0, bus_mv=1000)[channels.BUS]
    assert [Readings().scan(counts), bench.scan(counts)] == [0, faults.SUPPLY_CUT]


def test_a_bus_still_too_high_blocks_arming():
    bench = Readings()
    for _ in range(20):
        bench.tick(bus_mv=16500)
    assert bench.guard.block == faults.SUPPLY_HIGH
    for _ in range(20):
        bench.tick(bus_mv=15900)
    assert bench.guard.block == 0


def test_outputs_that_do_not_follow():
    bench = Readings()
    bench.follow = False
    counts = counts_of()
    counts[channels.LEG_A] = 0
    codes = [bench.scan(counts) for _ in range(52)]
    assert codes[49] == 0 and codes[51] == faults.LEG_FOLLOW
    for _ in range(200):  # while cycles are cut, the outputs say nothing
        assert bench.scan(counts, trips=2) == 0


def test_a_mosfet_that_shorts_while_the_bridge_is_off():
    for share, code in ((1.0, faults.LEG_HIGH), (0.0, faults.LEG_LOW)):
        bench = Readings()
        bench.drive = bench.gate = 0
        bench.quiet(300)
        bench.follow = False
        counts = counts_of()
        counts[channels.LEG_A] = counts[channels.LEG_B] = int(counts[channels.BUS] * share)
        codes = [bench.scan(counts) for _ in range(252)]
        assert codes[249] == 0 and codes[251] == code
    bench = Readings()  # a part that coasts puts its voltage between the outputs: no fault
    bench.drive = bench.gate = 0
    bench.follow = False
    counts[channels.LEG_A] = int(counts[channels.BUS] * 0.75)
    counts[channels.LEG_B] = int(counts[channels.BUS] * 0.07)
    for _ in range(600):
        assert bench.scan(counts) == 0


def test_feed_matters_only_to_parts_that_use_it():
    Readings().quiet(200, feed_mv=3000)
    assert Readings(flags=guard_limits.SENSORS).until(faults.FEED_RANGE, 40, feed_mv=4300) == 21


def test_estop_wins_over_everything_and_blocks():
    bench = Readings()
    assert bench.tick(current_ma=78000, bus_mv=21000, estop=1) == faults.ESTOP
    assert bench.guard.block == faults.ESTOP
    bench.tick()
    assert bench.guard.block == 0


def test_silence_counts_up_and_stops_counting():
    bench = Readings()
    bench.quiet(10)
    assert bench.guard.silent_ms == 10
    bench.guard.silent_ms = 999999
    bench.quiet(5)
    assert bench.guard.silent_ms == 1000000


def test_worst_severity_wins():
    bench = Readings()
    for _ in range(25):
        code = bench.tick(bus_mv=9000, current_ma=14500)  # supply low only stops, the peak switches off
    assert code == faults.CURRENT_PEAK


def test_fresh_forgets_what_only_counts_towards_a_fault():
    bench = Readings(stall_ms=30000)
    bench.quiet(160, current_ma=5600)
    bench.guard.fresh()
    bench.quiet(160, current_ma=5600)


# -- limits ----------------------------------------------------------------------------------------------


def test_good_limits_pass_and_each_bound_is_kept():
    absolute = ABSOLUTE[0]
    assert guard_limits.check(limits(), None, False, absolute) == 0
    wrong = (
        ("current_max_ma", 60001), ("current_max_ma", 3999), ("current_mean_ma", 45001),
        ("current_mean_ma", 0), ("supply_min_mv", 7999), ("supply_max_mv", 17001), ("supply_min_mv", 16000),
        ("slew_per_ms", 0), ("slew_per_ms", 1001), ("drive_min", 1), ("drive_min", -10001),
        ("drive_max", -1), ("drive_max", 10001), ("stall_ms", 0), ("stall_ms", 30001), ("stall_ma", 12001),
        ("heartbeat_ms", 0), ("heartbeat_ms", 2001), ("i2t_leads_a2s", 0), ("i2t_leads_rest_ma", 0),
        ("i2t_part_a2s", 100001), ("i2t_part_rest_ma", 45001), ("part_temp_max_dc", 1501),
        ("part_temp_max_dc", -5), ("flags", 8),
    )  # fmt: skip
    for name, value in wrong:
        assert guard_limits.check(limits(**{name: value}), None, False, absolute) == faults.OUT_OF_RANGE, name
    assert guard_limits.check(limits(current_max_ma=13000), None, False, ABSOLUTE[1]) == faults.OUT_OF_RANGE


def test_armed_limits_only_get_tighter():
    old = limits()
    looser_up = ("supply_min_mv", "drive_min", "flags")
    for name in DEFAULTS:
        if name == "flags":
            continue
        step = -100 if name in looser_up else 100
        if name == "i2t_part_a2s":
            looser, base = old, limits(i2t_part_a2s=50)
        elif name in ("drive_max", "drive_min"):
            looser, base = limits(), limits(**{name: 5000 if name == "drive_max" else -5000})
        else:
            looser, base = limits(**{name: DEFAULTS[name] + step}), old
        assert guard_limits.check(looser, base, True, ABSOLUTE[0]) == faults.ONLY_TIGHTER, name
        assert guard_limits.check(base, looser, True, ABSOLUTE[0]) == 0, name
    with_ntc = limits(flags=guard_limits.PART_NTC)
    assert guard_limits.check(old, with_ntc, True, ABSOLUTE[0]) == faults.ONLY_TIGHTER
    assert guard_limits.check(with_ntc, old, True, ABSOLUTE[0]) == 0
    assert guard_limits.check(limits(current_mean_ma=5000), old, False, ABSOLUTE[0]) == 0


def test_update_allocates_nothing():
    try:
        from micropython import heap_lock, heap_unlock
    except ImportError:
        return  # MicroPython only; the same file runs there
    bench = Readings(flags=7)
    currents = (-70000, -3000, 0, 4000, 50000)
    scans = [counts_of(ma, bus_mv=mv) for ma in currents for mv in (0, 9000, 12000, 22000)]
    for counts in scans:
        bench.scan(counts)
    sense, guard = bench.sense, bench.guard
    heap_lock()
    try:
        for _ in range(40):
            for counts in scans:
                sense.update(counts)
                guard.update(-7000, 1, 2, 3, 0)
                guard.update(0, 0, 0, 0, 1)
    finally:
        heap_unlock()
