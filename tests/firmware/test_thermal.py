"""Junction estimate against the analytic Foster response, derating, cut-outs, thermistors, heat budgets."""
# Runs under CPython and MicroPython.

import math

from readings import Readings, counts_of
from strokefw import channels, faults
from strokefw.guard import budget as guard_budget
from strokefw.guard import limits as guard_limits
from strokefw.guard.heat import REFERENCE_STAGES, Foster, HeatGuard, judge, loss_mw, take_heatsink
from strokefw.sensing.sense import NO_READING, NTC_OK, NTC_OPEN, NTC_SHORT

# Foster example, stages (K/W, s) and its Zth(t) in K/W, from Zth = sum Ri (1 - exp(-t / tau_i))
STAGES = ((200, 1), (800, 20), (5000, 500), (30000, 60000))
PUBLISHED = ((0.1, 1.95091), (1.0, 5.81918), (10.0, 10.6056), (100.0, 30.3337))


def counts_at(celsius):
    """Thermistor counts at a temperature (10 k B3950, 4.7 k to the reference)."""
    ohm = 10000 * math.exp(3950 * (1 / (celsius + 273.15) - 1 / 298.15))
    return round(65520 * ohm / (ohm + 4700))


def zth(time_s):
    """Analytic step response of STAGES in K/W."""
    return sum([r / 1000 * (1 - math.exp(-1000 * time_s / tau)) for r, tau in STAGES])


def test_foster_chain_follows_the_formula():
    for time_s, k_per_w in PUBLISHED:
        assert abs(zth(time_s) - k_per_w) < 2e-4
    chain = Foster(STAGES)
    rises = [chain.step(2000) for _ in range(100352)]
    # where every stage has just taken its step; before, the slowest is late by a thirtieth of its tau
    for ticks in (2048, 4096, 20480, 100352):
        assert abs(rises[ticks - 1] / 2000 / zth(ticks / 1000) - 1) < 0.005, ticks
    for ticks in (16, 128, 1024):
        late = 30 * 2.048 / 60
        assert zth(ticks / 1000) - late < rises[ticks - 1] / 2000 < zth(ticks / 1000) * 1.005, ticks


def test_foster_chain_at_another_pace_is_the_same_chain():
    fast, slow = Foster(REFERENCE_STAGES), Foster(REFERENCE_STAGES, 2)
    for tick in range(4000):
        power = 20000 if tick % 100 < 50 else 1000
        a = fast.step(power)
        b = slow.step(power) if tick & 1 else None
        assert b is None or abs(a - b) < 900, tick


def test_foster_chain_cools_down_again():
    chain = Foster(REFERENCE_STAGES)
    for _ in range(10000):
        hot = chain.step(10000)
    assert abs(hot - 12000) < 100  # 10 W in 1.2 K/W
    for _ in range(20000):
        cold = chain.step(0)
    assert cold < 100


def test_losses_agree_with_the_hand_calculation():
    # 40 A, 1.6 mOhm hot by half: 3.84 W; edges, dead time, recovery at 20 kHz: 0.33 + 0.64 + 0.05 W
    assert abs(loss_mw(40000, 10000, 1, 1250) - 3840) < 30
    at_nine_tenths = 0.9 * 3840 + 1020
    assert abs(loss_mw(40000, 9000, 1, 1250) - at_nine_tenths) < 60
    assert loss_mw(40000, 5000, 1, 250) >= loss_mw(40000, 0, 1, 250)  # the other leg is always on
    assert loss_mw(10000, 0, 0, 250) == 7500  # body diode
    assert loss_mw(0, 5000, 1, 250) == 0


def judged(heat, heatsink_dc, junction_dc):
    return judge(heat.words, heat.heatsink_words, heatsink_dc, junction_dc)


def heatsink(heat, state, value_dc):
    take_heatsink(heat.words, heat.heatsink_words, state, value_dc)


def test_derating_cut_out_and_hysteresis():
    heat = HeatGuard(700, 850)
    shares = []
    for value_dc in (600, 700, 750, 800, 849):
        heat.fresh()
        heatsink(heat, NTC_OK, value_dc)
        judged(heat, value_dc, value_dc)
        shares.append(heat.share)
        assert heat.code == 0
    assert shares[:2] == [1000, 1000] and shares[2:4] == [700, 400] and 100 <= shares[4] < 110
    hot = faults.HEATSINK_HOT
    for value_dc, code in ((850, hot), (790, hot), (701, hot), (690, 0)):
        heat.fresh()
        heatsink(heat, NTC_OK, value_dc)
        judged(heat, value_dc, value_dc)
        assert heat.code == code, value_dc


def test_junction_derates_then_cuts_out():
    heat = HeatGuard(700, 850)
    heatsink(heat, NTC_OK, 500)
    cases = ((1250, 1000, 0), (1375, 550, 0), (1500, 100, 42), (1300, 820, 42), (1250, 1000, 0))
    for junction_dc, share, code in cases:
        judged(heat, 500, junction_dc)
        assert (heat.share, heat.code) == (share, code), junction_dc


def test_thermistor_faults_need_two_readings_and_a_jump_is_no_warming():
    heat = HeatGuard(9000, 9999)  # no temperature is too hot here

    def update(state, value_dc):
        heatsink(heat, state, value_dc)
        judged(heat, 250, 250)
        return heat.code

    assert update(NTC_OK, 250) == 0
    assert update(NTC_OPEN, NO_READING) == 0
    assert update(NTC_OPEN, NO_READING) == 51
    assert update(NTC_OK, 250) == 0
    assert update(NTC_SHORT, NO_READING) == 0
    assert update(NTC_SHORT, NO_READING) == 52
    assert update(NTC_OK, 250) == 0
    assert update(NTC_OK, 400) == 0
    assert update(NTC_OK, 400) == 53
    later = [update(NTC_OK, 400) for _ in range(100)]
    assert later[20] == 53 and later[-1] == 0, "one that stands still is believed again"
    for reading in range(600):  # 20 K per second is more than metal does: still believed
        assert update(NTC_OK, 400 + reading * 32 // 10) == 0


def test_guard_reports_broken_heatsink_sensor_within_50_ticks():
    for counts, code in ((65520, faults.HEATSINK_NTC_OPEN), (0, faults.HEATSINK_NTC_SHORT)):
        bench = Readings()
        bench.quiet(100)
        assert bench.until(code, 60, ntc_counts=counts) <= 50
        assert bench.guard.block == 0 or bench.guard.block == code
        bench.tick(ntc_counts=counts)
        for _ in range(8):
            bench.tick(ntc_counts=counts)
        assert bench.guard.block == code
    bench = Readings()
    bench.quiet(100, ntc_counts=counts_at(25))
    assert bench.until(faults.HEATSINK_NTC_STEP, 60, ntc_counts=counts_at(45)) <= 60


def test_heatsink_derates_the_mean_limit_then_cuts():
    bench = Readings()
    celsius = 25.0
    derated_at = None
    code = 0
    while celsius < 95:
        celsius += 0.02
        code = bench.tick(ntc_counts=counts_at(celsius), current_ma=1000)
        if bench.guard.warn == faults.DERATING and derated_at is None:
            derated_at = celsius
        if code:
            break
    assert code == faults.HEATSINK_HOT
    assert 70 <= derated_at < 71.5 and 85 <= celsius < 86.5
    for _ in range(16):
        bench.tick(ntc_counts=counts_at(84))
    assert bench.guard.block == faults.HEATSINK_HOT


def test_part_sensor_is_judged_only_when_the_part_has_one():
    for flags, expected in ((0, 0), (guard_limits.PART_NTC, faults.PART_NTC_OPEN)):
        bench = Readings(flags=flags)
        counts = counts_of()
        counts[channels.LEG_A] = counts[channels.BUS] // 2
        counts[channels.NTC_PART] = 65520  # nothing plugged in
        codes = [bench.scan(counts) for _ in range(60)]
        assert codes[0] == 0 and codes[-1] == expected


def test_part_heat_has_hysteresis_and_its_sensor_is_watched():
    heat = HeatGuard(700, 850)
    heat.part_max_dc = 900
    for value_dc, code in ((800, 0), (899, 0), (900, faults.PART_HOT), (870, faults.PART_HOT), (850, 0)):
        heat.fresh()
        heat.part(NTC_OK, value_dc)
        judged(heat, 250, 250)
        assert heat.code == code, value_dc
    heat.part(NTC_OPEN, NO_READING)
    heat.part(NTC_OPEN, NO_READING)
    judged(heat, 250, 250)
    assert heat.code == faults.PART_NTC_OPEN
    heat.no_part()
    judged(heat, 250, 250)
    assert heat.code == 0


# -- budgets ---------------------------------------------------------------------------------------------


def budgets_with(which, rest_ma, size_a2s):
    """Budgets of which only one can run out."""
    budgets = guard_budget.Budgets(90000)
    budgets.words[guard_budget.TURNS] = guard_budget.TURNS_MAX  # on for so long that all is known
    for other in (guard_budget.BENCH, guard_budget.LEADS, guard_budget.PART):
        budgets.set(other, 90000, 100000)
    budgets.set(which, rest_ma, size_a2s)
    return budgets


def spend(budgets, amps, ticks):
    """Let a current flow; return the tick in which a budget ran out and which one, or None."""
    eighth = amps >> 3
    for tick in range(8, ticks + 1, 8):
        told = guard_budget.spend(budgets.words, 8 * eighth * eighth)
        if told:
            return tick, told - 1
    return None


def test_budget_lasts_as_long_as_the_formula_says():
    for rest, size, amps in ((40000, 20000, 60000), (2000, 100, 8000), (500, 1, 1500), (20000, 80000, 70000)):
        budgets = budgets_with(guard_budget.PART, rest, size)
        expected_ms = size / ((amps / 1000) ** 2 - (rest / 1000) ** 2) * 1000
        tick, which = spend(budgets, amps, round(expected_ms * 1.2) + 16)
        assert which == guard_budget.PART
        assert abs(tick - expected_ms) < 0.02 * expected_ms + 9, (rest, size, amps, tick, expected_ms)
        assert budgets.left(guard_budget.PART) == 0


def test_budget_refills_below_rest_and_never_overfills():
    budgets = budgets_with(guard_budget.BENCH, 40000, 20000)
    assert spend(budgets, 39000, 20000) is None and budgets.left(guard_budget.BENCH) == 1000
    spend(budgets, 60000, 5000)
    half = budgets.left(guard_budget.BENCH)
    assert 480 < half < 520
    spend(budgets, 20000, 2000)  # gives back (40^2 - 20^2) * 2 s = 2400 A2s
    assert abs(budgets.left(guard_budget.BENCH) - half - 120) < 5


def test_new_size_keeps_what_is_spent():
    budgets = budgets_with(guard_budget.PART, 10000, 1000)
    spend(budgets, 20000, 1000)  # 300 A2s
    budgets.set(guard_budget.PART, 10000, 600)
    assert abs(budgets.left(guard_budget.PART) - 500) < 10


def test_guard_stops_on_an_empty_budget_and_blocks_until_it_refills():
    bench = Readings(i2t_part_a2s=10, i2t_part_rest_ma=1000)
    ticks = bench.until(faults.BUDGET_PART, 2000, current_ma=2900)  # 7.41 A2 a second
    assert abs(ticks - 1350) < 40
    for _ in range(16):
        bench.tick()
    assert bench.guard.block == faults.BUDGET_PART
    bench.gate = bench.drive = 0
    codes = [bench.tick() for _ in range(2200)]
    assert codes[1500] == faults.BUDGET_PART and codes[-1] == 0
    assert bench.guard.block == 0 and bench.guard.left_part >= 200
