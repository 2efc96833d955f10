"""Run lengths of the control chart against published tables.

Crowder (1987), Technometrics 29, table 1; Lucas and Saccucci (1990), Technometrics 32, table 3; both as the
examples of the R package ``spc`` (function xewma.arl) quote them. The width 2.962 for 500 at 0.2 is from
Lucas and Saccucci's table too, as Montgomery's Introduction to Statistical Quality Control has it.
"""

from __future__ import annotations

import pytest
from strokebench.verdict.control.ewma import run_length, width_for

CROWDER = {
    (0.5, 2.0): {0.0: 26.45, 0.5: 11.89, 1.0: 4.91, 1.5: 2.80, 2.0: 1.94, 3.0: 1.26, 4.0: 1.05},
    (0.05, 2.0): {0.0: 127.53, 0.5: 18.97, 1.0: 8.38, 1.5: 5.41, 2.0: 4.04, 3.0: 2.76, 4.0: 2.15},
}
LUCAS_SACCUCCI = {
    (0.5, 3.071): {0.0: 500, 0.25: 255, 0.5: 88.8, 1.0: 17.5, 1.5: 6.53, 2.0: 3.63, 3.0: 1.93, 5.0: 1.07},
    (0.03, 2.437): {0.0: 500, 0.25: 76.7, 0.5: 29.3, 1.0: 12.6, 1.5: 8.07, 2.0: 5.99, 3.0: 4.03, 5.0: 2.55},
}


@pytest.mark.parametrize("table", [CROWDER, LUCAS_SACCUCCI], ids=["Crowder", "Lucas and Saccucci"])
def test_published_run_lengths(table: dict[tuple[float, float], dict[float, float]]) -> None:
    for (weight, width), row in table.items():
        for shift, published in row.items():
            assert run_length(weight, width, shift) == pytest.approx(published, rel=2e-3, abs=0.011), (
                weight,
                shift,
            )


@pytest.mark.parametrize(("weight", "width"), [(0.5, 3.071), (0.2, 2.962), (0.1, 2.814), (0.05, 2.615)])
def test_published_widths_for_five_hundred(weight: float, width: float) -> None:
    assert width_for(weight, 500.0) == pytest.approx(width, abs=6e-4)
