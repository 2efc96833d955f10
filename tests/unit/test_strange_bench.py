"""Messages with a right checksum that no bench should send: a sentence, no traceback, and the part off."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import pytest
from pytest_mock import MockerFixture
from strokebench.bench.bench import Bench
from strokebench.errors import VersionMismatch
from strokebench.link.conversion import event_text, logged_event
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Procedure
from strokefw import state
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, row

ROOT = Path(__file__).resolve().parents[2]
LIMITS = Limits(
    current_max_a=10, current_mean_a=8, drive_min=-0.5, drive_max=0.6, stall_a=3, stall_s=2,
    i2t_part_a2s=100, i2t_part_rest_a=3,
)  # fmt: skip
PROCEDURE = Procedure.model_validate({"segments": [{"kind": "pause", "label": "rest", "for_s": 0.1}]})


def fuzzer() -> Any:
    spec = importlib.util.spec_from_file_location("fuzz_decoder", ROOT / "tests" / "fuzz" / "fuzz_decoder.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


FOUND = [
    bytes((0, 0x62, 0, 1, 3, 4, 2, 5, 6, 7, 8, 9, 10, 11)),  # a change from a state that there is not
    bytes((0, 0x62)) + wire.pack(0x62, 5, state.EVENT_RUN_END, 200, 0, 0),
    bytes((0, 0x62)) + wire.pack(0x62, 5, state.EVENT_SEGMENT, 200, 0, 0),
    bytes((0, 0x62)) + wire.pack(0x62, 5, 250, 0, 0, 0),
    bytes((0, 0x50)) + wire.pack_row(0x50, 5, 250, 0, 0, 0),
    bytes((0, 0x43)) + b"\xff" * wire.struct.calcsize(wire.FORMAT[0x43]),
]
"""What the coverage-guided search found, and its neighbours."""


@pytest.mark.parametrize("data", FOUND, ids=range(len(FOUND)))
def test_what_the_search_found_stays_found(data: bytes) -> None:
    fuzzer().check(data)


def test_the_searchs_own_check_can_fail(mocker: MockerFixture) -> None:
    module = fuzzer()

    def careless(kind: int, code: int, index: int, detail: int) -> str:
        return state.NAMES[index]

    mocker.patch.object(module, "event_text", careless)
    with pytest.raises(IndexError):
        module.check(FOUND[0])


def test_numbers_without_a_name_are_told_as_numbers() -> None:
    assert event_text(state.EVENT_STATE, 9, 2, 0) == "From ready to state 9."
    assert event_text(state.EVENT_RUN_END, 9, 0, 0) == "The run ended: reason 9."
    assert logged_event(1000, 77, 1, 2, 3).kind == "event 77"


STRANGE = [
    ("event", (5, state.EVENT_SEGMENT, 5, 1, 0), b""),  # of a procedure with one segment
    ("event", (5, state.EVENT_RUN_END, 4, 0, 0), b""),
    ("samples", (0, 3, 0), row(1) + row(2)),
    ("samples", (0, 0, 0), b""),
    ("burst", (0, 13, 1000, 5, 0, 0), b""),
    ("burst", (0, 1, 0, 5, 0, 0), b""),
]


@pytest.mark.parametrize(("name", "values", "tail"), STRANGE, ids=range(len(STRANGE)))
def test_a_run_that_is_told_nonsense_ends_with_a_sentence(
    name: str, values: tuple[int, ...], tail: bytes
) -> None:
    port = FakePort()
    bench = Bench(port)
    bench.set_limits(LIMITS)
    bench.arm()
    run = bench.run(PROCEDURE)
    port.say(name, *values, tail=tail)
    with pytest.raises(VersionMismatch, match="reported something impossible"):
        list(run)
    assert "stop" in port.asked()
    assert run.outcome == "cut"
