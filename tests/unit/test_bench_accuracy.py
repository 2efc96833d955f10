"""How a certificate's numbers become the uncertainties that a recording carries."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from strokebench.bench import certificates
from strokebench.bench.accuracy import CALIBRATED_GAIN, accuracy
from strokebench.bench.budget import default_budget
from strokebench.data.samples import READINGS


def entry(
    u_offset: float, u_gain: float, *values: float, covariance: float = 0.0, meter: str = "m"
) -> dict[str, Any]:
    return {
        "u_offset": u_offset,
        "u_gain": u_gain,
        "covariance": covariance,
        "instrument": {"name": meter},
        "points": [{"value": value} for value in values],
        "parts": [
            {"source": "points", "offset": u_offset, "gain": 0.6 * u_gain},
            {"source": "reference: gain", "offset": 0.0, "gain": 0.8 * u_gain},
        ],
    }


def test_without_a_certificate() -> None:
    budget = default_budget()
    plain, calibrated = accuracy(False), accuracy(True)
    assert set(plain) == set(calibrated) == set(READINGS)
    fine = budget["current_fine_a"]
    assert plain["current_a"]["offset"] == math.hypot(fine.offset, fine.linearity)
    assert calibrated["current_a"] == {"offset": fine.linearity, "gain": CALIBRATED_GAIN, "noise": fine.noise}


def test_currents_of_the_small_bench_are_ten_times_finer() -> None:
    large, small = accuracy(False), accuracy(False, finer=10)
    assert small["current_a"]["offset"] == pytest.approx(large["current_a"]["offset"] / 10)
    assert small["current_a"]["noise"] == pytest.approx(large["current_a"]["noise"] / 10)
    assert small["current_a"]["gain"] == large["current_a"]["gain"]
    assert small["supply_v"] == large["supply_v"]


def test_offset_is_that_in_the_middle_of_the_points() -> None:
    """u(12)^2 = u_o^2 + 2 12 cov + (12 u_g)^2; what is not the gain's is the offset's."""
    made = {"channels": {"supply": entry(0.04, 0.0031, 9, 15, covariance=-12 * 0.0031**2)}}
    row = accuracy(True, made)["supply_v"]
    linearity = default_budget()["supply_v"].linearity
    assert row["gain"] == 0.0031
    assert row["offset"] == pytest.approx(math.hypot(0.0, linearity))  # here all of it is the gain's
    made = {"channels": {"supply": entry(0.05, 0.001, 9, 15)}}
    assert accuracy(True, made)["supply_v"]["offset"] == pytest.approx(math.hypot(0.05, linearity))


def test_a_ratio_does_not_suffer_from_the_meter_common_to_both() -> None:
    same = {"channels": {"sensor_a": entry(0.001, 0.001, 1, 4), "feed": entry(0.002, 0.001, 5)}}
    other = {"channels": {"sensor_a": entry(0.001, 0.001, 1, 4), "feed": entry(0.002, 0.001, 5, meter="n")}}
    of_feed = 0.002 / 5
    assert accuracy(True, same)["sensor_a_v"]["gain"] == pytest.approx(math.hypot(6e-4, 6e-4, of_feed))
    assert accuracy(True, other)["sensor_a_v"]["gain"] == pytest.approx(math.hypot(1e-3, 1e-3, of_feed))


def test_what_the_certificate_does_not_cover_stays_uncalibrated() -> None:
    made = {"channels": {"sensor_a": entry(0.001, 0.001, 1, 4), "vin": entry(0.01, 0.001, 9, 15)}}
    assert accuracy(True, made) == accuracy(False)  # no feed, no other column


def test_certificates_are_found_by_bench_and_number_only(tmp_path: Path) -> None:
    path = certificates.file_for("cafe", 0x1234, tmp_path)
    assert path.name == "cafe-00001234.json"
    assert certificates.find("cafe", 0x1234, tmp_path) is None
    path.write_text(json.dumps({"uid": "cafe", "number": 0x1234, "channels": {}}), encoding="utf-8")
    assert certificates.find("cafe", 0x1234, tmp_path) is not None
    assert certificates.find("cafe", 0, tmp_path) is None
    for text in ("{", "[]", json.dumps({"uid": "beef", "number": 0x1234, "channels": {}})):
        path.write_text(text, encoding="utf-8")
        assert certificates.find("cafe", 0x1234, tmp_path) is None
