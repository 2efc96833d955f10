"""Cautions: shown, and nothing is driven before somebody has acknowledged them where the part asks for it."""

from __future__ import annotations

import pytest
from pytest_mock import MockerFixture
from strokebench.errors import UsageError
from strokebench.parts import load_part, part_names
from strokebench.parts.profile import NO_ALTERNATOR
from strokebench.terminal.cautions import acknowledged


@pytest.mark.parametrize("part", ["fuel-pump", "fuel-pump-fuse", "water-pump", "cooling-fan"])
def test_what_turns_must_be_acknowledged(part: str) -> None:
    assert load_part(part).part.acknowledge


@pytest.mark.parametrize("part", ["fuel-pump", "fuel-pump-fuse"])
def test_fuel_pumps_warn_of_vapour_and_of_running_dry(part: str) -> None:
    text = " ".join(load_part(part).part.cautions).lower()
    assert "vapour" in text and "never run the pump dry" in text


def test_every_part_has_cautions() -> None:
    assert [name for name in part_names() if not load_part(name).part.cautions] == []


def test_a_real_bench_without_a_person_is_refused(
    mocker: MockerFixture, capsys: pytest.CaptureFixture[str]
) -> None:
    mocker.patch("sys.stdin.isatty", return_value=False)
    with pytest.raises(UsageError, match="must be acknowledged"):
        acknowledged(load_part("fuel-pump"), given=False, simulated=False)
    shown = " ".join(capsys.readouterr().err.split())
    assert "Fuel vapour" in shown and NO_ALTERNATOR in shown


@pytest.mark.parametrize(("answer", "good"), [("yes", True), (" YES ", True), ("y", False), ("", False)])
def test_a_person_is_asked(mocker: MockerFixture, answer: str, good: bool) -> None:
    mocker.patch("sys.stdin.isatty", return_value=True)
    profile = load_part("cooling-fan")
    if good:
        assert acknowledged(profile, given=False, simulated=False, ask=lambda _: answer) == "by answer"
    else:
        with pytest.raises(UsageError, match="nothing was driven"):
            acknowledged(profile, given=False, simulated=False, ask=lambda _: answer)


def test_the_option_and_the_simulation_need_no_answer(capsys: pytest.CaptureFixture[str]) -> None:
    profile = load_part("fuel-pump")
    assert acknowledged(profile, given=True, simulated=False) == "by option"
    assert acknowledged(profile, given=False, simulated=True) == "simulated, taken as read"
    assert capsys.readouterr().err.count("Never run the pump dry") == 2


def test_other_parts_are_not_asked_for() -> None:
    assert acknowledged(load_part("throttle-body"), given=False, simulated=False) == ""


def test_jog_asks_too(capsys: pytest.CaptureFixture[str]) -> None:
    from strokebench.cli import main

    assert main(["jog", "fuel-pump", "--port", "/dev/no-such-bench"]) == 2
    assert "must be acknowledged" in capsys.readouterr().err
