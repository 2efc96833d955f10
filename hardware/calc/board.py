"""Copper on the board: track width for 40 A and thermal vias."""

from __future__ import annotations

import math

from hardware.calc import design
from hardware.calc.rows import Row

IPC_OUTER, IPC_INNER = 0.048, 0.024
MM_PER_OUNCE = 0.0348
MM2_PER_MIL2 = 0.0254**2
COPPER_W_PER_MM_K = 0.385
IPC = "IPC-2221 curve fit"


def track_area_mm2(amps: float, rise_k: float, k: float = IPC_OUTER) -> float:
    """Cross-section by I = k dT^0.44 A^0.725 (A in square mils)."""
    return math.pow(amps / (k * math.pow(rise_k, 0.44)), 1 / 0.725) * MM2_PER_MIL2


def track_width_mm(amps: float, rise_k: float, ounces: float, k: float = IPC_OUTER) -> float:
    """Width of a track of that copper weight."""
    return track_area_mm2(amps, rise_k, k) / (ounces * MM_PER_OUNCE)


def via_k_per_w(length_mm: float, hole_mm: float, plating_mm: float) -> float:
    """Thermal resistance of one unfilled plated hole of finished diameter `hole_mm`, l/(k A)."""
    area_mm2 = math.pi * (hole_mm + plating_mm) * plating_mm
    return length_mm / (COPPER_W_PER_MM_K * area_mm2)


def rows() -> list[Row]:
    """Width for 40 A and a via field."""
    amps, one_via_k_per_w = design.CURRENT_A, via_k_per_w(1.6, 0.3, 0.025)
    half = track_width_mm(amps / 2, 20, 2)
    return [
        Row(
            "40 A, 2 oz outer, 20 K",
            track_width_mm(amps, 20, 2),
            "mm",
            "(I/(0.048 dT^0.44))^(1/0.725)/t",
            IPC,
        ),
        Row("20 A on each of two layers", half, "mm", "the same for I/2, both outer", IPC),
        Row("40 A, 2 oz outer, 40 K", track_width_mm(amps, 40, 2), "mm", "the same", IPC),
        Row("one 0.3 mm via, 25 um", one_via_k_per_w, "K/W", "l/(k pi (d + t) t)", "Fourier"),
        Row("20 of them", one_via_k_per_w / 20, "K/W", "R/n", "Fourier"),
    ]
