"""Pumps, actuators without a sensor and wires that somebody switched on, with the volts recorded too.

No procedure, no label, no drive; parts of the second family, whose truth the plant knows.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.cli import main
from strokebench.sim.plants import make_plant
from tools.evidence.foreign import scenes
from tools.evidence.foreign.dialects import DIALECTS, mapping, write

SEED = 607


def judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], part: str, way: str, *defects: str,
    volts: bool = True, dialect: int = 1,
) -> dict[str, Any]:  # fmt: skip
    """Record a part, write it in a dialect, judge the file; the findings by their keys beside the verdict."""
    spec = SimSpec(part=part, family="second", seed=SEED, faults=defects)
    table = scenes.recorded(part, spec, way, volts, np.random.default_rng(SEED))
    path = tmp_path / "any.csv"
    path.write_bytes(write(DIALECTS[dialect], table))
    command = ["judge", str(path), "--part", part, "--no-report", "--json"]
    code = main([*command, "--map", mapping(DIALECTS[dialect], table)])
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert code == told["exit_code"]
    named = {finding["fault"] for finding in told["findings"] if finding["verdict"] == "fail"}
    return {"verdict": told["verdict"], "named": named} | {row["key"]: row for row in told["findings"]}


@pytest.mark.slow
def test_a_good_pump_tells_motor_and_load_by_its_start_and_its_run_down(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = judged(tmp_path, capsys, "fuel-pump", "switched on")
    assert (told["verdict"], told["named"]) == ("pass", set())
    turner = make_plant(SimSpec(part="fuel-pump", family="second", seed=SEED)).turner
    truth = {
        "motor_constant": turner.k_si,
        "load_torque": 1e3 * turner.load_nm(turner.rated_rad_s),
    }
    for key, true in truth.items():
        assert told[key]["value"] == pytest.approx(true, abs=2 * told[key]["u"])
        assert 2 * told[key]["u"] < 0.12 * true
    passed = ("turning", "motor_constant", "loop_resistance", "drag", "load_torque")
    assert {key: told[key]["verdict"] for key in passed} == dict.fromkeys(passed, "pass")


PUMPS = [
    ("blocked", "blocked"), ("weak_magnet=0.4", "weak_magnet"), ("worn=0.8", "worn"),
    ("worn_brush=0.7", "worn_brush"),
    *(
        pytest.param(defect, defect.partition("=")[0], marks=pytest.mark.long)
        for defect in ("lead_resistance=0.5", "dry=0.9", "clogged=0.7", "dragging=0.9", "open_winding")
    ),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("defect", "named"), PUMPS)
def test_a_pumps_defects_are_named_where_the_volts_at_its_plug_were_recorded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], defect: str, named: str
) -> None:
    told = judged(tmp_path, capsys, "fuel-pump", "switched on", defect)
    assert (told["verdict"], told["named"]) == ("fail", {named})


@pytest.mark.slow
def test_a_blocked_pump_without_volts_is_no_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = judged(tmp_path, capsys, "fuel-pump", "switched on", "blocked", volts=False)
    assert (told["verdict"], told["named"]) == ("inconclusive", set())
    assert told["turning"]["reason"] == "the recording holds no output volts"


ACTUATORS = [
    ("turned up", (), set()),
    ("turned up", ("sticky=1.8",), {"sticky"}),
    ("turned up", ("binding=1.5@0.5",), {"binding"}),
    ("switched to and fro", ("jammed",), {"jammed"}),
    ("switched to and fro", ("short_travel=0.5",), {"short_travel"}),
    ("switched to and fro", ("lead_resistance=8",), {"lead_resistance"}),
]


@pytest.mark.slow
@pytest.mark.parametrize(("way", "defects", "named"), ACTUATORS)
def test_a_motor_without_a_sensor_is_judged_by_its_strokes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], way: str, defects: tuple[str, ...], named: set[str]
) -> None:
    told = judged(tmp_path, capsys, "idle-actuator", way, *defects)
    assert told["named"] == named
    if defects:
        return
    mover = make_plant(SimSpec(part="idle-actuator", family="second", seed=SEED)).mover
    travel = 100 * mover.travel_rad * mover.k_si / (0.75 * np.pi / 2)
    assert told["travel"]["value"] == pytest.approx(travel, abs=2 * told["travel"]["u"])
    friction_a = mover.coulomb_nm / mover.k_si
    assert told["friction"]["value"] == pytest.approx(friction_a, abs=2 * told["friction"]["u"])
    assert {told[key]["verdict"] for key in ("travel", "friction", "binding")} == {"pass"}


WIRES = [
    ((), set()), (("supply_resistance=0.3",), {"supply_resistance"}),
    (("ground_resistance=0.3",), {"ground_resistance"}), (("bad_crimp=0.3",), {"bad_crimp"}),
    (("chafed_ground=10",), {"chafed_ground"}), (("open_wire",), {"open_wire"}),
]  # fmt: skip


@pytest.mark.parametrize(("defects", "named"), WIRES)
def test_wires_under_a_load_that_somebody_switched_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], defects: tuple[str, ...], named: set[str]
) -> None:
    told = judged(tmp_path, capsys, "wiring", "loaded", *defects)
    assert told["named"] == named
    if not defects:
        assert told["supply_flicker"]["verdict"] == told["ground_flicker"]["verdict"] == "pass"
        circuit = make_plant(SimSpec(part="wiring", family="second", seed=SEED)).circuit
        for side, ohm in (("supply_side", circuit.supply_ohm), ("ground_side", circuit.ground_ohm)):
            assert told[side]["value"] == pytest.approx(1e3 * ohm, abs=2 * told[side]["u"])


def test_the_ground_side_needs_one_probe(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = judged(tmp_path, capsys, "wiring", "loaded", "ground_resistance=0.3", volts=False)
    assert told["named"] == {"ground_resistance"}
    assert "no output volts" in told["supply_excess"]["reason"]
