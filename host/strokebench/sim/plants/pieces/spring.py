"""Two-sided preloaded return spring with a rest position between, and the elastic end stops.

Torque on the shaft, positive when it pushes towards closed, over the angle from the closed stop.  The form
is that of Loh, Thanom, Pyko, Lee, Engineering 5, 2013, 587-600: preload + rate x deflection, changing side at
rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Spring:
    """Preloads in N m, rates in N m/rad on the opening and closing side; ``rest_rad`` from the closed stop.

    ``blend_rad``: half of the angle over which the preload changes side (play and elasticity of the lever).
    A rest at 0 with no closing side is a plain return spring.
    """

    open_preload_nm: float
    open_rate_nm: float
    close_preload_nm: float
    close_rate_nm: float
    rest_rad: float
    blend_rad: float = 0.004


def torque_nm(spring: Spring, angle_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """Torque towards closed at the angles given."""
    from_rest = angle_rad - spring.rest_rad
    side = np.clip(from_rest / spring.blend_rad, -1.0, 1.0)
    opening = (
        np.maximum(side, 0.0) * spring.open_preload_nm + np.maximum(from_rest, 0.0) * spring.open_rate_nm
    )
    closing = (
        np.maximum(-side, 0.0) * spring.close_preload_nm + np.maximum(-from_rest, 0.0) * spring.close_rate_nm
    )
    torque: NDArray[np.float64] = opening - closing
    return torque


def stops_nm(
    angle_rad: NDArray[np.float64], low_rad: float, high_rad: float, stiffness_nm: float
) -> NDArray[np.float64]:
    """Torque of the two elastic stops, same sign as :func:`torque_nm`."""
    beyond = np.maximum(angle_rad - high_rad, 0.0) + np.minimum(angle_rad - low_rad, 0.0)
    torque: NDArray[np.float64] = stiffness_nm * beyond
    return torque
