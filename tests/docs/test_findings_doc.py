"""The page of findings is made of the declarations, and every finding that a part can have is on it."""

from __future__ import annotations

import ast
import json
from dataclasses import replace
from pathlib import Path

import pytest
import strokebench.diagnose
from strokebench.cli import main
from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.defects import DEFECTS
from strokebench.diagnose.explained import explained, explanations
from strokebench.diagnose.registry import KINDS
from strokebench.panel.pages.findings import findings_table
from strokebench.panel.tags import Element
from strokebench.parts import load_part, part_names
from strokebench.report.content import rows
from strokebench.sim import SimSpec, trials
from strokebench.verdict.about import causes, usual
from strokebench.verdict.examine import examine
from tools.pages.findings import page

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "findings.md"
DECLARED = {key for kind in KINDS.values() for question in kind.questions for key in question.keys}


def test_committed_page_is_the_generated_one() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python -m tools.pages.findings"


def test_every_declared_finding_is_explained_once_and_no_other() -> None:
    keys = [key for about in explanations() for key in about.keys]
    assert sorted(keys) == sorted(DECLARED)
    text = page()
    for key in keys:
        assert f"{{ #{key} }}" in text or f'<a id="{key}"></a>' in text


def test_titles_are_the_programs() -> None:
    package = Path(str(strokebench.diagnose.__file__)).parent
    trees = [ast.parse(file.read_text(encoding="utf-8")) for file in package.rglob("*.py")]
    strings = {node.value for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Constant)}
    for about in explanations():
        shapes = {about.title, about.title.replace("Track A", "Track {}"), about.title.replace("Closed", "")}
        shapes |= {about.title.removeprefix("Supply side")}
        assert bool(about.also_title) == (len(about.keys) == 2), about.title
        assert shapes & strings, about.title


def test_what_a_finding_points_to_has_a_name_and_a_check() -> None:
    named = {name for about in explanations() for names in causes(about).values() for name in names}
    assert named <= set(DEFECTS)
    limited = {key for name in part_names() for key in load_part(name).findings}
    bare = {"recording_gaps"}
    assert [a.keys for a in explanations() if limited & {*a.keys} - bare and not causes(a)] == []


def test_sides_are_those_on_which_the_injected_defects_are() -> None:
    """A severe defect that brings a finding out of its limits does so on the side that is declared."""
    compared = 0
    for about in explanations():
        bare = replace(about, low=(), high=(), either=())
        for side, names in causes(bare).items():
            for name in set(names) & set(about.points_to):
                assert about.points_to[name] in (side, "either"), (about.keys, name)
                compared += 1
    assert compared >= 40


def test_second_of_a_pair_has_its_own_title(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["finding", "track_b_noise"]) == 0
    assert capsys.readouterr().out.startswith("Track B: noise")


def test_a_range_of_a_count_is_whole_and_a_side_without_limits_says_so() -> None:
    about = explained("track_a_dropouts")
    assert about is not None and {row.good_text for row in usual(about)} == {"0"}
    assert "no limits" in page() and "Above 2 %" in page()


def test_units_and_usual_values_are_those_of_a_run() -> None:
    data, profile, _ = trials.stroke(SimSpec("solenoid", seed=5))
    findings, _ = examine(data, profile)
    known = {finding.key: finding for finding in findings if finding.known}
    compared = 0
    for key, finding in known.items():
        about = explained(key)
        assert about is not None
        assert about.unit_of.get(profile.kind, about.unit) == finding.unit, key
        for row in usual(about):
            if row.part == "solenoid" and row.key == key and row.good:
                width = row.good[1] - row.good[0]
                assert row.good[0] - width <= finding.value <= row.good[1] + width, key
                compared += 1
    assert compared >= 8


def test_report_and_panel_say_what_a_finding_means() -> None:
    finding = Finding("friction", "Dry friction", 0.9, 0.02, "A", upper=0.63, verdict=Verdict.FAIL)
    about = explained("friction")
    assert about is not None
    ((_, (row,)),) = rows([finding], "throttle")
    assert about.means in row.about and about.measured in row.about and row.key == "friction"
    with Element("div") as place:
        findings_table([finding])
    assert f'title="{about.means}"' in place.inner


def test_command_explains_one_and_lists_all(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["finding", "friction"]) == 0
    shown = capsys.readouterr().out
    assert "Dry friction" in shown and "throttle-body" in shown and "Clean" in shown
    assert main(["finding", "--json"]) == 0
    assert set(json.loads(capsys.readouterr().out)) == DECLARED
    assert main(["finding", "nothing"]) == 2
