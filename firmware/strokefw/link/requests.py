"""What each request of the host does. One small function per message; the table at the end joins them.

A handler gets the service, the request's seq and its field values, and returns a result code (0 done) for a
plain reply, or None when it has answered with a message of its own or the tick has to answer first.
"""

import sys

import strokefw
from strokefw import faults, state
from strokefw.drive import ramp
from strokefw.guard import limits as guard_limits
from strokefw.link import wire
from strokefw.sensing import calib

_DRIVEN = (state.DRIVING, state.STOPPING)


def handle(service, kind, seq, body):
    """Obey or refuse one checked frame; exactly one answer goes out, now or when the tick has answered."""
    handler = HANDLERS.get(kind)
    if handler is None:
        service.reply(seq, faults.UNKNOWN_MESSAGE, kind)
        return
    try:
        values = wire.unpack(kind, body)
    except wire.WireError:
        service.reply(seq, faults.BAD_MESSAGE, len(body))
        return
    if seq == 0:
        service.reply(seq, faults.BAD_MESSAGE)
        return
    result = handler(service, seq, values)
    if result is not None:
        service.reply(seq, result, 0 if result else service.app.ticks)


def answered(service):
    """Send the answer of the tick to the request that waited for it."""
    seq = service.deferred
    service.deferred = 0
    result = service.app.answer
    if service.deferred_kind == wire.ID["hello"]:
        _welcome(service, seq)
    elif service.deferred_kind == wire.ID["selftest"] and (not result or result == service.app.selftest.code):
        service.queue(wire.ID["selftest_report"], seq, _report(service.app))
    else:
        service.reply(seq, result, service.app.guard.block if result else service.app.ticks)


def _ask(service, seq, ask, value=0):
    # leave it to the tick; one at a time
    if service.deferred:
        return faults.NOT_NOW
    app = service.app
    service.deferred = seq
    service.deferred_kind = 0
    app.ask_value = value
    app.answer = state.ANSWER_PENDING
    app.ask = ask
    return None


def _hello(service, seq, values):
    app = service.app
    service.drop_pending()
    app.always = 0
    app.ramp.count = 0
    app.limits_set = 0
    if app.armed() or app.ask or app.tail:  # a new session never inherits an armed bench
        _ask(service, seq, state.ASK_SESSION)
        service.deferred_kind = wire.ID["hello"]
    else:
        _welcome(service, seq)


def _welcome(service, seq):
    app = service.app
    if app.state != state.OFF:
        app.link_watch.greeted()
    bounds = guard_limits.ABSOLUTE[app.kind]
    version = strokefw.VERSION
    body = wire.pack(
        wire.ID["welcome"], wire.PROTOCOL, wire.TABLE_HASH, version[0], version[1], version[2], app.kind,
        bytes(app.board.uid()), app.calibration.ident, app.reset_cause, state.TICK_US, app.state, app.fault,
        app.ticks, bounds.current_max_ma, bounds.current_mean_ma, bounds.supply_min_mv, bounds.supply_max_mv,
        bounds.slew_per_ms, bounds.heatsink_max_dc, ramp.SEGMENTS_MAX, state.RING_ROWS,
    )  # fmt: skip
    service.queue(wire.ID["welcome"], seq, body)


def _identity(service, seq, values):
    version = strokefw.VERSION
    lines = (
        "firmware=strokebench %d.%d.%d" % version,
        "interpreter=%s" % sys.version,
        "platform=%s" % sys.platform,
        "calibrated_day=%d" % service.app.calibration.day,
        "calibrated_by=%s" % service.app.calibration.note.decode(),
    )
    service.queue(wire.ID["identity_text"], seq, "\n".join(lines).encode())


def _status(service, seq, values):
    app = service.app
    sense = app.sense
    guard = app.guard
    player = app.ramp
    flags = app.limits_set | (2 if player.count and not player.complete() else 0) | (4 if app.always else 0)
    flags |= (8 if app.board.estop() else 0) | (16 if app.calibration.damaged else 0)
    body = wire.pack(
        wire.ID["status_report"], app.ticks, app.state, app.shown, player.drive, player.gate, app.rail,
        sense.current_ma, sense.bus_mv, sense.vin_mv, sense.feed_mv, sense.heatsink_dc, sense.part_dc,
        guard.junction_dc, guard.cap, guard.left_bench, guard.left_leads, guard.left_part, app.trips,
        service.decoder.bad_frames, service.lost_rows, service.lost_events, app.overruns,
        service.tick_max_us(), service.tick_mean_us(), service.heap_free(), app.board.stack_max(),
        max(player.index, 0), flags,
    )  # fmt: skip
    service.queue(wire.ID["status_report"], seq, body)


def _heartbeat(service, seq, values):
    service.app.guard.silent_ms = 0
    return 0


def _limits(service, seq, values):
    app = service.app
    new = wire.Limits(values)
    code = guard_limits.check(new, app.limits, app.armed(), guard_limits.ABSOLUTE[app.kind])
    if code:
        return code
    app.limits = new
    app.guard.set_limits(new)
    app.ramp.bounds(new.drive_min, new.drive_max, new.slew_per_ms)
    app.selftest.limit(new.current_max_ma, app.state == state.CHECK)
    app.limits_set = 1
    service.queue(wire.ID["limits_in_force"], seq, wire.pack(wire.ID["limits_in_force"], *new.values()))
    return None


def _arm(service, seq, values):
    if not service.app.limits_set:
        return faults.NO_LIMITS
    service.app.guard.silent_ms = 0
    service.app.link_watch.greeted()
    return _ask(service, seq, state.ASK_ARM)


def _disarm(service, seq, values):
    if service.deferred:  # a stop also ends an arming that is under way
        service.app.stop_ask = state.STOP_RAMP
        return 0
    return _ask(service, seq, state.ASK_DISARM)


def _procedure_begin(service, seq, values):
    if service.app.state in _DRIVEN:
        return faults.NOT_NOW
    return service.app.ramp.begin(values[0])


def _segment(service, seq, values):
    if service.app.state in _DRIVEN:
        return faults.NOT_NOW
    return service.app.ramp.put(values[0], values[1:])


def _run(service, seq, values):
    app = service.app
    if app.state == state.ARMED:
        code = app.ramp.complete()
        if code:
            return code
        app.guard.silent_ms = 0
    return _ask(service, seq, state.ASK_RUN)


def _stop(service, seq, values):
    service.app.stop_ask = state.STOP_NOW if values[0] else state.STOP_RAMP
    return 0


def _clear(service, seq, values):
    return _ask(service, seq, state.ASK_CLEAR)


def _jog(service, seq, values):
    app = service.app
    target = values[0]
    if not app.limits.drive_min <= target <= app.limits.drive_max:
        return faults.OUT_OF_RANGE
    app.guard.silent_ms = 0
    return _ask(service, seq, state.ASK_JOG, target)


def _stream(service, seq, values):
    service.app.always = 1 if values[0] else 0
    return 0


def _selftest(service, seq, values):
    service.app.link_watch.greeted()
    result = _ask(service, seq, state.ASK_CHECK)
    service.deferred_kind = wire.ID["selftest"]
    return result


def _report(app):
    test = app.selftest
    tail = b""
    for item, value, _low, _high, ok in test.results:
        tail += wire.pack_row(wire.ID["selftest_report"], item, 0 if ok else 1, value)
    return wire.pack(wire.ID["selftest_report"], test.code, tail=tail)


def _events(service, seq, values):
    rows = [
        wire.pack_row(wire.ID["event_log"], tick, kind, code, 0, d)
        for tick, kind, code, d in service.app.log.rows()
    ]
    tail = b"".join(rows)
    service.queue(wire.ID["event_log"], seq, tail)


def _calib_read(service, seq, values):
    service.queue(wire.ID["calib_record"], seq, service.app.calibration.record())


def _calib_write(service, seq, values):
    app = service.app
    if app.state not in state.AT_REST:
        return faults.NOT_NOW
    try:
        app.calibration.use(values[0])
    except ValueError:
        return faults.CALIBRATION
    service.keep(app.board.store(calib.SLOT, bytes(values[0])))
    app.sense.reload()
    return 0


def _counts(service, seq, values):
    # the tick may come in between: then the values are of two neighbouring ticks, which a mean does not mind
    app = service.app
    service.queue(
        wire.ID["counts_report"], seq, wire.pack(wire.ID["counts_report"], app.ticks, tail=bytes(app.counts))
    )


def _burst_read(service, seq, values):
    return 0 if service.burst.rewind(values[0]) else faults.OUT_OF_RANGE


def _raw(service, seq, values):
    channel, rate_hz = values
    raw = service.raw
    if not rate_hz:
        if raw is not None:
            raw.stop()
        return 0
    if service.burst.busy():
        return faults.NOT_NOW
    if raw is None:
        from strokefw.link.raw import RawSender  # loaded only here: memory

        service.raw = raw = RawSender(service.app)
    code = raw.start(channel, rate_hz)
    if code:
        return code
    service.burst.forget()
    service.queue(wire.ID["raw_begun"], seq, wire.pack(wire.ID["raw_begun"], raw.rate_hz, service.app.ticks))
    return None


def _plant(service, seq, values):
    # the main loop does it once the answer is out: see plant_board.py
    app = service.app
    if not hasattr(app.board, "hold"):
        return faults.UNKNOWN_MESSAGE
    if app.rail or app.state not in state.AT_REST:
        return faults.NOT_NOW
    if values[0] == 3 or values[0] > 4:  # what a plant can be on: any kind but a bare board
        return faults.OUT_OF_RANGE
    service.drop_pending()
    service.plant = True
    service.plant_kind = values[0]
    return 0


HANDLERS = {
    wire.ID["hello"]: _hello,
    wire.ID["identity"]: _identity,
    wire.ID["status"]: _status,
    wire.ID["heartbeat"]: _heartbeat,
    wire.ID["limits"]: _limits,
    wire.ID["arm"]: _arm,
    wire.ID["disarm"]: _disarm,
    wire.ID["procedure_begin"]: _procedure_begin,
    wire.ID["segment"]: _segment,
    wire.ID["run"]: _run,
    wire.ID["stop"]: _stop,
    wire.ID["clear"]: _clear,
    wire.ID["jog"]: _jog,
    wire.ID["stream"]: _stream,
    wire.ID["selftest"]: _selftest,
    wire.ID["events"]: _events,
    wire.ID["calib_read"]: _calib_read,
    wire.ID["calib_write"]: _calib_write,
    wire.ID["burst_read"]: _burst_read,
    wire.ID["counts"]: _counts,
    wire.ID["plant"]: _plant,
    wire.ID["raw"]: _raw,
}
