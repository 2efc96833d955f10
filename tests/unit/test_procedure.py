"""Procedures: what people write becomes the flat plan that the bench runs."""

from __future__ import annotations

from typing import Any

import pytest
from strokebench.errors import ProfileError
from strokebench.link import conversion
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Procedure, Watch
from strokebench.parts.toml import parse, validate
from strokefw.drive import ramp

LIMITS = Limits(
    current_max_a=10, current_mean_a=8, drive_min=-0.5, drive_max=0.6, stall_a=3, stall_s=2,
    i2t_part_a2s=100, i2t_part_rest_a=3, slew_per_s=10,
)  # fmt: skip


def procedure(*segments: dict[str, Any]) -> Procedure:
    return Procedure.model_validate({"segments": list(segments)})


def test_repeats_nest_and_are_written_out_in_order() -> None:
    hold = {"kind": "hold", "for_s": 0.1, "label": "in"}
    inner = {"kind": "repeat", "repeat": 2, "segments": [hold]}
    outer = {
        "kind": "repeat",
        "repeat": 3,
        "segments": [inner, {"kind": "pause", "for_s": 0.2, "label": "out"}],
    }
    labels = [segment.label for segment in procedure(outer).plan()]
    assert labels == ["in", "in", "out"] * 3
    assert procedure(outer).duration_s == pytest.approx(3 * 0.4)


def test_a_ramps_rate_becomes_a_duration_from_where_the_drive_is() -> None:
    plan = procedure(
        {"kind": "ramp", "to": 0.4, "rate_per_s": 0.1},
        {"kind": "ramp", "to": -0.2, "rate_per_s": 0.1},
        {"kind": "pause", "for_s": 0.5},
        {"kind": "ramp", "to": 0.2, "over_s": 1.5},
    ).plan()
    assert [segment.duration_s for segment in plan] == pytest.approx([4.0, 6.0, 0.5, 1.5])


def test_holding_keeps_the_drive_and_pulses_end_at_zero() -> None:
    plan = procedure(
        {"kind": "step", "to": 0.3, "for_s": 0.1},
        {"kind": "hold", "for_s": 0.1},
        {"kind": "pulse", "drive": 0.5, "on_s": 0.02, "off_s": 0.03, "count": 4},
        {"kind": "hold", "for_s": 0.1},
    ).plan()
    assert [segment.target for segment in plan] == [0.3, 0.3, 0.5, 0.0]
    assert plan[2].duration_s == pytest.approx(0.2)
    assert plan[2].numbers == (20, 30, 4)


@pytest.mark.parametrize(
    ("segment", "sentence"),
    [
        ({"kind": "hold", "drive": 0.61, "for_s": 1}, "asks for drive 0.61, allowed is -0.5 to 0.6"),
        ({"kind": "ramp", "to": -0.51, "over_s": 1}, "asks for drive -0.51"),
        ({"kind": "ramp", "to": 0.5, "over_s": 0.01}, "faster than limits.slew_per_s = 10"),
    ],
)
def test_what_breaks_the_limits_is_said(segment: dict[str, Any], sentence: str) -> None:
    problems = procedure(segment).problems(LIMITS)
    assert len(problems) == 1
    assert sentence in problems[0]


def test_what_keeps_the_limits_has_no_problems() -> None:
    assert procedure({"kind": "ramp", "to": 0.5, "over_s": 0.05}).problems(LIMITS) == []


def test_too_many_segments_are_refused_before_the_bench_does() -> None:
    many = {"kind": "repeat", "repeat": 100, "segments": [{"kind": "hold", "for_s": 0.1}] * 3}
    assert f"at most {ramp.SEGMENTS_MAX}" in procedure(many).problems(LIMITS)[0]


SEGMENT_ERRORS = [
    ('kind = "ramp"\nto = 0.1', "a ramp needs either over_s or rate_per_s"),
    ('kind = "ramp"\nto = 0.1\nover_s = 1.0\nrate_per_s = 1.0', "a ramp needs either over_s or rate_per_s"),
    ('kind = "hold"\nfor_s = 0', "p.toml, line 5: segments[1].for_s = 0: must be between 0.001 and 600 s"),
    ('kind = "hold"\nfor_s = nan', "must be between 0.001 and 600 s"),
    ('kind = "hold"\nfor_s = true', "for_s = True: input should be a valid number"),
    ('kind = "step"\nto = 2\nfor_s = 1', "line 5: segments[1].to = 2: must be between -1 and 1"),
    ('kind = "wiggle"', "'wiggle'"),
    ('kind = "burst"\nchannel = "current_fine"\ncount = 100\npre = 100', "pre must be smaller than count"),
    ('kind = "hold"\nfor_s = 1\nwatch = { when = "current_above", value = 99 }', "must be between 0 and 60"),
    ('kind = "hold"\nforr_s = 1', "segments[1].for_s is missing"),
]


@pytest.mark.parametrize(("text", "sentence"), SEGMENT_ERRORS)
def test_malformed_segments_name_line_key_and_range(text: str, sentence: str) -> None:
    whole = f'# a comment\ntitle = "x"\n[[segments]]\n{text}\n'
    with pytest.raises(ProfileError) as caught:
        validate(Procedure, parse(whole, "p.toml"), whole, "p.toml")
    assert sentence in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_plan_passes_the_firmwares_own_check() -> None:
    plan = procedure(
        {"kind": "ramp", "to": 0.4, "rate_per_s": 0.1, "watch": {"when": "sensor_b_below", "value": 1.5}},
        {"kind": "hold", "for_s": 0.1},
        {"kind": "step", "to": -0.4, "for_s": 0.1},
        {"kind": "pulse", "drive": 0.5, "on_s": 0.02, "off_s": 0.03, "count": 4},
        {"kind": "pause", "for_s": 0.5},
        {"kind": "burst", "channel": "supply", "count": 100, "pre": 10, "rate_hz": 100_000},
    ).plan()
    rows = [conversion.segment_values(index, segment) for index, segment in enumerate(plan)]
    assert [ramp.check(values[1:]) for values in rows] == [0] * 6
    assert rows[0] == (0, ramp.RAMP, 4000, 4000, 0, 0, 0, 0, 6, ramp.WATCH_NEXT, 1500, 0, 0)
    assert rows[3][4:8] == (20, 30, 4, 0)
    assert rows[5][4:8] == (2, 100_000, 100, 10)


def test_watch_names_are_the_firmwares() -> None:
    for when in ramp.WATCH_NAMES[1:]:
        assert Watch(when=when, value=1.0).when == when
