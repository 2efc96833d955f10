"""Is a part connected as drawn? Simulated parts with leads on wrong pins, and plugs that nobody knows."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator

import pytest
from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.spec import SimSpec
from strokebench.cli import main
from strokebench.connect import check, explain, finder, model, plug
from strokebench.connect.check import Result
from strokebench.parts import load_part, part_names
from strokebench.sim.board.wires import PINS, WIRE
from strokebench.sim.clips import Clips

WITH_SENSOR = [name for name in part_names() if load_part(name).tracks]


def troubles(wiring: dict[str, str]) -> tuple[str, ...]:
    """Return what makes a simulated bench wired like this."""
    return tuple(f"{WIRE}{lead}={PINS.index(pin) + 1 if pin else 0}" for lead, pin in wiring.items())


def right(part: str) -> dict[str, str]:
    return {each.lead: each.pin for each in plug.drawn(load_part(part))}


def swapped(part: str, first: str, second: str) -> dict[str, str]:
    drawn = right(part)
    return {**drawn, first: drawn[second], second: drawn[first]}


def checked(part: str, wiring: dict[str, str], seed: int, **more: object) -> Result:
    """Return what the check says of a simulated part that is wired like this."""
    profile = load_part(part)
    spec = SimSpec(part, seed=seed, bench_faults=troubles(wiring), **more)  # type: ignore[arg-type]
    with open_bench(sim=spec) as bench:
        result = check.at_rest(bench, profile)
        return check.by_moving(bench, profile, result) if result.as_drawn is None else result


def said(part: str, wiring: dict[str, str]) -> str:
    return explain.sentence(load_part(part), wiring)


@pytest.mark.parametrize("family", ["first", "second"])
@pytest.mark.parametrize("part", WITH_SENSOR)
def test_a_good_part_is_connected_as_drawn(part: str, family: str) -> None:
    profile = load_part(part)
    with open_bench(sim=SimSpec(part, seed=31, family=family)) as bench:
        result = check.by_moving(bench, profile, check.at_rest(bench, profile))
        assert bench.status().state == "ready"
    assert result.as_drawn, result.sentences


FOUR = (("out_a", "out_b"), ("feed", "ground"), ("sensor_a", "sensor_b"), ("ground", "sensor_a"))


@pytest.mark.parametrize("pair", FOUR, ids="-".join)
def test_a_throttle_body_connected_wrongly_in_four_ways(
    pair: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Each wrong wiring is named; the leads put back, the same command says "connected as drawn"."""
    wiring = swapped("throttle-body", *pair)
    common = ["connect", "throttle-body", "--sim", "--yes", "--seed", "32", "--json"]
    options = [word for text in troubles(wiring) for word in ("--trouble", text)]
    assert main([*common, *options]) == 1
    result = json.loads(capsys.readouterr().out)
    assert result["as_drawn"] is False
    assert said("throttle-body", wiring) in " ".join(result["sentences"]).replace("Or: ", "")
    assert main(common) == 0
    assert json.loads(capsys.readouterr().out)["as_drawn"] is True


def single_mistakes(part: str) -> Iterator[dict[str, str]]:
    drawn = right(part)
    yield from ({**drawn, lead: ""} for lead in drawn)
    yield from (swapped(part, *pair) for pair in itertools.combinations(drawn, 2))


def reads_as_drawn(part: str, wiring: dict[str, str]) -> bool:
    """A coil has no polarity."""
    return load_part(part).kind in plug.ONE_WAY and wiring == swapped(part, "out_a", "out_b")


@pytest.mark.slow
@pytest.mark.parametrize("part", WITH_SENSOR)
def test_every_single_mistake_is_seen_and_the_true_one_is_among_those_named(part: str) -> None:
    """A lead left off, or two leads swapped."""
    profile = load_part(part)
    for wiring in single_mistakes(part):
        result = checked(part, wiring, seed=33)
        assert bool(result.as_drawn) is reads_as_drawn(part, wiring), (wiring, result)
        if result.as_drawn or result.seen is None:
            continue
        found = explain.explaining(profile, result.seen)
        named = said(part, wiring) in result.sentences or wiring in found
        assert named, (wiring, result.sentences)


@pytest.mark.slow
@pytest.mark.parametrize("part", [name for name in part_names() if name not in WITH_SENSOR])
def test_no_wrong_wiring_of_a_part_without_a_sensor_is_taken_for_the_drawn_one(part: str) -> None:
    """An open circuit is named; what the bench cannot see stays unknown, or a person is asked for it."""
    profile = load_part(part)
    for wiring in single_mistakes(part):
        result = checked(part, wiring, seed=33)
        assert bool(result.as_drawn) is reads_as_drawn(part, wiring), (wiring, result)
        off = [lead for lead in ("out_a", "out_b") if wiring[lead] not in plug.POWER]
        if off:
            assert result.as_drawn is False and "No current flows" in result.sentences[0], (wiring, result)
        elif not result.as_drawn:
            asked = check.question(profile, result) == "polarity"
            assert asked or result.to_do.startswith("Run the procedure"), (wiring, result)


def mirrored(part: str, wiring: dict[str, str]) -> bool:
    """Feed and ground swapped, and both signals: the tracks mirror each other, so it is the same circuit."""
    drawn = right(part)
    turn = {"feed": "ground", "ground": "feed", "signal_a": "signal_b", "signal_b": "signal_a"}
    return wiring == {lead: turn.get(pin, pin) for lead, pin in drawn.items()}


@pytest.mark.long
def test_no_wrong_wiring_of_a_throttle_body_is_taken_for_the_drawn_one() -> None:
    """All 719 ways to put six leads on six pins wrongly."""
    drawn = right("throttle-body")
    taken = []
    for pins in itertools.permutations(drawn.values()):
        wiring = dict(zip(drawn, pins, strict=True))
        if wiring != drawn and checked("throttle-body", wiring, seed=34).as_drawn:
            taken.append(wiring)
    assert [each for each in taken if not mirrored("throttle-body", each)] == []


@pytest.mark.parametrize("part", [name for name in part_names() if name not in WITH_SENSOR])
def test_a_part_without_a_sensor_is_asked_about_where_the_bench_sees_nothing(
    part: str, capsys: pytest.CaptureFixture[str]
) -> None:
    kind = load_part(part).kind
    code = main(["connect", part, "--sim", "--json"])
    result = json.loads(capsys.readouterr().out)
    coil = kind in plug.ONE_WAY
    assert (code, result["as_drawn"]) == ((0, True) if coil else (3, None))
    assert main(["connect", part, "--sim", "--json", "--trouble", "leads_off"]) == 1
    assert "No current flows" in capsys.readouterr().out


def test_a_jammed_part_is_not_taken_for_a_wrong_wire() -> None:
    profile = load_part("egr-solenoid")
    with open_bench(sim=SimSpec("egr-solenoid", seed=35, faults=("stuck_shut",))) as bench:
        result = check.by_moving(bench, profile, check.at_rest(bench, profile))
    assert result.as_drawn is False and "nothing moves" in result.sentences[-1]


def test_a_feed_that_the_winding_shorts_is_seen_although_the_bench_woke_up_with_it() -> None:
    """The fault was held since power-up, and the self-test refused."""
    drawn = right("throttle-body")
    crossed = dict(zip(drawn, ["feed", "ground", *plug.POWER, "signal_b", "signal_a"], strict=True))
    result = checked("throttle-body", crossed, seed=34)
    assert result.as_drawn is False and "5 V feed reads 0.11 V" in result.sentences[0]


def test_a_cause_in_the_bench_is_an_error(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["connect", "solenoid", "--sim", "--json", "--trouble", "estop"]) == 4
    assert "emergency" in capsys.readouterr().out


def found_on(bench: Bench, part: str) -> tuple[finder.Found, Clips]:
    profile = load_part(part)
    board = bench.link.port.board  # type: ignore[attr-defined]
    clips = Clips(board, [each.pin for each in plug.drawn(profile)])

    def ohms(red: str, black: str) -> float:
        clips.put(red, black)
        return finder.ohms_now(bench)

    return finder.find(profile, clips.names, ohms), clips


@pytest.mark.parametrize("seed", range(41, 47))
@pytest.mark.parametrize("part", ["throttle-body", "egr-motor", "egr-solenoid", "fuel-pump", "solenoid"])
def test_the_pins_of_an_unknown_plug_are_found(part: str, seed: int) -> None:
    with open_bench(sim=SimSpec(part, seed=seed)) as bench:
        found, clips = found_on(bench, part)
    roles = clips.role_of
    assert {roles[pin] for pin in found.winding} == set(plug.POWER) and not found.sentences
    if load_part(part).tracks:
        truth = {role: pin for pin, role in roles.items() if role not in plug.POWER}
        assert truth in found.sensor and len(found.sensor) <= 2


def test_the_probe_sends_a_harmless_current() -> None:
    """The worst case is two clips that touch: all of the feed across the resistor."""
    assert model.FEED_V / finder.PROBE_OHM < 1.1e-3


def test_a_short_to_the_case_is_found() -> None:
    with open_bench(sim=SimSpec("throttle-body", seed=48, bench_faults=("case_short=2",))) as bench:
        found, _clips = found_on(bench, "throttle-body")
    assert found.case_ohm < 20 and not found.complete and "touches the case" in found.sentences[0]


@pytest.mark.parametrize("part", ["throttle-body", "egr-motor"])
def test_an_open_winding_is_said(part: str) -> None:
    with open_bench(sim=SimSpec(part, seed=49, faults=("open_winding",))) as bench:
        found, _clips = found_on(bench, part)
    assert not found.winding and "winding is open" in found.sentences[0]


@pytest.mark.parametrize("part", WITH_SENSOR)
def test_from_an_unknown_plug_to_connected_as_drawn(part: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Which of the two pins of a motor opens, only the last step shows."""
    code = main(["connect", part, "--sim", "--find", "--yes", "--seed", "51"])
    shown = capsys.readouterr().out
    assert "Connected as drawn." in shown or "Output A and output B are swapped." in shown
    assert code == (0 if "Connected as drawn." in shown else 1)


def test_the_drawing_names_every_lead_and_its_line_is_known_without_colour(
    capsys: pytest.CaptureFixture[str],
) -> None:
    from xml.etree import ElementTree

    from strokebench.connect import drawing

    for name in part_names():
        profile = load_part(name)
        text = "".join(ElementTree.fromstring(drawing.drawing(profile)).itertext())
        for each in plug.drawn(profile):
            assert each.name in text and plug.LEADS[each.lead] in text
    looks = [look[1:] for look in drawing.LOOKS.values()]
    assert len(set(looks)) == len(looks)
    assert main(["connect", "--json"]) == 0
    assert set(json.loads(capsys.readouterr().out)) == set(part_names())


def test_a_person_answers_at_the_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("strokebench.commands.bench.connect.ask", lambda text: asked.append(text) or "")
    monkeypatch.setattr("strokebench.commands.bench.connect.yes", lambda text: asked.append(text) is not None)
    assert main(["connect", "egr-motor", "--sim"]) == 3
    assert "hands clear" in asked[1] and "was not moved" in capsys.readouterr().out


def test_the_pin_finder_needs_somebody_who_moves_the_clips(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = open_bench(sim=SimSpec("solenoid"))
    monkeypatch.setattr("strokebench.commands.bench.connect.open_chosen", lambda args, part: bench)
    assert main(["connect", "solenoid", "--find", "--port", "none"]) == 2
    assert "needs somebody at a terminal" in capsys.readouterr().err


def test_a_person_moves_the_clips(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a real bench: the sentences say where the clips go, an Enter says that they are there."""
    bench = open_bench(sim=SimSpec("solenoid", seed=61))
    clips = Clips(bench.link.port.board, plug.POWER)  # type: ignore[attr-defined]
    asked: list[str] = []

    def hands(text: str) -> str:
        asked.append(text)
        if text.startswith("Red clip on pin"):
            words = text.split(". ")[0].split(", ")
            black = words[1].removeprefix("black clip on ")
            clips.put(
                words[0].removeprefix("Red clip on pin "),
                black.removeprefix("pin ") if "pin" in black else "case",
            )
        else:
            clips.connect({"out_a": "1", "out_b": "2"})
        return ""

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("strokebench.commands.bench.connect.ask", hands)
    monkeypatch.setattr("strokebench.commands.bench.connect.open_chosen", lambda args, part: bench)
    assert main(["connect", "solenoid", "--find", "--port", "none"]) == 0
    assert "Connected as drawn." in capsys.readouterr().out
    assert "bare metal of the case" in asked[-2] and "Take the clips off" in asked[-1]
