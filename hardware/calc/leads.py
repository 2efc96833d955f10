"""Fuse and leads: drop, heating, and whether the fuse saves the wire."""

from __future__ import annotations

from strokebench.physics import wire

from hardware.calc import design
from hardware.calc.rows import Row

LEADS = {
    "supply 8 AWG, 2 x 1.5 m": (8, 3.0),
    "part 10 AWG, 2 x 2 m": (10, 4.0),
    "small part 20 AWG, 2 x 2 m": (20, 4.0),
}
FUSE_MELT_I2T = 6_000.0
PVC_START_C, PVC_END_C = 70.0, 160.0


def lead_drop_v(gauge: float, length_m: float, amps: float, warm_c: float = 60.0) -> float:
    """Drop there and back (length is the sum) on warm copper."""
    return wire.drop_v(wire.awg_area_mm2(gauge), length_m, amps, warm_c)


def withstand_i2t(gauge: float) -> float:
    """I2t of PVC-insulated copper, 70 C to 160 C (IEC 60364-5-54 limits)."""
    return wire.withstand_i2t(wire.awg_area_mm2(gauge), PVC_START_C, PVC_END_C)


def fuse_protects(gauge: float, fuse_i2t: float = FUSE_MELT_I2T) -> bool:
    """True when the fuse lets less I2t through than the wire's insulation stands."""
    return fuse_i2t < withstand_i2t(gauge)


def smallest_gauge(fuse_i2t: float = FUSE_MELT_I2T) -> int:
    """Thinnest even AWG the fuse still protects."""
    return max(gauge for gauge in range(4, 31, 2) if fuse_protects(gauge, fuse_i2t))


def continuous_share(fuse_a: float, load_a: float) -> float:
    """Load as a share of the fuse's rating; common practice keeps it at or below 0.8."""
    return load_a / fuse_a


def rows() -> list[Row]:
    """Leads at 40 A (small part at 8 A) and the 50 A fuse."""
    found = []
    for name, (gauge, length) in LEADS.items():
        amps = 8.0 if gauge == 20 else design.CURRENT_A
        found.append(
            Row(
                f"drop, {name}, {amps:g} A",
                lead_drop_v(gauge, length, amps),
                "V",
                "rho l I/A at 60 C",
                "ASTM B258",
            )
        )
        found.append(
            Row(f"I2t, {name}", withstand_i2t(gauge), "A2s", "(115 A)^2", "IEC 60364-5-54, from memory")
        )
    share = 100 * continuous_share(design.FUSE_A, design.CURRENT_A)
    return [
        *found,
        Row("fuse load", share, "% of 50 A", "I/Ifuse", "75 to 80 % rule, common practice"),
        Row(
            "fuse melting I2t",
            FUSE_MELT_I2T,
            "A2s",
            "assumed for a 50 A blade",
            "from memory, check the part",
        ),
        Row("thinnest lead it protects", smallest_gauge(), "AWG", "I2t fuse < I2t wire", "this page"),
    ]
