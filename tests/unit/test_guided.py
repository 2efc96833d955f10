"""Guided procedures: the file's own consistency, and what answers and measurement say together."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from strokebench.data.findings import Finding, Verdict
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import diagnose
from strokebench.errors import DataError, ProfileError, UsageError
from strokebench.guided import guide_names, guided_profile, load_guide
from strokebench.guided.people import read_answers
from strokebench.parts import load_part, profile_of
from strokebench.parts.guide import Guide
from strokebench.parts.toml import validate
from strokebench.verdict import judge, overall, root_cause

STEPS = ("shut_before", "open_15", "open_30", "open_50", "shut_after")
WELL = {"shut_before": ("even", 0), "open_15": ("nothing", 15), "open_30": ("dips", 30),
        "open_50": ("stumbles", 50), "shut_after": ("even", 0)}  # fmt: skip
PROFILE = guided_profile(load_guide("egr-at-idle"), load_part("egr-motor"))


def run_of(told: dict[str, tuple[str, float]], outcome: str = "done") -> RunData:
    """Return a recording in which the valve stood at these positions (%) when these answers were given."""
    samples = empty(2000 * len(told))
    samples["time_s"] = np.arange(len(samples)) * 1e-3
    samples["supply_v"], samples["current_a"] = 12.5, 1.0
    marks, answers = [], []
    for number, (step, (answer, percent)) in enumerate(told.items()):
        rows = slice(2000 * number, 2000 * (number + 1))
        samples["sensor_a_v"][rows] = 0.9 + 3.2 * percent / 100
        samples["drive"][rows] = 0.0 if step.startswith("shut") else 0.75 if percent < 8 else 0.3
        marks.append(Mark(step, 2.0 * number, 2.0 * (number + 1), number, "hold"))
        if answer:
            answers.append({"step": step, "answer": answer, "question": "?", "text": answer,
                            "time_s": 2.0 * number + 1.9})  # fmt: skip
    return RunData(samples, marks, info={"answers": answers, "outcome": outcome})


Told = dict[str, tuple[str, float]]


def judged(told: Told, outcome: str = "done", amps: float = 1.0) -> tuple[dict[str, Finding], Verdict, str]:
    run = run_of(told, outcome)
    run.samples["current_a"] = amps
    findings = judge(diagnose(run, PROFILE))
    return (
        {finding.key: finding for finding in findings},
        overall(findings, PROFILE.required),
        root_cause(findings),
    )


def test_a_good_valve_passes() -> None:
    found, verdict, name = judged(WELL)
    assert (verdict, name) == (Verdict.PASS, "")
    assert found["valve_opening"].value == pytest.approx(50, abs=0.5)
    told = found["gas_passes"].evidence["answers"]
    assert [answer["answer"] for answer in told] == ["nothing", "dips", "stumbles"]


NOTHING = {f"open_{n}": ("nothing", n) for n in (15, 30, 50)}
CASES: dict[str, tuple[dict[str, tuple[str, float]], str]] = {
    "opens, engine does not notice": (WELL | NOTHING, "passage_blocked"),
    "rough at zero, stands open": (
        {step: (answer, percent + 12) for step, (answer, percent) in WELL.items()}
        | {"shut_before": ("rough", 12), "shut_after": ("rough", 12)},
        "carbon_seat",
    ),
    "does not come back": (WELL | {"shut_after": ("rough", 18)}, "no_return"),
    "back, but the engine stays rough": (WELL | {"shut_after": ("rough", 0)}, "seat_leaks"),
    "stalls for good after closing": (WELL | {"shut_after": ("off", 0)}, "seat_leaks"),
    "never leaves the seat": (WELL | dict.fromkeys(NOTHING, ("nothing", 1)), "stuck_shut"),
    "engine notices, sensor does not": (WELL | dict.fromkeys(NOTHING, ("stumbles", 1)), "track_dead"),
}


@pytest.mark.parametrize("name", CASES)
def test_each_defect_by_its_name(name: str) -> None:
    told, defect = CASES[name]
    _found, verdict, cause = judged(told)
    assert (verdict, cause) == (Verdict.FAIL, defect)


def test_without_current_it_is_the_circuit() -> None:
    _found, verdict, cause = judged(WELL | dict.fromkeys(NOTHING, ("nothing", 0)), amps=0.002)
    assert (verdict, cause) == (Verdict.FAIL, "open_winding")


UNSURE = {
    "rough before, sensor says shut: other causes": WELL
    | {"shut_before": ("rough", 0), "shut_after": ("rough", 0)},
    "no answer and hardly open": WELL
    | {"open_15": ("nothing", 12), "open_30": ("nothing", 14), "open_50": ("nothing", 20)},
}


@pytest.mark.parametrize("name", UNSURE)
def test_where_answers_and_measurement_do_not_settle_it_nothing_is_judged(name: str) -> None:
    _found, verdict, cause = judged(UNSURE[name])
    assert (verdict, cause) == (Verdict.INCONCLUSIVE, "")


def test_a_position_within_its_uncertainty_of_the_threshold_settles_nothing() -> None:
    """The rule asks for more than 35 %; 35.1 % with the sensor's uncertainty is not more."""
    found, _verdict, _cause = judged(WELL | NOTHING | {"open_50": ("nothing", 35.1)})
    assert found["gas_passes"].verdict is Verdict.INCONCLUSIVE


def test_a_test_cut_short_is_never_a_pass() -> None:
    told = dict(list(WELL.items())[:3]) | {"open_50": ("", 50.0)}
    for outcome in ("nobody answered", "stopped", "interrupted", "fault"):
        found, verdict, _cause = judged(told, outcome)
        assert verdict is Verdict.INCONCLUSIVE
        assert outcome in found["answers_given"].reason
        assert "What did the engine do?" in found["answers_given"].reason


def test_the_profile_survives_the_book() -> None:
    stored = PROFILE.model_dump(mode="json", exclude_none=True)
    assert profile_of(stored, "run 1") == PROFILE


def test_a_part_of_another_kind_is_refused() -> None:
    with pytest.raises(UsageError, match="not for parts of kind 'wiring'"):
        guided_profile(load_guide("egr-at-idle"), load_part("wiring"))
    with pytest.raises(UsageError, match="no guided procedure called"):
        load_guide("nonsense")


@pytest.mark.parametrize("name", guide_names())
def test_every_procedure_starts_and_ends_without_drive_and_says_where_its_rules_come_from(name: str) -> None:
    guide = load_guide(name)
    first, last = guide.steps[0], guide.steps[-1]
    assert (first.open_to, first.drive, last.open_to, last.drive) == (None, 0, None, 0)
    assert all(rule.source for rule in (*guide.readings, *guide.conclusions))
    guided_profile(guide, load_part(guide.part))


def spoiled(change: Any) -> dict[str, Any]:
    table = copy.deepcopy(load_guide("egr-at-idle").model_dump(mode="json", exclude_none=True))
    change(table)
    return table


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda t: t["steps"][1]["choices"][2].update(goto="shut_before"), "no later step"),
        (lambda t: t["steps"][1].update(id="shut_before"), "same id"),
        (lambda t: t["conclusions"][0]["rules"][0].update(any_of={"shut_before": ["no"]}), "does not offer"),
        (lambda t: t["readings"][0].update(steps=["nowhere"]), "not there"),
        (lambda t: t.update(cautions=[]), "cautions"),
    ],
)
def test_a_contradicting_file_is_refused(change: Any, word: str) -> None:
    with pytest.raises(ProfileError, match=word):
        validate(Guide, spoiled(change), "", "x.toml")


@pytest.mark.parametrize(
    ("line", "word"), [("open_99 = 'dips'", "no step"), ("open_15 = 'blue'", "no answer")]
)
def test_wrong_answers_are_told(line: str, word: str, tmp_path: Path) -> None:
    path = tmp_path / "answers.toml"
    path.write_text(line)
    with pytest.raises(DataError, match=word):
        read_answers(path, load_guide("egr-at-idle"))
