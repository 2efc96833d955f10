"""One channel's correction: what is refused, what goes onto the chip, and what the firmware makes of it."""

from __future__ import annotations

import datetime
from array import array

import pytest
from strokebench.calibrate import record
from strokebench.calibrate.instrument import Instrument, instrument_for
from strokebench.calibrate.quantities import quantities
from strokebench.calibrate.solve import Correction, Reading, solve
from strokebench.calibrate.units import reading
from strokebench.errors import DataError
from strokefw import channels
from strokefw.sensing import calib
from strokefw.sensing.sense import Sense

METER = Instrument(name="meter", percent=0.1, absolute=0.002, resolution=0.001)
KNOWN = quantities()


def taken(name: str, *values: float, offset: float = 0.0, gain: float = 1.0) -> list[Reading]:
    """Readings of a bench whose channel is off by ``offset`` and ``gain``."""
    q = KNOWN[name]
    counts = [q.ideal_zero + (offset + gain * q.linear(value)) / q.scale for value in values]
    return [Reading(name, value, c, 1.0, 100) for value, c in zip(values, counts, strict=True)]


def solved(name: str, *values: float, offset: float = 0.0, gain: float = 1.0) -> Correction:
    return solve(KNOWN[name], taken(name, *values, offset=offset, gain=gain), METER)


@pytest.mark.parametrize("name", list(KNOWN))
def test_every_channel_is_put_right(name: str) -> None:
    q = KNOWN[name]
    offset = 0.002 * q.full if not q.zero_u else 0.0
    correction = solved(name, *q.points, offset=offset, gain=1.0 if name == "supply" else 1.012)  # see below
    for r in correction.readings:
        assert correction.corrected(r.counts) == pytest.approx(q.linear(r.reference), abs=2 * q.scale), r
    assert correction.line.u_gain < 0.01


@pytest.mark.parametrize("finer", [1, 10])
def test_firmware_reads_true_with_the_record(finer: int) -> None:
    """The chip's own arithmetic, on the reference and on the small bench."""
    q = quantities(finer)["current_fine"]
    rows = [
        Reading("current_fine", a, q.ideal_zero + (0.03 / finer + 0.991 * a) / q.scale, 1.0, 100)
        for a in q.points
    ]
    correction = solve(q, rows, METER)
    calibration = calib.Calibration()
    calibration.use(record.build([correction], b"", datetime.date(2026, 11, 25), "A. Baker", ["meter"]))
    sense = Sense(calibration, 1 if finer == 10 else 0)
    for row in rows:
        counts = array("H", [30000] * channels.N_CHANNELS)
        counts[channels.I_FINE] = round(row.counts)
        sense.update(counts)
        assert sense.values[channels.I_FINE] / 1000 == pytest.approx(row.reference, abs=0.0011)


def refusal(name: str, *values: float, offset: float = 0.0, gain: float = 1.0) -> str:
    with pytest.raises(DataError) as refused:
        solved(name, *values, offset=offset, gain=gain)
    assert refused.value.hint
    return str(refused.value)


def test_too_few_points() -> None:
    assert "too few" in refusal("vin", 12.0)
    assert "too few" in refusal("vin", 12.0, 12.01)
    assert "too few" in refusal("feed")


def test_span_too_small() -> None:
    assert "they span 2 of at least 4 V" in refusal("vin", 11.0, 13.0)
    assert "span" in refusal("current_coarse", -1.0, 0.0, 1.0)


@pytest.mark.parametrize("gain", [0.85, 1.15])
def test_gain_off_by_more_than_a_tenth(gain: float) -> None:
    assert "more than 10 %" in refusal("vin", 9.0, 12.0, 15.0, gain=gain)
    solved("vin", 9.0, 12.0, 15.0, gain=1 + 0.6 * (gain - 1))


def test_one_point_that_does_not_fit() -> None:
    rows = taken("vin", 9.0, 11.0, 13.0, 15.0)
    rows[1] = Reading("vin", 11.3, rows[1].counts, 1.0, 100)
    with pytest.raises(DataError, match="off the line"):
        solve(KNOWN["vin"], rows, METER)


@pytest.mark.parametrize(("factor", "name"), [(1000, "current_fine"), (0.001, "vin"), (0.001, "ntc_part")])
def test_slip_of_the_unit(factor: float, name: str) -> None:
    rows = [Reading(name, r.reference * factor, r.counts, 1.0, 100) for r in taken(name, *KNOWN[name].points)]
    with pytest.raises(DataError, match=r"where the bench sees|at the end"):
        solve(KNOWN[name], rows, METER)


def test_swapped_wires() -> None:
    rows = [Reading("current_fine", -r.reference, r.counts, 1) for r in taken("current_fine", -5.0, 0.0, 5.0)]
    with pytest.raises(DataError, match="other sign"):
        solve(KNOWN["current_fine"], rows, METER)


def test_clipped_reading() -> None:
    assert "end of its range" in refusal("current_fine", -5.0, 0.0, 8.5)


def test_points_too_close_for_a_gain_correct_the_zero_only() -> None:
    """supply: its converter's curvature over 9..15 V leaves more than the divider's tolerance."""
    correction = solved("supply", 9.0, 11.0, 13.0, 15.0, offset=0.04)
    assert correction.trim == 0
    assert correction.line.u_gain == KNOWN["supply"].gain_u
    assert correction.line.u(12.0) < 0.02 < correction.line.u(0.0)


def test_a_gross_gain_error_is_corrected_all_the_same() -> None:
    assert solved("supply", 9.0, 11.0, 13.0, 15.0, gain=1.05).trim == pytest.approx(-1560, abs=2)


def test_record_keeps_the_other_channels_and_carries_a_note() -> None:
    day = datetime.date(2026, 11, 25)
    first = record.build([solved("vin", 9.0, 15.0, gain=1.01)], b"", day, "A. Baker", ["meter"])
    second = record.build([solved("feed", 5.0, gain=0.99)], first, day, "B. Möller " * 12, ["meter"])
    state = calib.Calibration()
    state.use(second)
    assert state.trim[channels.VIN] == -324 and state.trim[channels.FEED] == 331
    assert state.day == (day - datetime.date(2000, 1, 1)).days
    assert state.note.decode().startswith("B. Möller") and len(state.note) <= calib.NOTE_BYTES
    assert record.identity(first) != record.identity(second) == state.ident


def test_coarse_peak_channels_follow_the_coarse_one() -> None:
    correction = solved("current_coarse", *KNOWN["current_coarse"].points, gain=1.03, offset=0.2)
    zeros, trims = calib.parse(record.build([correction], b"", datetime.date(2026, 1, 1), "x", []))[:2]
    places = (channels.I_COARSE, channels.I_MAX, channels.I_MIN)
    assert len({(zeros[i], trims[i]) for i in places}) == 1 and trims[channels.I_COARSE] == -954


def test_readings_as_people_write_them() -> None:
    for text, unit, value in (
        ("2.013", "A", 2.013), ("2013 mA", "A", 2.013), ("-2,5A", "A", -2.5), ("10k", "ohm", 10000),
        ("4.7 k\u03a9", "ohm", 4700), ("12 V", "V", 12), ("1e1", "V", 10), (".5", "V", 0.5),
    ):  # fmt: skip
        assert reading(text, unit) == pytest.approx(value), text
    for text in ("", "zwölf", "12 V", "1.2.3", "nan", "inf", "12 A A"):
        with pytest.raises(DataError):
            reading(text, "A")


def test_what_an_instrument_states() -> None:
    """JCGM 100, 4.3.7: limits a are a / sqrt 3; 4.3.3: an expanded uncertainty is divided by its k."""
    assert METER.u_gain == pytest.approx(0.001 / 3**0.5)
    assert METER.u_reading == pytest.approx(0.0005 / 3**0.5)
    certified = METER.model_copy(update={"stated": "k2", "channels": ["vin"]})
    assert certified.u_gain == 0.0005 and certified.u_offset == 0.001
    assert instrument_for("vin", [METER, certified]) is certified
    assert instrument_for("feed", [METER, certified]) is METER
    assert instrument_for("feed", [certified]) is None
