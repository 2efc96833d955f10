"""The strap makes the emulated chip a small bench, whose current reads with its own ranges."""

from __future__ import annotations

from contextlib import closing

import pytest
from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.sim import open_port
from strokebench.sim.chip.machine import ChipUnavailable

pytestmark = [pytest.mark.chip, pytest.mark.extras]


def test_the_strap_says_small_bench_and_its_zero_is_a_tenth() -> None:
    try:
        port = open_port(SimSpec("solenoid", engine="chip", bench="small"))
    except ChipUnavailable as why:
        pytest.skip(str(why))
    with closing(port), Bench(port, "chip", "chip") as bench:
        mine = bench.identity
        assert (mine.board, mine.current_max_a, mine.current_mean_a) == ("small bench", 6.0, 5.0)
        assert abs(bench.status().current_a) < 0.01
