"""A question is declared once, beside its ``find``; nothing is asked or answered that is not declared."""

from __future__ import annotations

import importlib
import pkgutil
from types import ModuleType
from typing import Any

import pytest
import strokebench.diagnose
from strokebench.data.run import RunData
from strokebench.data.samples import empty
from strokebench.diagnose.question import CHANNELS, DERIVED, GROUPS, Question
from strokebench.diagnose.registry import KINDS, OTHER
from strokebench.guided import guided_profile, load_guide
from strokebench.parts import load_part, part_names
from strokebench.parts.profile import Profile

WHOLE: dict[str, Any] = {"needs": "current", "group": "Times", "keys": ("a",)}


def modules() -> list[ModuleType]:
    package = strokebench.diagnose
    names = [found.name for found in pkgutil.walk_packages(package.__path__, package.__name__ + ".")]
    return [importlib.import_module(name) for name in names]


def profiles() -> list[Profile]:
    guide = guided_profile(load_guide("egr-at-idle"), load_part("egr-motor"))
    return [*map(load_part, part_names()), guide]


def declared(profile: Profile) -> set[str]:
    keys = {key for question in KINDS[profile.kind].questions for key in question.keys}
    guide = profile.guided
    return keys | ({asked.key for asked in (*guide.readings, *guide.conclusions)} if guide else set())


def test_who_finds_declares_a_question_and_who_declares_one_finds() -> None:
    finders = {module.__name__ for module in modules() if callable(getattr(module, "find", None))}
    assert finders == {module.__name__ for module in modules() if hasattr(module, "QUESTION")}
    assert len(finders) > 30


def test_every_finder_is_asked_of_some_kind_of_part() -> None:
    finders = {module.__name__ for module in modules() if hasattr(module, "QUESTION")}
    in_use = {finder for kind in KINDS.values() for finder in (*kind.finders, *kind.alone)}
    assert {getattr(finder, "__name__", "") for finder in in_use} == finders


def test_every_kind_of_part_is_tried_here() -> None:
    assert {profile.kind for profile in profiles()} == set(KINDS)


@pytest.mark.parametrize("missing", sorted(WHOLE))
def test_a_question_that_lacks_a_declaration_is_none(missing: str) -> None:
    with pytest.raises(TypeError, match=missing):
        Question(**{name: value for name, value in WHOLE.items() if name != missing})


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"needs": "current curent"}, "unknown channels in a question: curent"),
        ({"needs_by_key": {"a": "volt"}}, "unknown channels in a question: volt"),
        ({"group": "Time"}, "unknown groups in a question: Time"),
        ({"group_by_key": {"a": OTHER}}, "unknown groups in a question: Other"),
        ({"group_by_key": {"b": "Times"}}, "unknown keys in a question: b"),
        ({"needs_by_key": {"b": "volts"}}, "unknown keys in a question: b"),
        ({"not_of_part": ("b",)}, "unknown keys in a question: b"),
    ],
)
def test_a_question_about_what_does_not_exist_is_none(wrong: dict[str, Any], sentence: str) -> None:
    assert Question(**WHOLE).group_of("a") == "Times"
    with pytest.raises(ValueError, match=sentence):
        Question(**{**WHOLE, **wrong})


@pytest.mark.parametrize("name", sorted(KINDS))
def test_a_case_works_out_what_its_questions_need(name: str) -> None:
    kind = KINDS[name]
    needed = {
        need
        for question in kind.questions
        for needs in (question.needs, *question.needs_by_key.values())
        for need in needs.split()
        if need in DERIVED
    }
    assert needed <= set(kind.case.derived)
    assert {channel for channels in kind.case.derived.values() for channel in channels} <= set(CHANNELS)


@pytest.mark.parametrize("name", sorted(KINDS))
def test_a_key_stands_in_one_group(name: str) -> None:
    kind = KINDS[name]
    for question in kind.questions:
        for key in question.keys:
            assert kind.group_of(key) == question.group_of(key) in GROUPS, key


@pytest.mark.parametrize("profile", profiles(), ids=lambda profile: profile.name)
def test_a_question_answers_with_its_own_keys_even_without_a_recording(profile: Profile) -> None:
    kind = KINDS[profile.kind]
    case = kind.case(RunData(empty(0)), profile)
    for finder in kind.finders:
        answered = {finding.key for finding in finder.find(case)}
        assert answered, finder
        assert answered <= (declared(profile) if finder.QUESTION.of_guide else set(finder.QUESTION.keys))


@pytest.mark.parametrize("profile", profiles(), ids=lambda profile: profile.name)
def test_limits_are_set_for_findings_that_are_asked_for(profile: Profile) -> None:
    assert set(profile.findings) <= declared(profile)
    assert all(KINDS[profile.kind].group_of(key) != OTHER for key in profile.findings)


def test_a_key_that_nobody_declares_stands_apart() -> None:
    assert KINDS["throttle"].group_of("of another version") == OTHER
    assert KINDS["throttle"].group_of("friction") == "Friction and spring"
