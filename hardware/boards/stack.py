"""The stack of layers, written into the .kicad_pcb: KiCad's Python does not offer it."""

from __future__ import annotations

from pathlib import Path

from hardware.boards.currents import BOARD_M, PREPREG_M
from hardware.boards.layout import Layout

NAMES = ("F.Cu", "In1.Cu", "In2.Cu", "B.Cu")


def write(layout: Layout, board: Path) -> None:
    """Thickness of copper and laminate into the file's setup."""
    text = board.read_text(encoding="utf-8")
    if text.count("\n\t(setup\n") != 1 or "(stackup" in text:
        raise ValueError(f"{board.name}: its setup is not where KiCad 9 writes it")
    board.write_text(text.replace("\n\t(setup\n", "\n\t(setup\n" + _stackup(layout), 1), encoding="utf-8")


def _stackup(layout: Layout) -> str:
    copper = [um / 1000 for um in layout.copper_um]
    prepreg = PREPREG_M * 1000
    core = BOARD_M * 1000 - sum(copper) - 2 * prepreg
    between = (("prepreg", prepreg), ("core", core), ("prepreg", prepreg))
    lines = []
    for i, (name, thick) in enumerate(zip(NAMES, copper, strict=True)):
        lines.append(f'(layer "{name}" (type "copper") (thickness {thick:g}))')
        if i < 3:
            kind, mm = between[i]
            lines.append(
                f'(layer "dielectric {i + 1}" (type "{kind}") (thickness {mm:.4g}) (material "FR4") '
                "(epsilon_r 4.5) (loss_tangent 0.02))"
            )
    return "\t\t(stackup\n" + "".join(f"\t\t\t{line}\n" for line in lines) + "\t\t)\n"
