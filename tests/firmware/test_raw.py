"""The endless stream: gapless while the host reads, every loss counted, and out of the way of all else."""
# Runs under CPython and MicroPython.

from fake_board import LIMITS, FakeBoard, Host, segment
from strokefw import faults, state
from strokefw.drive import ramp
from strokefw.link import wire


def codes(tail):
    """Return the readings in a raw_data's tail, by the words of docs/protocol.md."""
    found = []
    for at in range(0, len(tail), 3):
        found.append(tail[at] | (tail[at + 1] & 15) << 8)
        found.append(tail[at + 1] >> 4 | tail[at + 2] << 4)
    return found


def pieces(host):
    """Return (first, lost, readings) of each raw_data so far."""
    return [(v[0], v[1], codes(v[2])) for name, v in host.messages if name == "raw_data"]


def check_whole(found, begin=0):
    """Check that the readings follow each other from number ``begin`` on; return the number after them."""
    for first, _lost, readings in found:
        assert first == begin, (first, begin)
        assert readings == [(first + i) * 7 & 4095 for i in range(len(readings))]
        begin += len(readings)
    return begin


def begun(rate_hz=120000, channel=0):
    """Return a Host in READY with a stream."""
    host = Host(FakeBoard())
    host.tick(3)
    host.do("hello", wire.PROTOCOL)
    assert host.do("raw", channel, rate_hz)[1][0] == rate_hz
    return host


def test_gapless_with_all_rows_from_ready_through_driving_to_the_latched_fault():
    host = begun()
    host.do("stream", 1)
    host.do("limits", *LIMITS)
    host.do("arm")
    host.load((segment(ramp.RAMP, 5000, 300), segment(ramp.RAMP, 0, 100)))
    host.run()
    host.do("jog", 3000)
    host.tick(100)
    host.board.open_line = 1
    host.tick(400)
    assert host.app.state == state.LATCHED
    before = len(pieces(host))
    host.tick(100)
    assert len(pieces(host)) > before
    found = pieces(host)
    assert found[-1][1] == 0
    assert host.board.raw_head() - check_whole(found) < 120000 * 25 // 1000
    ticks = [row[0] for row in host.rows[30:]]
    assert ticks == list(range(ticks[0], ticks[0] + len(ticks)))
    assert host.app.link.lost_rows == 0


def test_a_slow_stream_does_not_wait_for_full_frames():
    host = begun(1000)
    host.tick(200)
    found = pieces(host)
    assert check_whole(found) >= 170 and 8 <= len(found) <= 12


def test_what_is_overwritten_is_counted_and_missing_from_the_numbers():
    host = begun()
    host.tick(20)
    host.board.room = 0
    host.tick(200)  # 24000 readings, of which 5000 are kept
    host.board.room = 1 << 20
    host.tick(60)
    late = [piece for piece in pieces(host) if piece[1]]
    first, lost, _readings = late[0]
    early = [piece for piece in pieces(host) if not piece[1]]
    end = check_whole(early)
    assert lost == first - end > 15000
    assert all(piece[1] == lost for piece in late)
    check_whole(late, first)


def test_refused_what_cannot_be():
    host = begun()
    assert host.ask("raw", 3, 1000)[1][0] == faults.OUT_OF_RANGE
    assert not host.board.raw_running  # the old one was ended first
    host.board.raw_start = lambda channel, rate_hz: 0  # no memory
    assert host.ask("raw", 0, 1000)[1][0] == faults.NOT_NOW


def test_rate_0_hello_and_a_new_request_end_it():
    host = begun()
    host.do("raw", 0, 0)
    assert not host.board.raw_running
    host.tick(5)
    count = len(pieces(host))
    host.tick(100)
    assert len(pieces(host)) == count
    host.do("raw", 1, 1000)
    assert host.board.raw_running == 2
    host.do("hello", wire.PROTOCOL)
    assert not host.board.raw_running
    host.do("raw", 2, 0)  # none runs: harmless


def test_bursts_and_the_stream_share_the_memory():
    host = begun()
    host.arm()
    host.load((segment(ramp.BURST, 0, 0, (0, 50000, 500, 0)), segment(ramp.RAMP, 1000, 50)))
    host.do("raw", 0, 10000)
    host.run()
    assert [event[1] for event in host.events].count(state.EVENT_BURST_FAILED) == 1
    assert host.board.capture is None and host.board.raw_running
    host.do("raw", 0, 0)
    host.do("run")
    host.tick(1)
    assert host.ask("raw", 0, 10000)[1][0] == faults.NOT_NOW  # a burst is being taken or sent
    host.tick(200)
    assert host.board.capture is not None
    host.do("raw", 0, 10000)
    assert host.ask("burst_read", 0)[1][0] == faults.OUT_OF_RANGE
