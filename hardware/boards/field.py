"""Direct current in flat copper: a net of resistors between the cells of its layers, solved with SciPy.

A cell's copper share scales its sheet conductance. Copper, from handbooks: 1.72e-8 Ohm m at 20 C, 0.39 %/K.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import spsolve

RHO_OHM_M = 1.72e-8
PER_K = 0.0039


@dataclass(frozen=True)
class Solution:
    """`ohm` between the two pads, share of the heat of 1 A in each cell (W, layers x rows x columns)."""

    ohm: float
    heat_w: np.ndarray


def solve(
    shares: np.ndarray,
    sheet_ohm: list[float],
    source: np.ndarray,
    sink: np.ndarray,
    vias: list[tuple],
    via_ohm: float,
) -> Solution:
    """Let 1 A flow from `source` to `sink`, masks over the cells.

    `shares`: copper share of each cell, layers x rows x columns. `vias`: row, column of holes, which join
    neighbouring layers with `via_ohm` each. ValueError when there is no way.
    """
    number = np.full(shares.shape, -1, dtype=np.int64)
    used = shares > 0.02
    number[used] = np.arange(int(used.sum()))
    source_at = int(used.sum())
    ends, conductances = _sides(shares, number, sheet_ohm)
    for layer in range(shares.shape[0] - 1):
        joined = [(number[layer, r, c], number[layer + 1, r, c]) for r, c in vias]
        joined = [(a, b) for a, b in joined if a >= 0 and b >= 0]
        ends.append(np.array(joined, dtype=np.int64).reshape(-1, 2))
        conductances.append(np.full(len(joined), 1 / via_ohm))
    pads = number[source & used]
    ends.append(np.column_stack([pads, np.full(len(pads), source_at)]))
    conductances.append(np.full(len(pads), 1e6))
    pairs, g = np.concatenate(ends), np.concatenate(conductances)
    volts = _volts(pairs, g, source_at, number[sink & used], source_at + 1)
    across = volts[pairs[:, 0]] - volts[pairs[:, 1]]
    heat = np.zeros(source_at + 1)
    for side in (0, 1):
        np.add.at(heat, pairs[:, side], 0.5 * g * across**2)
    cells = np.zeros(shares.shape)
    cells[used] = heat[:source_at]
    return Solution(float(volts[source_at]), cells)


def _sides(shares: np.ndarray, number: np.ndarray, sheet_ohm: list[float]) -> tuple[list, list]:
    """Pairs of neighbouring cells of a layer, and their conductances."""
    ends, conductances = [], []
    for layer, ohm in enumerate(sheet_ohm):
        f, n = shares[layer], number[layer]
        for a, b in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1, :], np.s_[1:, :])):
            both = (n[a] >= 0) & (n[b] >= 0)
            ends.append(np.column_stack([n[a][both], n[b][both]]))
            mean = 2 * f[a][both] * f[b][both] / (f[a][both] + f[b][both])
            conductances.append(mean / ohm)
    return ends, conductances


def _volts(pairs: np.ndarray, g: np.ndarray, source: int, sink: np.ndarray, count: int) -> np.ndarray:
    """Volts of all nodes for 1 A into the source, with the sink at 0 V."""
    a, b = pairs.T
    rows = np.concatenate([a, b, a, b])
    columns = np.concatenate([a, b, b, a])
    matrix = coo_matrix((np.concatenate([g, g, -g, -g]), (rows, columns)), shape=(count, count)).tocsr()
    keep = _reached(matrix, source)
    if not keep[sink].any():
        raise ValueError("no copper joins the two pads")
    keep[sink] = False
    free = np.flatnonzero(keep)
    current = np.zeros(count)
    current[source] = 1.0
    volts = np.zeros(count)
    volts[free] = spsolve(matrix[free][:, free].tocsc(), current[free])
    return volts


def _reached(matrix: csr_matrix, source: int) -> np.ndarray:
    from scipy.sparse.csgraph import connected_components

    _, label = connected_components(matrix, directed=False)
    return np.asarray(label == label[source])


def rise_k(copper_m: np.ndarray, heat_w: np.ndarray, cell_m: float, board_m: float = 1.6e-3) -> np.ndarray:
    """Steady temperature rise of a board in still air, cell by cell.

    `copper_m`: thickness of all copper over a cell, `heat_w`: heat in it. Copper 385, laminate 0.3 W/m K;
    10 W/m2 K from each face, convection and radiation together (common practice for still air).
    """
    rows, columns = heat_w.shape
    number = np.arange(rows * columns).reshape(rows, columns)
    sheet = 385.0 * copper_m + 0.3 * board_m
    ends, conductances = [], []
    for a, b in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1, :], np.s_[1:, :])):
        ends.append(np.column_stack([number[a].ravel(), number[b].ravel()]))
        conductances.append((2 * sheet[a] * sheet[b] / (sheet[a] + sheet[b])).ravel())
    pairs, g = np.concatenate(ends), np.concatenate(conductances)
    p, q = pairs.T
    size = number.size
    air = np.arange(size)
    data = np.concatenate([g, g, -g, -g, np.full(size, 20.0 * cell_m**2)])
    matrix = coo_matrix(
        (data, (np.concatenate([p, q, p, q, air]), np.concatenate([p, q, q, p, air]))), shape=(size, size)
    )
    return np.asarray(spsolve(matrix.tocsc(), heat_w.ravel())).reshape(rows, columns)
