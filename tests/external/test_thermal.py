"""Thermal networks against scipy's state-space step response."""

import numpy as np
import pytest
from scipy import signal

from tests.reference.thermal import cauer2_to_foster, foster_k_per_w


def test_cauer_ladder_and_its_foster_form_step_alike():
    r1, c1, r2, c2 = 1.0, 0.01, 10.0, 1.0
    a = [[-1 / (r1 * c1), 1 / (r1 * c1)], [1 / (r1 * c2), -(1 / r1 + 1 / r2) / c2]]
    ladder = signal.StateSpace(a, [[1 / c1], [0]], [[1, 0]], [[0]])
    times = np.linspace(0, 30, 3001)
    _, rise = signal.step(ladder, T=times)
    foster = cauer2_to_foster(r1, c1, r2, c2)
    assert [foster_k_per_w(foster, t) for t in times[::300]] == pytest.approx(list(rise[::300]), abs=1e-6)
    assert sum(r for r, _ in foster) == pytest.approx(r1 + r2)
    assert foster[0] == pytest.approx((0.980267, 9.90089e-3), rel=1e-5)


def test_foster_ends_at_the_sum_of_its_resistances():
    stages = [(0.2, 1e-3), (0.8, 20e-3), (5, 0.5), (30, 60)]
    assert foster_k_per_w(stages, 1e4) == pytest.approx(36)
    assert foster_k_per_w(stages, 0.01) == pytest.approx(0.61877, rel=1e-4)
