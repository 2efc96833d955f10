"""Voltages in a network of resistors, by its nodes (Kirchhoff's current law, Ohm's law)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

LEAK_S = 1e-9
"""Conductance of each node to zero: a node that nothing holds is at 0 V, and the equations have a solution.
"""

Resistor = tuple[str, str, float]
"""Node, other node, ohm (above 0)."""


def node_volts(resistors: Iterable[Resistor], held_v: Mapping[str, float]) -> dict[str, float]:
    """Return the volts of every node; ``held_v`` are those that a source holds, in V."""
    wires = list(resistors)
    names = dict.fromkeys(name for first, second, _ohm in wires for name in (first, second))
    free = [name for name in names if name not in held_v]
    place = {name: number for number, name in enumerate(free)}
    matrix = np.eye(len(free)) * LEAK_S
    right = np.zeros(len(free))
    for first, second, ohm in wires:
        for here, there in ((first, second), (second, first)):
            if here not in place:
                continue
            matrix[place[here], place[here]] += 1 / ohm
            if there in place:
                matrix[place[here], place[there]] -= 1 / ohm
            else:
                right[place[here]] += held_v[there] / ohm
    found = np.linalg.solve(matrix, right) if free else right
    return {**{name: float(volts) for name, volts in zip(free, found, strict=True)}, **held_v}
