"""Damaged frames, dropped samples and a restart are told, and only while they matter."""
# Runs under CPython and MicroPython.

from fake_board import FakeBoard, Host
from strokefw import faults, state
from strokefw.link import wire
from strokefw.link.watch import LinkWatch


def test_many_bad_frames_are_told_and_forgotten():
    watch = LinkWatch(0)
    watch.greeted()
    seen = []
    bad = 0
    for tick in range(0, 8000, 10):
        if 1000 <= tick < 1100:
            bad += 1
        watch.look(tick, bad, 0)
        seen.append(watch.code)
    first = seen.index(faults.BAD_FRAMES) * 10
    last = len(seen) * 10 - seen[::-1].index(faults.BAD_FRAMES) * 10
    assert 1000 < first <= 1500 and 2000 <= last - first <= 3000


def test_a_few_bad_frames_are_not_worth_telling():
    watch = LinkWatch(0)
    watch.greeted()
    for tick in range(0, 20000, 500):
        watch.look(tick, tick // 500 * 4, 0)
        assert watch.code == 0


def test_dropped_samples_are_told():
    watch = LinkWatch(0)
    watch.greeted()
    watch.look(500, 0, 0)
    watch.look(1000, 0, 3)
    assert watch.code == faults.SAMPLES_DROPPED


def test_a_watchdog_restart_shows_until_somebody_asks_for_the_self_test():
    board = FakeBoard()
    board.cause = state.RESET_WATCHDOG
    host = Host(board)
    host.tick(3000)
    assert host.app.shown == faults.WATCHDOG_RESET
    host.do("hello", wire.PROTOCOL)
    host.tick(5)
    assert host.app.shown == faults.WATCHDOG_RESET
    host.do("selftest")
    assert host.app.shown == 0 and host.app.state == state.READY


def test_noise_on_the_link_shows():
    host = Host()
    host.tick(1200)
    host.do("hello", wire.PROTOCOL)
    for _ in range(600):
        host.board.inbox.extend(b"\x07noise\x00")
        host.tick()
    assert host.app.shown == faults.BAD_FRAMES
    host.tick(4000)
    assert host.app.shown == 0
