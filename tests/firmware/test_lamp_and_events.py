"""The lamp's flashes can be counted, and the event ring keeps the last 32 over a reset."""
# Runs under CPython and MicroPython.

from strokefw import faults
from strokefw.tick import events


def flashes(code, start=0):
    """Lengths in ms of the flashes in one whole repetition, read off the lamp tick by tick."""
    lamp = [faults.lamp(code, tick) for tick in range(40000)]
    pauses = []
    run = 0
    for tick, on in enumerate(lamp):
        run = 0 if on else run + 1
        if run == faults.PAUSE_MS:
            pauses.append(tick)
    first, second = pauses[1], pauses[2]
    lengths = []
    run = 0
    for on in lamp[first:second]:
        if on:
            run += 1
        elif run:
            lengths.append(run)
            run = 0
    return lengths


def test_every_code_reads_back_from_its_flashes():
    for row in faults.TABLE:
        code = row[0]
        lengths = flashes(code)
        longs = [length for length in lengths if length == faults.LONG_MS]
        shorts = [length for length in lengths if length == faults.SHORT_MS]
        assert len(longs) * 10 + len(shorts) == code, (code, lengths)
        assert lengths == longs + shorts, "tens first"


def test_without_a_fault_it_only_blinks():
    lit = [faults.lamp(0, tick) for tick in range(faults.ALIVE_SLOT_MS)]
    assert sum(lit) == faults.ALIVE_MS


def test_pattern_depends_on_nothing_else():
    assert [faults.lamp(37, tick) for tick in range(5000)] == [faults.lamp(37, tick) for tick in range(5000)]


class Store:
    """A board's storage."""

    def __init__(self, data=None):
        self.data = data

    def load(self, slot):
        """What was stored."""
        return self.data if slot == events.SLOT else None

    def store(self, slot, data):
        """Keep it."""
        assert slot == events.SLOT
        self.data = data


def test_ring_keeps_the_newest_32_in_order():
    ring = events.Ring(Store())
    assert ring.rows() == []
    for n in range(100):
        ring.add(n, 6, 37, -n)
        assert ring.rows()[-1] == (n, 6, 37, -n)
        assert len(ring.rows()) == min(n + 1, 32)
    assert [row[0] for row in ring.rows()] == list(range(68, 100))


def test_ring_survives_a_reset():
    store = Store()
    ring = events.Ring(store)
    for n in range(40):
        ring.add(n, 1, 2, 3)
    assert ring.unsaved and store.data is None
    ring.save()
    assert not ring.unsaved
    after = events.Ring(store)
    assert after.rows() == ring.rows()
    after.add(0, 1, 2, 0)
    assert after.rows()[-2:] == [(39, 1, 2, 3), (0, 1, 2, 0)]


def test_damaged_memory_is_ignored():
    store = Store()
    ring = events.Ring(store)
    ring.add(1, 2, 3, 4)
    ring.save()
    good = store.data
    for bad in (b"", good[:-1], b"\0" * len(good), b"\xff" * len(good), good[:2] + b"\x20" + good[3:]):
        assert events.Ring(Store(bad)).rows() == []


def test_adding_allocates_nothing():
    try:
        from micropython import heap_lock, heap_unlock
    except ImportError:
        return  # MicroPython only; the same file runs there
    ring = events.Ring(Store())
    ring.add(0, 0, 0, 0)
    heap_lock()
    try:
        for n in range(100):
            ring.add(n, 1, 91, -5)
            faults.lamp(n, n * 37)
    finally:
        heap_unlock()
