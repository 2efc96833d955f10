"""The one table of faults and refusals: chip, host, documentation and screen all read it here.

Codes have two digits. Tens: 1 supply, 2 bridge, 3 current, 4 heat, 5 sensing, 6 link, 7 request, 8 self-test
and calibration, 9 inside the firmware. Units are never 0, so that the LED can count both digits out.
"""

from strokefw.compat import const, micropython

# Severities, in rising order: what the bench does about it.
REFUSE = const(0)  # answer the request with the code, nothing else
WARN = const(1)  # tell, change nothing
LIMIT = const(2)  # go on with less drive or a slower ramp
STOP = const(3)  # ramp to zero at the slew in force, then off
OFF = const(4)  # all MOSFETs off in this tick
SEVERITY_NAMES = ("refuse", "warn", "limit", "stop", "off")

SUPPLY_LOW = const(11)
SUPPLY_SAG = const(12)
SUPPLY_HIGH = const(13)
REGEN_SLOWED = const(14)
REGEN_HIGH = const(15)
NO_SUPPLY = const(16)
PRECHARGE = const(17)
SUPPLY_CUT = const(18)
ESTOP = const(19)
LEG_HIGH = const(21)
LEG_LOW = const(22)
LEG_DIFFER = const(23)
LEG_PULSE = const(24)
LEG_FOLLOW = const(25)
CURRENT_PEAK = const(31)
CURRENT_MEAN = const(32)
TRIPS = const(33)
BUDGET_BENCH = const(34)
BUDGET_LEADS = const(35)
BUDGET_PART = const(36)
STALL = const(37)
CURRENT_OFF = const(38)
FOLDBACK = const(39)
HEATSINK_HOT = const(41)
JUNCTION_HOT = const(42)
PART_HOT = const(43)
DERATING = const(44)
HEATSINK_NTC_OPEN = const(51)
HEATSINK_NTC_SHORT = const(52)
HEATSINK_NTC_STEP = const(53)
PART_NTC_OPEN = const(54)
PART_NTC_SHORT = const(55)
PART_NTC_STEP = const(56)
FEED_RANGE = const(57)
RANGES_DIFFER = const(58)
HEARTBEAT_LOST = const(61)
BAD_FRAMES = const(62)
SAMPLES_DROPPED = const(63)
UNKNOWN_MESSAGE = const(71)
BAD_MESSAGE = const(72)
NOT_NOW = const(73)
OUT_OF_RANGE = const(74)
ONLY_TIGHTER = const(75)
FAULT_LATCHED = const(76)
NO_LIMITS = const(77)
INCOMPLETE = const(78)
NOT_ON_THIS_BOARD = const(79)
CALIBRATION = const(81)
CURRENT_ZERO = const(82)
REFERENCE = const(83)
OPEN_LOAD = const(84)
SHORTED_LOAD = const(85)
CHECK_TIMEOUT = const(86)
FAST_LIMIT = const(87)
TICK_OVERRUN = const(91)
WATCHDOG_RESET = const(92)
INTERNAL = const(93)
WRONG_CHIP = const(94)

# (code, key, severity, latched, sentence, what to check)

# the front lamp, ms: the tens of a code as long flashes, then the units as short ones, then a pause
LONG_MS = const(600)
LONG_SLOT_MS = const(1000)
SHORT_MS = const(150)
SHORT_SLOT_MS = const(450)
BETWEEN_MS = const(600)
PAUSE_MS = const(1600)
ALIVE_MS = const(60)  # without a fault: one blink in two seconds
ALIVE_SLOT_MS = const(2000)

# fmt: off
TABLE = (
    (SUPPLY_LOW, "supply_low", STOP, 0, "The supply is below the limit even without load.",
     "Charge or change the battery; measure at the bench's terminals."),
    (SUPPLY_SAG, "supply_sag", STOP, 0, "The supply is good at rest and falls below the limit under load.",
     "Supply leads, clamps and fuse; a battery with high internal resistance; a bench supply in current "
     "limit."),
    (SUPPLY_HIGH, "supply_high", OFF, 1, "The supply is above the limit.",
     "Charger or booster on the battery, 24 V system, bench supply set too high."),
    (REGEN_SLOWED, "regen_slowed", LIMIT, 0, "The part feeds energy back; the ramp down is slowed.",
     "Nothing if it passes; use a slower return ramp for heavy fans and pumps."),
    (REGEN_HIGH, "regen_high", OFF, 1, "The part fed energy back and pushed the supply above the limit.",
     "Use a battery, not a supply that cannot take current; a slower ramp; the brake chopper."),
    (NO_SUPPLY, "no_supply", OFF, 0, "There is no usable supply.",
     "Clamps, polarity, main fuse; that the supply is switched on and can deliver."),
    (PRECHARGE, "precharge", OFF, 1, "The bridge did not charge through the precharge resistor.",
     "Shorted MOSFET or capacitor in the bridge, precharge resistor open, emergency line open."),
    (SUPPLY_CUT, "supply_cut", OFF, 1, "The bridge lost its supply while the terminals still have it.",
     "Main fuse, main switch and its gate drive; cut emergency line."),
    (ESTOP, "estop", OFF, 1, "The emergency stop line is open.",
     "Release the stop button; its cable and connector."),
    (LEG_HIGH, "leg_high", OFF, 1, "An output is pulled to the supply while the bridge is off.",
     "Shorted high-side MOSFET; the part's wiring touching battery plus. Disconnect the part and test "
     "again."),
    (LEG_LOW, "leg_low", OFF, 1, "An output is pulled to ground while the bridge is off.",
     "Shorted low-side MOSFET; the part's wiring touching ground. Disconnect the part and test again."),
    (LEG_DIFFER, "leg_differ", OFF, 1, "The two outputs differ although a part joins them.",
     "A part that still turns or swings back makes its own voltage: wait until it is at rest. Else part not "
     "connected, leaking MOSFET, or one sense divider broken."),
    (LEG_PULSE, "leg_pulse", OFF, 1, "A MOSFET did not pull its output when it was switched alone.",
     "Gate driver, gate resistor, its supply; the MOSFET; the sense divider of that output."),
    (LEG_FOLLOW, "leg_follow", OFF, 1, "The outputs do not follow the drive.",
     "Gate driver or its fault output, a MOSFET that stays off, a sense divider."),
    (CURRENT_PEAK, "current_peak", OFF, 1, "The peak current went above the limit and was not cut.",
     "Short in the part or its wiring; then the comparator and its threshold."),
    (CURRENT_MEAN, "current_mean", OFF, 1,
     "The mean current stayed above its limit although the drive was reduced.",
     "Short in the part, a part driven from elsewhere, wrong limits in the profile."),
    (TRIPS, "trips", OFF, 1, "The fast current limit cut too many cycles in a short time.",
     "Short or stalled part; peak limit too low for this part; ramp too steep."),
    (BUDGET_BENCH, "budget_bench", STOP, 1, "The bench's own heat budget for current is used up.",
     "Let it cool; use less current or shorter loads."),
    (BUDGET_LEADS, "budget_leads", STOP, 1, "The leads' heat budget for current is used up.",
     "Let them cool; thicker or shorter leads, and their values in the profile."),
    (BUDGET_PART, "budget_part", STOP, 1, "The part's heat budget for current is used up.",
     "Let the part cool; shorter stalls in the procedure."),
    (STALL, "stall", STOP, 1, "The part drew stall current without moving for longer than it may.",
     "Jammed part, end stop reached with too much drive, sensor not connected."),
    (CURRENT_OFF, "current_off", OFF, 1, "Current flows although the bridge is off.",
     "Shorted MOSFET, a part turned from outside, current zero drifted."),
    (FOLDBACK, "foldback", LIMIT, 0, "The drive is held back to keep the mean current at its limit.",
     "Nothing if brief; else a heavy or jammed part, or a limit too low for it."),
    (HEATSINK_HOT, "heatsink_hot", OFF, 1, "The heatsink is too hot.",
     "Let it cool; fan, air, mounting of the MOSFETs."),
    (JUNCTION_HOT, "junction_hot", OFF, 1, "The estimated temperature inside the MOSFETs is too high.",
     "Let it cool; less current; mounting of the MOSFETs."),
    (PART_HOT, "part_hot", STOP, 1, "The part is hotter than it may be.",
     "Let the part cool; shorter loads."),
    (DERATING, "derating", LIMIT, 0, "The current is reduced because the bench is hot.",
     "Nothing if accepted; fan and air help."),
    (HEATSINK_NTC_OPEN, "heatsink_ntc_open", OFF, 1,
     "The heatsink sensor is open or colder than it can read.",
     "Sensor wire and connector; storage below -25 C."),
    (HEATSINK_NTC_SHORT, "heatsink_ntc_short", OFF, 1, "The heatsink sensor is shorted.",
     "Sensor wire pinched, insulation under the screw."),
    (HEATSINK_NTC_STEP, "heatsink_ntc_step", OFF, 1, "The heatsink sensor jumped faster than metal can warm.",
     "Loose contact; sensor fallen off the heatsink."),
    (PART_NTC_OPEN, "part_ntc_open", STOP, 1, "The part's temperature sensor is open.",
     "Plug it in, or use a profile without it; its wire."),
    (PART_NTC_SHORT, "part_ntc_short", STOP, 1, "The part's temperature sensor is shorted.",
     "Its wire and connector."),
    (PART_NTC_STEP, "part_ntc_step", STOP, 1,
     "The part's temperature sensor jumped faster than a part can warm.",
     "Sensor fallen off the part; loose contact."),
    (FEED_RANGE, "feed_range", STOP, 1, "The 5 V feed of the position sensor is out of range.",
     "Short in the sensor wiring, a foreign voltage on it, blown resettable fuse (wait a minute)."),
    (RANGES_DIFFER, "ranges_differ", STOP, 1, "The two current ranges disagree where both can read.",
     "Calibration; one current amplifier broken or its reference off."),
    (HEARTBEAT_LOST, "heartbeat_lost", STOP, 1, "No word from the computer for too long while driving.",
     "USB cable and hub, computer asleep or overloaded, program ended."),
    (BAD_FRAMES, "bad_frames", WARN, 0, "Many damaged messages arrive.",
     "USB cable and hub, another program on the same port."),
    (SAMPLES_DROPPED, "samples_dropped", WARN, 0,
     "The computer does not take the samples fast enough; some were dropped.",
     "Computer overloaded or asleep; USB hub."),
    (UNKNOWN_MESSAGE, "unknown_message", REFUSE, 0, "The bench does not know this request.",
     "Firmware and program of different versions."),
    (BAD_MESSAGE, "bad_message", REFUSE, 0, "The request has the wrong length or an impossible content.",
     "Firmware and program of different versions."),
    (NOT_NOW, "not_now", REFUSE, 0, "The bench cannot do this in its present state.",
     "The order of requests: limits, arm, procedure, run; stop first."),
    (OUT_OF_RANGE, "out_of_range", REFUSE, 0, "A value is outside what this bench allows.",
     "The profile's limits against the bench's absolute limits (info)."),
    (ONLY_TIGHTER, "only_tighter", REFUSE, 0, "While armed, limits can only be made tighter.",
     "Disarm, then send the limits."),
    (FAULT_LATCHED, "fault_latched", REFUSE, 0, "A fault is latched, or its cause is still there.",
     "Remove the cause, then clear, then arm."),
    (NO_LIMITS, "no_limits", REFUSE, 0, "No limits of a part are in force.",
     "Send the part's limits before arming."),
    (INCOMPLETE, "incomplete", REFUSE, 0, "The procedure is not complete.",
     "Send all segments that were announced."),
    (NOT_ON_THIS_BOARD, "not_on_this_board", REFUSE, 0, "This board cannot do that.",
     "The kind of board (info)."),
    (CALIBRATION, "calibration", WARN, 0, "The calibration is missing or damaged; nominal values are used.",
     "Calibrate again; until then readings are only as good as the parts' tolerances."),
    (CURRENT_ZERO, "current_zero", OFF, 1, "The current reading is not zero with the bridge off.",
     "Current amplifier or shunt; calibration; a part driven from elsewhere."),
    (REFERENCE, "reference", OFF, 1, "The 5 V feed, which serves as the reference, reads wrong at rest.",
     "The 5 V regulator, converter reference, a foreign voltage on the sensor input."),
    (OPEN_LOAD, "open_load", STOP, 1, "No part is connected, or its winding is open.",
     "Leads, connector, blown fuse in the lead; measure the winding."),
    (SHORTED_LOAD, "shorted_load", OFF, 1, "The part or its leads are shorted.",
     "Leads touching, shorted winding; disconnect the part and test again."),
    (CHECK_TIMEOUT, "check_timeout", OFF, 1,
     "The self-test waited in vain: the bridge stays above the voltage at the terminals.",
     "A part turned from outside that feeds the bridge; the sense dividers of bridge and terminals."),
    (FAST_LIMIT, "fast_limit", OFF, 1, "The fast current limit does not act at the current it is set to.",
     "The two comparators and their level (TRIP_LEVEL), the line TRIP_N; the current amplifier."),
    (TICK_OVERRUN, "tick_overrun", OFF, 1, "The bench's own clock missed a tick.",
     "Firmware fault, or a host that floods the link: please report it."),
    (WATCHDOG_RESET, "watchdog_reset", WARN, 0, "The bench was restarted by its watchdog.",
     "Firmware fault or a supply dip: please report what ran."),
    (INTERNAL, "internal", OFF, 1, "The firmware met something it did not expect.",
     "Please report it, with the events (info)."),
    (WRONG_CHIP, "wrong_chip", OFF, 1, "This firmware is for the RP2040 and does not start on another chip.",
     "Use a Raspberry Pi Pico with an RP2040; a Pico 2 has another chip."),
)
# fmt: on

SEVERITY = bytearray(100)
LATCHED = bytearray(100)
for _row in TABLE:
    SEVERITY[_row[0]] = _row[2]
    LATCHED[_row[0]] = _row[3]


def row(code):
    """Return the table's row of `code`, or None when there is none."""
    for entry in TABLE:
        if entry[0] == code:
            return entry
    return None


@micropython.viper
def lamp(code: int, tick: int) -> int:
    """Return 1 while the lamp that shows ``code`` is lit at ``tick`` (ms); depends on nothing else."""
    if code == 0:
        return int(tick % ALIVE_SLOT_MS < ALIVE_MS)
    longs = code // 10 * LONG_SLOT_MS
    shorts = code % 10 * SHORT_SLOT_MS
    at = tick % (longs + BETWEEN_MS + shorts + PAUSE_MS)
    if at < longs:
        return int(at % LONG_SLOT_MS < LONG_MS)
    at -= longs + BETWEEN_MS
    if at >= 0 and at < shorts:
        return int(at % SHORT_SLOT_MS < SHORT_MS)
    return 0
