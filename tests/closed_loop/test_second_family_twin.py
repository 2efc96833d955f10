"""The compiled twin of a bench with a part of the second family says the same bytes as the plain one."""

from __future__ import annotations

import pytest
from strokebench.bench.spec import SimSpec
from tools.evidence.fingerprint import DEFECTS

pytest.importorskip("llvmlite", reason="the extra `fast` is not installed")
from tests.closed_loop.test_twin import assert_same

pytestmark = pytest.mark.extras


@pytest.mark.parametrize("part", sorted(DEFECTS))
def test_a_part_of_the_second_family_says_the_same_bytes(part: str) -> None:
    assert_same(
        SimSpec(part, seed=11, faults=DEFECTS[part][-1:], supply_v=11.7, family="second"), seconds=0.8
    )
