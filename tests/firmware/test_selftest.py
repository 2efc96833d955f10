"""The self-test finds each defect of the power stage by its code, moves nothing, leaves the supply right."""
# Runs under CPython and MicroPython.

from array import array

from readings import of_span
from strokefw import channels, faults
from strokefw.guard.limits import PART_EXPECTED
from strokefw.sensing.calib import Calibration
from strokefw.sensing.sense import Sense
from strokefw.tick.selftest import CHARGE_TICKS, CUT, NAMES, TO_ARM, SelfTest

FLOATING = 0.4075  # 100 k to bus and ground, and the 207 k sense divider


class Stage:
    """A power stage in volts: precharge, pull resistors, pulses, and what can be broken in it."""

    def __init__(self, *broken, supply_v=12.6, part=True, leads_ohm=0.05, part_ohm=1.5):
        self.broken = broken
        self.supply_v = supply_v
        self.part = part
        self.ohm = leads_ohm + part_ohm
        self.bus_v = 0.0
        self.mode = self.duty = self.gate = self.amps = 0
        self.on = None
        self.rails = []
        self.driven = []
        self.feed_v = 5.0
        self.zero_a = self.coarse_zero_a = 0.0
        self.ntc = 31000
        # how much later than set the fast limit acts on positive current, and on negative
        self.late_a = [0.0, 0.0]
        self.levels = [-82_500]  # as at power-up
        self.cuts = 0

    # the board's side
    def rail(self, mode):
        self.mode = mode
        self.rails.append(mode)

    def drive(self, drive, gate):
        self.duty, self.gate = drive, gate
        self.driven.append((drive, gate))

    def pulse(self, leg, side, us):
        assert us <= 1000
        self.on = (leg, side)

    def trip_level(self, ma):
        assert abs(ma) <= 61_200, "beyond what a board can set"
        self.levels.append(ma)

    def tripped(self):
        assert not self.gate
        return 1 if self.levels[-1] / 1000 < max(-late for late in self.late_a) else 0

    def estop(self):
        return 1 if "estop" in self.broken else 0

    # physics, 1 ms
    def legs(self):
        pulled = [(leg, side) for leg in (0, 1) for side in (0, 1) if f"short{leg}{side}" in self.broken]
        if self.on and f"dead{self.on[0]}{self.on[1]}" not in self.broken:
            pulled.append(self.on)
        volts = []
        for leg in (0, 1):
            own = [side for where, side in pulled if where == leg]
            other = [side for where, side in pulled if where != leg] if self.part else []
            side = own[0] if own else other[0] if other else FLOATING
            if "leak" in self.broken and leg == 0 and not self.on:
                side = 0.02
            volts.append(self.bus_v * side)
        return volts

    def counts(self):
        target = 0 if "noprecharge" in self.broken and self.mode == 1 else self.supply_v if self.mode else 0
        if self.mode == 2 and "nomain" in self.broken:
            target = self.bus_v - 0.1
        if "stuck" in self.broken:
            target = self.bus_v
        self.bus_v += (target - self.bus_v) * (0.005 if self.mode == 1 else 1 if self.mode == 2 else 0.001)
        self.amps = self.bus_v * self.duty / 10000 / self.ohm if self.gate and self.part else 0.0
        leg_a, leg_b = self.legs()
        self.on = None
        late_a = self.late_a[1] if self.duty < 0 else self.late_a[0]
        most_a = max(0.0, self.levels[-1] / 1000 + late_a)
        if abs(self.amps) > most_a:
            self.cuts += 20
            self.amps = most_a if self.duty > 0 else -most_a
        amps = self.amps
        middle = channels.MID_SCALE
        coarse = middle + of_span(1000 * (amps + self.coarse_zero_a), channels.COARSE_FULL_MA)
        fine = min(65520, middle + of_span(1000 * (amps + self.zero_a), channels.FINE_FULL_MA))
        volts = (self.bus_v, self.supply_v, leg_a, leg_b)
        supplies = [of_span(1000 * v, channels.SUPPLY_FULL_MV) for v in volts]
        feed = of_span(1000 * self.feed_v, channels.SENSOR_FULL_MV)
        return array("H", [coarse, fine] + supplies + [30000, 20000, feed, self.ntc, 65520, coarse, coarse])


def run(stage, flags=PART_EXPECTED | TO_ARM, calibration_ok=1, limit_ma=20_000, **window):
    """Run a self-test to its end; return it and how many ticks it took."""
    sense = Sense(Calibration())
    test = SelfTest(stage, sense)
    test.limit(limit_ma, 0)
    for _ in range(20):
        sense.update(stage.counts())
    test.start(calibration_ok, flags, **window)
    for tick in range(1, 7000):
        sense.update(stage.counts())
        test.words[CUT] += stage.cuts  # as the tick does
        stage.cuts = 0
        if test.next_tick():
            return test, tick
    raise AssertionError("never ended")


def test_a_good_bench_passes_and_closes_the_main_switch_last():
    stage = Stage()
    test, ticks = run(stage)
    assert test.code == 0 and ticks < 1500
    assert stage.rails == [0, 1, 2] and stage.mode == 2 and stage.gate == 0
    assert all(ok for _, _, _, _, ok in test.results)
    assert sorted(r[0] for r in test.results) == list(range(1, len(NAMES) - 1))  # the last is for few signals


def test_each_defect_has_its_code_and_leaves_the_rail_open():
    defects = (
        (Stage("estop"), faults.ESTOP),
        (Stage("short01"), faults.LEG_HIGH), (Stage("short11"), faults.LEG_HIGH),
        (Stage("short00"), faults.LEG_LOW), (Stage("short10"), faults.LEG_LOW),
        (Stage("leak"), faults.LEG_LOW),
        (Stage("dead00"), faults.LEG_PULSE), (Stage("dead01"), faults.LEG_PULSE),
        (Stage("dead10"), faults.LEG_PULSE), (Stage("dead11"), faults.LEG_PULSE),
        (Stage("noprecharge"), faults.PRECHARGE), (Stage("nomain"), faults.SUPPLY_CUT),
        (Stage(part=False), faults.OPEN_LOAD),
        (Stage(part_ohm=0.0, leads_ohm=0.04), faults.SHORTED_LOAD),
        (Stage(supply_v=0.2), faults.NO_SUPPLY), (Stage(supply_v=7.0), faults.SUPPLY_LOW),
        (Stage(supply_v=18.5), faults.SUPPLY_HIGH),
    )  # fmt: skip
    for stage, code in defects:
        test, _ = run(stage)
        assert test.code == code, (stage.broken, faults.row(test.code))
        assert stage.mode == 0 and stage.gate == 0 and (2 not in stage.rails or code == faults.SUPPLY_CUT)
        assert any(not ok for _, _, _, _, ok in test.results)


def test_wrong_readings_at_rest():
    for name, value, code in (
        ("zero_a", 0.2, faults.CURRENT_ZERO), ("zero_a", -0.2, faults.CURRENT_ZERO),
        ("coarse_zero_a", 1.5, faults.CURRENT_ZERO), ("feed_v", 4.5, faults.REFERENCE),
        ("feed_v", 5.13, 0), ("ntc", 65520, faults.HEATSINK_NTC_OPEN),
        ("ntc", 100, faults.HEATSINK_NTC_SHORT), ("ntc", 5000, faults.HEATSINK_HOT),
    ):  # fmt: skip
        stage = Stage()
        setattr(stage, name, value)
        test, ticks = run(stage)
        assert test.code == code, (name, value, test.code)
        assert code == 0 or (stage.rails == [0, 0] and ticks < 70), "energised too early"


def test_window_of_the_part_is_used():
    assert run(Stage(supply_v=11.0), supply_min_mv=11500)[0].code == faults.SUPPLY_LOW
    assert run(Stage(supply_v=14.6), supply_max_mv=14400)[0].code == faults.SUPPLY_HIGH


def test_without_an_expected_part_an_open_output_is_fine():
    stage = Stage(part=False)
    test, _ = run(stage, flags=0)
    assert test.code == 0
    assert all(not gate for _, gate in stage.driven), "without a part nothing is switched on together"


def test_a_damaged_calibration_only_warns():
    test, _ = run(Stage(), calibration_ok=0)
    assert test.code == faults.CALIBRATION and not test.results[0][4]
    assert run(Stage("short00"), calibration_ok=0)[0].code == faults.LEG_LOW


def test_the_little_voltage_for_shorts_stays_little():
    stage = Stage()
    run(stage)
    pushes = [drive for drive, gate in stage.driven if gate]
    assert pushes and pushes[0] == 300


def offset(test):
    """Return what the self-test found of the fast limit: edge, and the currents that it cut either way."""
    found = {NAMES[number]: value for number, value, _low, _high, _ok in test.results}
    return [found.get("fast_limit_" + name) for name in ("edge_ma", "plus_ma", "minus_ma")]


def test_the_fast_limits_offset_is_found_and_corrected():
    for late_a in ((0.0, 0.0), (0.3, 0.3), (-0.4, -0.4), (1.1, 1.1), (-1.1, -1.1), (0.2, -0.5), (-0.6, 0.3)):
        stage = Stage()
        stage.late_a = list(late_a)
        test, _ = run(stage)
        assert test.code == 0, late_a
        edge, plus, minus = offset(test)
        assert abs(edge / 1000 + min(late_a)) <= 0.041, (late_a, edge)
        assert stage.levels[-1] == 20_000 + edge
        test.limit(3000, 0)
        assert stage.levels[-1] == 3000 + edge
        # the later of the two acts on what it is later, beyond the 0.3 A of this step
        assert abs(plus / 1000 - 0.3 - late_a[0] + min(late_a)) < 0.1, (late_a, plus)
        assert abs(minus / 1000 - 0.3 - late_a[1] + min(late_a)) < 0.1, (late_a, minus)


def test_a_fast_limit_that_is_dead_or_far_off_is_refused_before_the_supply_is_closed():
    never = 1e6
    for late_a in ((never, never), (20.0, 20.0), (1.3, 1.3), (-1.3, -1.3), (-2.5, 0.0), (0.0, -2.5)):
        stage = Stage()
        stage.late_a = list(late_a)
        test, ticks = run(stage)
        assert test.code == faults.FAST_LIMIT, late_a
        assert stage.rails == [0, 0] and ticks < 70, "at no current"
    for late_a in ((never, 0.0), (0.0, never), (20.0, 0.1), (0.1, 20.0), (1.0, -0.9)):
        stage = Stage()
        stage.late_a = list(late_a)
        test, _ = run(stage)
        assert test.code == faults.FAST_LIMIT, late_a
        assert stage.rails == [0, 1, 0] and not stage.gate, "by a little current"
        assert [ok for number, _, _, _, ok in test.results if NAMES[number] == "fast_limit_edge_ma"] == [True]


def test_the_pulses_that_look_for_the_fast_limit_are_short_and_their_current_small():
    never = 1e6
    for ohm in (0.15, 0.5, 2.0, 8.0, 60.0):
        for late_a in ((0.0, 0.0), (never, 0.0), (0.0, never)):
            stage = Stage(part_ohm=ohm)
            stage.late_a = list(late_a)
            amps = []
            counts = stage.counts

            def watched(counts=counts, stage=stage, amps=amps):
                found = counts()
                amps.append(abs(stage.amps) if stage.levels[-1] < 1000 else 0.0)
                return found

            stage.counts = watched
            test, _ = run(stage)
            assert max(amps) <= 2.5, (ohm, late_a)
            assert all(gate for _, gate in stage.driven) is False
            driven = 0
            for at in amps:  # never two ticks in turn
                driven = driven + 1 if at > 0 else 0
                assert driven <= 1
            if ohm <= 2.0:
                assert (test.code == faults.FAST_LIMIT) == (late_a != (0.0, 0.0)), (ohm, late_a)
            if ohm == 60.0:  # takes 0.2 A at most, and the level is 0.3 A
                assert test.code == 0 and offset(test)[1:] == [None, None]


def test_a_self_test_that_does_not_arm_sends_no_such_pulses():
    """Wires that nobody has tried yet get no more than 3 % of the supply."""
    stage = Stage()
    stage.late_a = [1e6, 0.0]
    test, _ = run(stage, flags=PART_EXPECTED)
    assert test.code == 0 and offset(test)[1:] == [None, None]
    assert max(abs(drive) for drive, _ in stage.driven) == 300


def test_a_part_that_may_take_little_gets_little():
    stage = Stage()
    stage.late_a = [1e6, 0.0]
    run(stage, limit_ma=800)
    assert all(abs(drive) * 12.6 / 10_000 / 1.55 < 0.9 for drive, gate in stage.driven if gate)


def test_a_bus_above_the_supply_is_waited_for():
    stage = Stage()
    stage.bus_v = 15.8  # left there by a part that fed back
    test, ticks = run(stage)
    assert test.code == 0 and ticks > 100
    stage = Stage("stuck")
    stage.bus_v = 15.8
    test, ticks = run(stage)
    assert test.code == faults.CHECK_TIMEOUT and 4500 < ticks < 4600
    assert stage.mode == 0 and stage.gate == 0


def test_precharge_has_a_time_limit():
    _, ticks = run(Stage("noprecharge"))
    assert CHARGE_TICKS < ticks < CHARGE_TICKS + 100


def test_step_allocates_nothing():
    try:
        from micropython import heap_lock, heap_unlock
    except ImportError:
        return  # MicroPython only; the same file runs there
    stage = Stage()
    recorded = []
    cuts = []
    sense = Sense(Calibration())
    test = SelfTest(stage, sense)
    test.start(1, PART_EXPECTED | TO_ARM)
    done = 0
    tripped = stage.tripped
    looked = []

    def look():
        looked.append(tripped())
        return looked[-1]

    stage.tripped = look
    while not done:  # once freely, recording what the stage showed
        recorded.append(stage.counts())
        sense.update(recorded[-1])
        test.words[CUT] += stage.cuts
        cuts.append(stage.cuts)
        stage.cuts = 0
        done = test.next_tick()
    stage.rail = stage.drive = stage.pulse = lambda a, b=0, c=0: None  # no *args: that is a tuple
    stage.trip_level = lambda ma: None
    stage.estop = lambda: 0
    looks = iter(looked)
    stage.tripped = lambda: next(looks)
    test.start(1, PART_EXPECTED | TO_ARM)
    done = 0
    heap_lock()
    try:
        for i in range(len(recorded)):
            sense.update(recorded[i])
            test.words[CUT] += cuts[i]
            done = test.next_tick()
    finally:
        heap_unlock()
    assert done and test.code == 0
