"""One move of a part by hand, recorded by somebody else's instruments, through the real command line.

No procedure, no label, no drive. A finding that a single sweep shows has the uncertainty that one sweep
allows; any other says what is missing. Parts of the second family, whose truth the plant knows.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.bench.spec import SimSpec
from strokebench.cli import main
from tools.evidence.foreign import scenes
from tools.evidence.foreign.dialects import DIALECTS, write

SEED = 604


def judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], part: str, way: str, *defects: str,
    volts: bool = False, without: tuple[str, ...] = (), dialect: int = 1,
) -> dict[str, Any]:  # fmt: skip
    """Record a part, write it in a dialect, judge the file; the findings by their keys beside the verdict."""
    spec = SimSpec(part=part, family="second", seed=SEED, faults=defects)
    table = scenes.recorded(part, spec, way, volts, np.random.default_rng(SEED))
    path = tmp_path / "any.csv"
    path.write_bytes(write(DIALECTS[dialect], {name: table[name] for name in table if name not in without}))
    code = main(["judge", str(path), "--part", part, "--no-report", "--json"])
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert code == told["exit_code"]
    named = {finding["fault"] for finding in told["findings"] if finding["verdict"] == "fail"}
    return {"verdict": told["verdict"], "named": named} | {row["key"]: row for row in told["findings"]}


def test_one_slow_sweep_gives_friction_spring_stops_tracks_and_binding(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = judged(tmp_path, capsys, "throttle-body", "slow both ways")
    assert (told["verdict"], told["named"]) == ("inconclusive", set())
    passed = (
        "track_a_swing", "track_b_swing", "track_a_dropouts", "track_mismatch", "travel", "stop_closed",
        "stop_open", "friction", "preload_close", "binding", "rest_position",
    )  # fmt: skip
    assert {key: told[key]["verdict"] for key in passed} == dict.fromkeys(passed, "pass")
    assert told["preload_open"]["value"] is not None
    assert "it was released from the closed side only" in told["rest_spread"]["reason"]
    assert "no output volts" in told["winding_resistance"]["reason"]


def test_one_way_alone_does_not_part_friction_from_spring(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = judged(tmp_path, capsys, "egr-motor", "one way")
    assert told["named"] == set()
    for key in ("friction", "preload_open"):
        assert told[key]["value"] is None and "both ways" in told[key]["reason"]
    assert told["shut_position"]["verdict"] == "pass", "its release shows where it shuts"


def test_a_dead_track_needs_no_procedure_and_no_current(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = judged(
        tmp_path, capsys, "throttle-body", "switched by hand", "track_dead=1@a", without=("current_a",)
    )
    assert (told["verdict"], told["named"]) == ("fail", {"track_dead"})


NAMED = [
    ("throttle-body", "slow both ways", "binding=1.5@0.5", False),
    ("egr-motor", "quick both ways", "sticky=1.8", True),
    ("throttle-body", "slow both ways", "worn_track=0.9@0.3", False),
    ("egr-motor", "slow both ways", "weak_spring=0.7", True),
    ("egr-motor", "one way", "carbon_seat=0.15", False),
    ("egr-motor", "switched by hand", "open_winding", True),
    ("egr-motor", "switched by hand", "shorted_turns=0.45", True),
]


@pytest.mark.slow
@pytest.mark.parametrize(("part", "way", "defect", "volts"), NAMED)
def test_severe_defects_are_named_from_one_move(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], part: str, way: str, defect: str, volts: bool
) -> None:
    told = judged(tmp_path, capsys, part, way, defect, volts=volts)
    assert (told["verdict"], told["named"]) == ("fail", {defect.split("=")[0]})


@pytest.mark.slow
@pytest.mark.parametrize("part", scenes.HANDLED)
def test_no_good_part_fails_however_it_is_handled(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], part: str
) -> None:
    for number, way in enumerate(scenes.HANDLED[part]):
        told = judged(tmp_path, capsys, part, way, volts=number % 2 == 0, dialect=5 * number)
        assert told["verdict"] in ("inconclusive", "pass"), way
        assert told["named"] == set(), way


def test_without_volts_a_current_that_all_springs_exceed_is_no_friction(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half the turns shorted, or a clamp read ten times too large: then amperes measure no torque."""
    told = judged(tmp_path, capsys, "egr-motor", "slow both ways", "shorted_turns=0.45")
    assert told["named"] == set()
    assert "the current's scale is wrong" in told["friction"]["reason"]
