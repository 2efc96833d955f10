"""Faults near the hardware, raised on the emulated chip: which code comes, and how soon the bridge is off."""

from __future__ import annotations

import pytest
from strokebench.sim.chip.machine import ChipUnavailable
from strokefw import faults
from tools.chip.fault_causes import DRIVEN, HOT, READY, ChipCause
from tools.chip.fault_report import ALIVE_MS, BOARD_WATCHDOG_MS, PHASES, Findings, measure
from tools.chip.faults import FaultBench

pytestmark = [pytest.mark.chip, pytest.mark.long]
CUT_NS = 64
FEED_MS = 4.0
"""The tick feeds the board's watchdog every fourth time."""
RESET_MS = 1000.0
"""The chip's own watchdog, docs/decisions/pwm-and-trip.md."""


@pytest.fixture(scope="module")
def found() -> Findings:
    """Everything raised in turn on one chip: it takes minutes to boot."""
    try:
        bench = FaultBench()
    except ChipUnavailable as why:
        pytest.skip(f"emulated chip: {why}")
    return measure(bench)


def _name(cause: ChipCause) -> str:
    return str(faults.row(cause.code)[1])


@pytest.mark.parametrize("cause", [*DRIVEN, HOT], ids=_name)
def test_off_in_time_while_driven(found: Findings, cause: ChipCause) -> None:
    outcome = found.driven[cause.code]
    print(f"{cause.what}: {outcome.code}, {outcome.off_ms} ms, {outcome.status.state}")
    assert outcome.code == cause.code
    assert outcome.off_ms is not None and cause.least_ms <= outcome.off_ms <= cause.most_ms
    if faults.LATCHED[cause.code]:
        assert outcome.status.state == "latched" and outcome.status.fault == cause.code
    else:
        assert outcome.status.state == "ready"


@pytest.mark.parametrize("cause", READY, ids=_name)
def test_latched_with_the_bridge_off(found: Findings, cause: ChipCause) -> None:
    outcome = found.ready[cause.code]
    assert outcome.code == outcome.status.fault == cause.code
    assert outcome.status.state == "latched" and outcome.off_ms is None


def test_first_cut_while_the_firmware_drives(found: Findings) -> None:
    print("first cut ns", found.cut_ns)
    assert len(found.cut_ns) == PHASES
    assert all(0 < delay <= CUT_NS for delay in found.cut_ns)


def test_the_boards_watchdog_starves_when_the_main_loop_hangs(found: Findings) -> None:
    fed_ms = found.main_loop.fed_ms
    print("main loop hangs: last fed after", fed_ms, "then", found.main_loop.cause)
    assert 0 < fed_ms <= ALIVE_MS + FEED_MS  # so off by BOARD_WATCHDOG_MS later, docs/safety.md: about 110 ms


def test_both_watchdogs_when_the_processor_hangs(found: Findings) -> None:
    """Interrupts off and an endless loop: the board's one-shot first, then the chip's own resets it."""
    hung = found.processor
    print("processor hangs: last fed after", hung.fed_ms, "pins low after", hung.low_ms)
    assert -FEED_MS - 1 <= hung.fed_ms <= 0  # off by 10 ms after the last tick
    assert BOARD_WATCHDOG_MS < RESET_MS
    assert hung.low_ms is not None and hung.low_ms <= RESET_MS
    assert hung.quiet
    assert hung.cause == "watchdog"


def test_no_pulse_on_any_gate_after_a_watchdog_reset_until_a_computer_asks(found: Findings) -> None:
    """The bench has been greeted and has limits; its state machine's side is in tests/firmware."""
    assert found.processor.cause == "watchdog" and found.processor.quiet and found.processor.still


def test_without_supply_the_pins_are_low_until_the_firmware_is_back(found: Findings) -> None:
    assert found.reset.low_ms == 0.0
    assert found.reset.quiet
    assert found.reset.cause == "power-on"
