"""The bench as its host sees it: sessions, runs, stops, silence, faults, floods; in lock step."""
# Runs under CPython and MicroPython.

from fake_board import LIMITS, FakeBoard, Host, check_steps, segment
from strokefw import faults, state
from strokefw.drive import ramp
from strokefw.link import wire
from strokefw.sensing import calib

SLEW = LIMITS[4]


def armed():
    """Return an armed Host."""
    host = Host()
    host.arm()
    return host


def limits(**changes):
    """Return LIMITS with named fields changed."""
    values = list(LIMITS)
    for name in changes:
        values[wire.FIELDS[wire.ID["limits"]].index(name)] = changes[name]
    return values


def named(name, values):
    """Return a message's fields by name."""
    names = wire.FIELDS[wire.ID[name]]
    return {names[i]: values[i] for i in range(len(names))}


def refusal(host, name, *values):
    """Return the refusal code of a request."""
    kind, fields = host.ask(name, *values)
    assert kind == "reply", (name, kind)
    return fields[0]


def jogging(target=4000, ticks=120):
    """Return a Host that jogs at ``target``."""
    host = armed()
    host.do("jog", target)
    host.tick(ticks)
    assert host.board.now_drive == target and host.app.state == state.DRIVING
    return host


def kinds(host, kind):
    """Return the events of one kind."""
    return [event for event in host.events if event[1] == kind]


# -- session ---------------------------------------------------------------------------------------


def test_hello_tells_the_truth():
    host = Host()
    name, values = host.ask("hello", wire.PROTOCOL)
    told = named("welcome", values)
    assert name == "welcome" and told["protocol"] == wire.PROTOCOL and told["table_hash"] == wire.TABLE_HASH
    assert told["uid"] == b"fakefake" and told["board_kind"] == 2
    assert told["segments_max"] == ramp.SEGMENTS_MAX
    assert told["calibration_id"] == 0 and told["tick_us"] == 1000


def test_every_request_gets_exactly_one_answer_with_its_seq():
    host = Host()
    host.tick(1500)
    for name in (
        "hello", "identity", "status", "heartbeat", "limits", "stop", "clear", "stream", "events",
        "calib_read", "selftest", "disarm", "arm", "run", "procedure_begin", "burst_read", "jog",
    ):  # fmt: skip
        kind = wire.ID[name]
        size = wire.struct.calcsize(wire.FORMAT[kind])
        values = LIMITS if name == "limits" else wire.struct.unpack(wire.FORMAT[kind], bytes(size))
        before = len(host.messages)
        seq = host.send(name, *values)
        host.tick(1500)
        answers = [m for m in host.messages[before:] if wire.ID[m[0]] not in wire.UNSOLICITED]
        assert len(answers) == 1 and seq in host.answers, (name, answers)


def test_requests_out_of_order_are_refused_with_a_reason():
    host = Host()
    host.tick(1500)
    assert refusal(host, "arm") == faults.NO_LIMITS
    assert refusal(host, "run") == refusal(host, "jog", 0) == faults.NOT_NOW
    host.do("limits", *LIMITS)
    host.do("arm")
    assert refusal(host, "run") == faults.INCOMPLETE
    host.do("procedure_begin", 2)
    host.do("segment", 0, *segment(ramp.HOLD, 100, 10))
    assert refusal(host, "run") == faults.INCOMPLETE
    assert refusal(host, "segment", 2, *segment(ramp.HOLD, 100, 10)) == faults.OUT_OF_RANGE
    assert refusal(host, "segment", 1, *segment(9, 100, 10)) == faults.BAD_MESSAGE
    assert host.app.state == state.ARMED and refusal(host, "arm") == faults.NOT_NOW


def test_targets_beyond_the_part_limits_are_refused():
    host = Host()
    host.arm(limits(drive_min=-500, drive_max=3000))
    assert refusal(host, "jog", 3001) == refusal(host, "jog", -501) == faults.OUT_OF_RANGE
    host.load([segment(ramp.STEP, 3001, 10)])
    assert refusal(host, "run") == faults.OUT_OF_RANGE
    assert host.app.state == state.ARMED and host.board.now_gate == 0


def test_malformed_requests_are_refused_and_move_nothing():
    host = armed()
    for kind, body, code in (
        (0x3E, b"", faults.UNKNOWN_MESSAGE), (0x60, b"12345", faults.UNKNOWN_MESSAGE),
        (0x0D, b"", faults.BAD_MESSAGE), (0x0A, b"x", faults.BAD_MESSAGE),
        (0x05, b"y" * 45, faults.BAD_MESSAGE),
    ):  # fmt: skip
        host.seq += 1
        host.board.inbox.extend(wire.frame(kind, host.seq, body))
        host.tick(3)
        assert host.answers[host.seq][1][0] == code
    host.board.inbox.extend(wire.frame(0x0D, 0, b"\x10\x20"))
    host.tick(3)
    assert host.answers[0][1][0] == faults.BAD_MESSAGE and host.app.state == state.ARMED


def test_limits_only_get_tighter_while_armed():
    host = armed()
    assert refusal(host, "limits", *limits(slew_per_ms=60)) == faults.ONLY_TIGHTER
    name, values = host.ask("limits", *limits(slew_per_ms=20))
    assert name == "limits_in_force" and list(values) == limits(slew_per_ms=20)
    host.do("jog", 5000)
    host.tick(5)
    assert host.board.now_drive <= 6 * 20 and host.board.now_drive % 20 == 0
    host.do("disarm")
    host.tick(2000)
    assert host.app.state == state.READY
    host.do("limits", *LIMITS)


def test_new_session_never_inherits_an_armed_bench():
    host = jogging()
    name, values = host.ask("hello", wire.PROTOCOL)
    assert name == "welcome" and named(name, values)["state"] == state.READY
    assert host.app.state == state.READY and host.board.now_rail == 0 and host.board.now_gate == 0
    before = len(host.messages)
    host.tick(200)
    assert not [m for m in host.messages[before:] if m[0] == "event" and m[1][1] == state.EVENT_RUN_END]
    host.do("limits", *LIMITS)
    host.do("hello", wire.PROTOCOL)
    assert refusal(host, "arm") == faults.NO_LIMITS
    check_steps(host, SLEW)


def test_stop_and_hello_in_one_breath_leave_nothing_armed():
    host = jogging()
    host.send("stop", 0)
    host.send("hello", wire.PROTOCOL)
    host.tick(5)
    assert host.app.state == state.READY and host.answers[host.seq][0] == "welcome"


def test_armed_bench_left_alone_goes_back_to_ready():
    host = armed()
    host.tick(state.ARMED_IDLE_MS - 50)
    assert host.app.state == state.ARMED
    host.tick(60)
    assert host.app.state == state.READY and host.board.now_rail == 0


# -- runs ------------------------------------------------------------------------------------------


def test_run_streams_one_row_per_tick_and_tells_its_end_last():
    host = armed()
    host.load([segment(ramp.RAMP, 5000, 200), segment(ramp.PAUSE, 0, 30), segment(ramp.STEP, -2000, 100)])
    end = host.run()
    assert end[2] == state.END_DONE and end[4] == 0
    ticks = [row[0] for row in host.rows]
    assert ticks == list(range(ticks[0], ticks[0] + len(ticks)))
    down = 2000 // SLEW
    # a row of the tick that takes the request, and the first tick at zero begins the tail
    assert len(ticks) == 1 + 200 + 30 + 100 + down - 1 + state.TAIL_MS
    applied = host.steps[ticks[0] - 1 : ticks[-1]]  # host.steps[i] belongs to tick i + 1
    assert [row[1] for row in host.rows] == [step[0] for step in applied]
    assert [row[10] for row in host.rows] == [step[2] for step in applied]
    starts = [(event[3], event[2], event[0] - ticks[0]) for event in kinds(host, state.EVENT_SEGMENT)]
    assert starts == [(0, ramp.RAMP, 1), (1, ramp.PAUSE, 201), (2, ramp.STEP, 231)]
    assert host.messages[-1][0] == "event" and host.messages[-1][1][1] == state.EVENT_RUN_END
    seqs = [(m[1][0], m[1][1], m[1][2]) for m in host.messages if m[0] == "samples"]
    assert seqs[0][0] == 0 and sum([s[1] for s in seqs]) == len(ticks)
    assert max([s[1] for s in seqs]) <= wire.ROWS_MAX
    for i in range(1, len(seqs)):
        assert seqs[i][0] == seqs[i - 1][0] + seqs[i - 1][1] and seqs[i][2] == 0
    check_steps(host, SLEW)


def test_second_run_repeats_the_first_exactly():
    host = armed()
    host.load([segment(ramp.RAMP, 3000, 77), segment(ramp.PULSE, 900, 0, (3, 4, 5, 0))])
    host.run()
    first = [row[1:] for row in host.rows]
    host.rows = []
    host.run()
    assert [row[1:] for row in host.rows] == first and host.app.state == state.ARMED


def test_watch_ends_a_run():
    host = armed()
    host.load([segment(ramp.RAMP, 9000, 900, watch=(1, 1, 2000, 0, 0)), segment(ramp.HOLD, 0, 10)])
    end = host.run()
    assert end[2] == state.END_WATCH
    # 1 mA per drive and 10 per tick: 2010 mA is driven in the 201st tick and read in the next
    assert max([row[1] for row in host.rows]) == 2010
    assert kinds(host, state.EVENT_WATCH)[0][2:4] == (ramp.WATCH_END, 0)


def test_stop_ramps_down_and_leaves_the_bench_armed():
    host = jogging()
    host.do("stop", 0)
    host.tick(4000 // SLEW + state.TAIL_MS + 3)
    assert host.app.state == state.ARMED and host.board.now_gate == 0 and host.board.now_rail == 2
    assert kinds(host, state.EVENT_RUN_END)[-1][2] == state.END_STOPPED
    check_steps(host, SLEW)


def test_stop_at_once_opens_the_bridge_in_the_next_tick():
    host = jogging()
    host.send("stop", 1)
    host.tick(2)  # one service call hears it, the tick after it obeys
    assert host.steps[-1] == (0, 0, state.ARMED)


def test_stop_cancels_what_was_asked_before_it():
    host = armed()
    host.load([segment(ramp.STEP, 500, 100)])
    host.send("run")
    host.send("stop", 0)
    host.tick(5)
    assert host.app.state == state.ARMED and host.answers[host.seq - 1][1][0] == faults.NOT_NOW
    host.do("disarm")
    host.send("arm")
    host.tick(2)
    assert host.app.state == state.CHECK
    host.send("stop", 0)
    host.tick(4)
    assert host.app.state == state.READY and host.board.now_rail == 0


def test_stream_always_streams_in_every_state():
    host = Host()
    host.tick(1500)
    assert host.rows == []
    host.do("stream", 1)
    host.tick(100)
    assert len(host.rows) >= 80 and host.rows[-1][10] == state.READY
    host.do("stream", 0)
    host.tick(50)
    count = len(host.rows)
    host.tick(100)
    assert len(host.rows) == count


# -- silence and faults ----------------------------------------------------------------------------


def latched_by(host, code):
    """Check that ``host`` is latched by ``code``: off, told, refusing; then clear and arm again."""
    assert host.app.state == state.LATCHED and host.app.fault == code
    assert host.board.now_gate == host.board.now_drive == host.board.now_rail == 0
    host.tick(state.TAIL_MS + 30)
    assert code in [event[2] for event in kinds(host, state.EVENT_FAULT)]
    assert kinds(host, state.EVENT_RUN_END)[-1][2:5] == (state.END_FAULT, 0, code)
    assert host.rows[-1][10:] == (state.LATCHED, code)
    assert refusal(host, "arm") == refusal(host, "run") == refusal(host, "jog", 100) == faults.FAULT_LATCHED
    host.do("clear")
    assert host.app.state == state.READY
    assert refusal(host, "run") == faults.NOT_NOW
    host.do("arm")
    check_steps(host, SLEW)


def test_silence_while_driving_ramps_down_and_latches():
    host = armed()
    host.load([segment(ramp.RAMP, 4000, 100), segment(ramp.HOLD, 4000, 5000)])
    host.do("run")
    start = len(host.steps)
    for _ in range(60):  # other traffic is no heartbeat
        host.tick(10)
        host.send("status")
        if host.app.state != state.DRIVING:
            break
    lasted = [step[2] for step in host.steps[start:]].count(state.DRIVING)
    assert abs(lasted - 500) <= 3, lasted
    host.tick(4000 // SLEW)
    latched_by(host, faults.HEARTBEAT_LOST)


def test_silence_counts_in_a_pause_too():
    host = armed()
    host.load([segment(ramp.PAUSE, 0, 5000)])
    host.do("run")
    host.tick(520)
    latched_by(host, faults.HEARTBEAT_LOST)


def test_jog_needs_the_host_twice_a_second_whatever_the_profile_allows():
    host = Host()
    host.arm(limits(heartbeat_ms=2000))
    host.do("jog", 100)
    host.tick(495)
    assert host.app.state == state.DRIVING
    host.send("heartbeat")
    host.tick(495)
    assert host.app.state == state.DRIVING
    host.tick(20)
    latched_by(host, faults.HEARTBEAT_LOST)


def test_a_main_loop_that_was_away_too_long_finds_the_bench_off_and_latched():
    host = jogging()
    for _ in range(96):
        host.app.tick()
    assert host.app.state == state.DRIVING  # the board's watchdog is still fed
    for _ in range(8):
        host.app.tick()
    assert host.app.state == state.LATCHED and host.app.ramp.gate == 0 and host.app.rail == 0
    host.tick(5)
    latched_by(host, faults.INTERNAL)


def test_open_emergency_line_cuts_in_the_same_tick():
    host = jogging()
    host.board.open_line = 1
    host.tick()
    assert host.steps[-1] == (0, 0, state.LATCHED)
    host.tick(5)
    assert refusal(host, "clear") == faults.FAULT_LATCHED
    host.board.open_line = 0
    host.tick(5)
    latched_by(host, faults.ESTOP)


def test_fault_that_does_not_latch_ends_in_ready():
    host = jogging(2000)
    host.board.supply_mv = 8500
    host.tick(40 + 2000 // SLEW + state.TAIL_MS)
    assert host.app.state == state.READY and host.board.now_rail == 0
    end = kinds(host, state.EVENT_RUN_END)[-1]
    assert end[2] == state.END_FAULT and end[4] in (faults.SUPPLY_LOW, faults.SUPPLY_SAG)
    check_steps(host, SLEW)


def test_missed_tick_latches_while_armed_only():
    host = Host()
    host.tick(1500)
    host.board.us += 5000
    host.tick(2)
    assert host.app.state == state.READY and host.app.overruns == 1
    host.do("limits", *LIMITS)
    host.do("arm")
    host.do("jog", 100)
    host.tick(20)
    host.board.us += 1000
    host.tick()
    latched_by(host, faults.TICK_OVERRUN)


def test_ramp_down_that_takes_too_long_ends_in_off():
    host = Host()
    host.arm(limits(slew_per_ms=1))
    host.do("jog", 9000)
    for _ in range(35):
        host.send("heartbeat")
        host.tick(100)
    assert host.board.now_drive > 3000
    host.do("stop", 0)
    for _ in range(state.STOPPING_MAX_MS // 100 - 1):
        host.send("heartbeat")
        host.tick(100)
    host.tick(90)
    assert host.app.state == state.STOPPING and host.board.now_drive > 1000
    host.tick(20)
    assert host.app.state == state.ARMED and host.board.now_gate == 0
    check_steps(host, 1)


# -- a bad host ------------------------------------------------------------------------------------


def test_flood_costs_bounded_work_per_call_and_hides_no_stop():
    host = jogging()
    junk = bytes([(i * 37 + i // 7) & 255 for i in range(20000)])
    host.board.inbox.extend(junk + b"\0" + wire.frame(wire.ID["stop"], 200, b"\0"))
    left = len(host.board.inbox)
    calls = 0
    while len(host.board.inbox):
        host.tick()
        assert left - len(host.board.inbox) <= 256
        left = len(host.board.inbox)
        calls += 1
    assert calls >= 79 and host.app.state == state.DRIVING
    host.tick(4000 // SLEW + 3)
    assert host.app.state == state.ARMED
    assert host.app.link.decoder.bad_frames > 50
    check_steps(host, SLEW)


def test_stop_is_obeyed_though_the_host_reads_nothing():
    host = jogging()
    host.board.room = 0
    for _ in range(20):
        host.send("status")
        host.tick(2)
    host.send("stop", 0)
    host.tick(4000 // SLEW + 3)
    assert host.app.state == state.ARMED and host.app.link.lost_replies > 5


def test_rows_the_host_was_too_slow_for_are_counted_exactly():
    host = armed()
    host.load([segment(ramp.RAMP, 1000, 1500)])
    host.do("run")
    host.tick(100)
    host.board.room = 0
    for _ in range(7):
        host.send("heartbeat")
        host.tick(100)
    host.board.room = 1 << 20
    host.tick(400)
    host.send("heartbeat")
    host.tick(420)
    assert host.events[-1][1] == state.EVENT_RUN_END
    produced = host.app.ring_head
    lost = host.app.link.lost_rows
    assert 700 - 256 - 20 <= lost <= 700 and len(host.rows) + lost == produced
    at = jumps = 0
    for name, values in host.messages:
        if name == "samples":
            assert values[0] == at + values[2], "a jump in seq is what the message says was dropped"
            jumps += values[2]
            at = values[0] + values[1]
    assert jumps == lost and at == produced


def test_frames_survive_a_link_that_takes_a_few_bytes_at_a_time():
    host = armed()
    host.load([segment(ramp.RAMP, 1000, 60)])
    host.board.room = 31
    host.run()
    assert host.decoder.bad_frames == 0 and len(host.rows) == host.app.ring_head


def test_repeated_frame_does_nothing_twice():
    host = armed()
    frame = wire.frame(wire.ID["jog"], 77, wire.pack(wire.ID["jog"], 300))
    host.board.inbox.extend(frame + frame + frame)
    host.tick(5)
    assert len([m for m in host.messages if m[0] == "reply" and m[1][0] == 0]) >= 1
    assert host.app.link.decoder.bad_frames == 2 and host.app.state == state.DRIVING
    assert host.answers[77][1][0] == 0


# -- captures, calibration -------------------------------------------------------------------------


def burst_values(host):
    """Return (header, values) put together from the last burst's messages."""
    header = [m[1] for m in host.messages if m[0] == "burst"][-1]
    got = [0] * header[3]
    for name, values in host.messages:
        if name == "burst_data":
            for i in range(len(values[1]) // 2):
                got[values[0] + i] = values[1][2 * i] | values[1][2 * i + 1] << 8
    return header, got


def test_capture_arrives_whole_and_before_the_end():
    host = armed()
    capture = segment(ramp.BURST, 0, 0, (1, 250000, 1000, 0))
    host.load([segment(ramp.STEP, 500, 20), capture, segment(ramp.STEP, 0, 5)])
    host.run()
    header, got = burst_values(host)
    assert header[:5] == (1, 1, 250000, 1000, 0)
    assert got == [i * 7 & 0xFFFF for i in range(1000)]
    assert host.messages[-1][1][1] == state.EVENT_RUN_END
    before = len(host.messages)
    host.do("burst_read", 960)
    host.tick(5)
    again = [m[1] for m in host.messages[before:] if m[0] == "burst_data"]
    assert len(again) == 1 and again[0][0] == 960 and len(again[0][1]) == 80
    assert refusal(host, "burst_read", 1000) == faults.OUT_OF_RANGE


def test_capture_with_pre_trigger_is_triggered_by_the_next_segment():
    host = armed()
    host.load([segment(ramp.BURST, 0, 0, (0, 10000, 100, 50)), segment(ramp.STEP, 500, 20)])
    host.run()
    header, _got = burst_values(host)
    assert host.board.triggers == 1 and header[4] == 50
    assert header[5] == kinds(host, state.EVENT_SEGMENT)[1][0]


def test_refused_capture_is_told_and_the_run_goes_on():
    host = armed()
    host.load([segment(ramp.BURST, 0, 0, (9, 10000, 100, 0)), segment(ramp.STEP, 500, 20)])
    assert host.run()[2] == state.END_DONE
    assert kinds(host, state.EVENT_BURST_FAILED)[0][3] == 0


def test_calibration_is_checked_stored_and_used_at_once():
    host = Host()
    host.tick(1500)
    other = calib.Calibration()
    other.trim[2] = other.trim[3] = 3277  # both supply readings 10 % up
    record = other.record()
    before = host.app.sense.vin_mv
    assert refusal(host, "calib_write") == faults.CALIBRATION
    assert host.ask("calib_write", tail=record[:-1] + b"x")[1][0] == faults.CALIBRATION
    assert host.app.sense.vin_mv == before
    assert host.ask("calib_write", tail=record)[1][0] == 0
    host.tick()
    assert abs(host.app.sense.vin_mv - before * 11 // 10) <= 2
    assert host.board.slots[calib.SLOT] == record
    assert host.ask("calib_read")[1] == (record,)
    again = Host(host.board)  # after a reset
    assert again.app.calibration.ident == host.app.calibration.ident != 0
    host.do("limits", *LIMITS)
    host.do("arm")
    assert host.ask("calib_write", tail=record)[1][0] == faults.NOT_NOW


def test_damaged_calibration_leaves_nominal_values_and_says_so():
    board = FakeBoard()
    board.slots[calib.SLOT] = b"x" * calib.RECORD_BYTES
    host = Host(board)
    host.tick(1500)
    assert host.app.calibration.damaged and list(host.app.calibration.trim) == [0] * 13
    told = named("status_report", host.ask("status")[1])
    assert told["flags"] & 16


def test_records_out_of_reason_are_refused():
    for at, value in ((3, calib.TRIM_MAX + 1), (0, -calib.TRIM_MAX - 1)):
        bad = calib.Calibration()
        bad.trim[at] = value
        try:
            calib.parse(bad.record())
            raise AssertionError("taken")
        except ValueError:
            pass


def test_only_transitions_of_the_table_were_ever_made():
    host = jogging()
    host.do("stop", 0)
    host.tick(200)
    host.board.open_line = 1
    host.tick(3)
    host.board.open_line = 0
    host.tick(3)
    host.do("clear")
    made = [(event[3], event[2]) for event in kinds(host, state.EVENT_STATE)]
    assert len(made) >= 7 and not [pair for pair in made if pair not in state.TRANSITIONS]
