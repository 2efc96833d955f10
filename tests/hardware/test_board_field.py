"""The solver of currents in copper against what can be written down: a strip, a ring, a via, a fin."""

from __future__ import annotations

import math

import numpy as np
import pytest

from hardware.boards import field


def test_a_strip_has_length_over_width_squares() -> None:
    shares = np.ones((1, 10, 101))
    source, sink = np.zeros_like(shares, dtype=bool), np.zeros_like(shares, dtype=bool)
    source[0, :, 0] = sink[0, :, -1] = True
    found = field.solve(shares, [0.5e-3], source, sink, [], 1e-3)
    assert found.ohm == pytest.approx(0.5e-3 * 100 / 10, rel=1e-4)
    assert found.heat_w.sum() == pytest.approx(found.ohm, rel=1e-3)  # 1 A: watts are ohms


def test_a_ring_has_the_logarithm_of_its_radii() -> None:
    """Radial current: sheet / 2 pi x ln(b / a), any textbook of electromagnetism."""
    y, x = np.mgrid[-80:81, -80:81]
    away = np.hypot(x, y)
    shares = (away <= 80).astype(float)[None]
    source, sink = (away <= 20)[None], (away >= 79)[None]
    found = field.solve(shares, [1.0], source, sink, [], 1.0)
    assert found.ohm == pytest.approx(math.log(79.5 / 20) / (2 * math.pi), rel=0.02)


def test_two_layers_share_through_vias_and_no_via_is_no_way() -> None:
    shares = np.zeros((2, 3, 41))
    shares[0, :, :21] = shares[1, :, 20:] = 1
    source, sink = np.zeros_like(shares, dtype=bool), np.zeros_like(shares, dtype=bool)
    source[0, :, 0] = sink[1, :, -1] = True
    three = field.solve(shares, [1.0, 1.0], source, sink, [(0, 20), (1, 20), (2, 20)], 6.0)
    assert three.ohm == pytest.approx(40 / 3 + 6.0 / 3, rel=1e-6)
    with pytest.raises(ValueError, match="no copper"):
        field.solve(shares, [1.0, 1.0], source, sink, [], 6.0)


def test_even_heat_leaves_through_both_faces() -> None:
    """20 W/m2 K from both faces: 0.1 W on 0.01 m2 is 0.5 K, whatever the copper."""
    rise = field.rise_k(np.full((20, 20), 70e-6), np.full((20, 20), 0.1 / 400), 5e-3)
    assert rise == pytest.approx(np.full((20, 20), 0.5), rel=1e-6)


def test_heat_at_one_end_falls_off_as_in_a_fin() -> None:
    """A fin heated at its end: cosh(m (L - x)) / cosh(m L), m = sqrt(h / (k t)); any textbook of heat."""
    heat = np.zeros((2, 200))
    heat[:, 0] = 0.05
    rise = field.rise_k(np.full((2, 200), 35e-6), heat, 1e-3, board_m=0.0)[0]
    m = math.sqrt(20.0 / (385 * 35e-6))
    long = 199e-3
    assert rise[100] / rise[0] == pytest.approx(math.cosh(m * (long - 0.1)) / math.cosh(m * long), rel=0.02)
