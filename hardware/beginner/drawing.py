"""The KiCad drawing from the table of parts: one sheet, a global label at each pin, symbols of our own.

It is there to be read, to be checked by KiCad's electrical rules, and to give the decks their netlist.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from hardware.beginner.parts import PARTS, Part, Pin

STEP = 2.54
ROOM = uuid.UUID("6f1c2a5e-6a37-4f0c-9d5e-2b9f1c0b7d11")
SHEET_MM = (440.0, 190.0)
TITLE = "strokebench: the beginner's bench. Not built by anybody."
TWO_PINS = {"R", "C", "D", "F", "S", "TH"}
BLOCKS = {
    "Supply and stop": "J1 F1 S1 D3 S2 R12 R13 K1 D2 Q1 R14",
    "Precharge": "D4 R2 D1 C1 C2 R3 D5 R16 R17 C5",
    "Output": "M1 M2 R15 R4 J2 U1 C7",
    "Pico": "A1 R1 RN1 J3 F2 R18 R19 C6",
    "What must say yes": "U3 R11 C4 U4 C8",
    "Fast limit and 3.3 V": "U2 R5 C3 R6 R7 R8 R9 R10 U5 C9 C10",
}
"""Title of each block and its parts, in the order of reading."""


@dataclass(frozen=True)
class Shape:
    """A symbol's body: half width and height in mm, pins with place and direction (0 left, 180 right)."""

    half_w: float
    half_h: float
    pins: tuple[tuple[Pin, float, float, int], ...]


def shape(part: Part) -> Shape:
    """Pins of a part around its body: two beside a small one, else in two columns, KiCad's y upwards."""
    if len(part.pins) == 2 and part.kind in TWO_PINS:
        left, right = part.pins
        return Shape(2.54, 1.27, ((left, -5.08, 0.0, 0), (right, 5.08, 0.0, 180)))
    half = (len(part.pins) + 1) // 2
    top = (half - 1) // 2 * STEP
    columns = [(pin, -12.7, top - i * STEP, 0) for i, pin in enumerate(part.pins[:half])]
    columns += [(pin, 12.7, top - i * STEP, 180) for i, pin in enumerate(part.pins[half:])]
    return Shape(10.16, half * STEP / 2 + 1.27, tuple(columns))


def _uid(*what: object) -> str:
    return str(uuid.uuid5(ROOM, "/".join(map(str, what))))


def _effects(size: float = 1.27, hide: bool = False, justify: str = "") -> str:
    side = f" (justify {justify})" if justify else ""
    return f"(effects (font (size {size} {size})){side}{' (hide yes)' if hide else ''})"


def _property(name: str, text: str, x: float, y: float, hide: bool = False) -> str:
    return f'(property "{name}" "{text}" (at {x:g} {y:g} 0) {_effects(1.27, hide)})'


def _symbol(part: Part) -> str:
    body, name = shape(part), f"beginner:{part.ref}"
    pins = "".join(
        f"(pin {pin.kind} line (at {x:g} {y:g} {turn}) (length {2.54:g})"
        f' (name "{pin.name}" {_effects(1.0)}) (number "{pin.number}" {_effects(1.0)}))'
        for pin, x, y, turn in body.pins
    )
    small = len(part.pins) == 2 and part.kind in TWO_PINS
    return (
        f'(symbol "{name}"{" (pin_names (hide yes))" if small else " (pin_names (offset 0.5))"}'
        " (exclude_from_sim no) (in_bom yes) (on_board yes)"
        f"{_property('Reference', part.kind, 0, body.half_h + 1.3)}"
        f"{_property('Value', part.value, 0, -body.half_h - 1.3)}"
        f"{_property('Footprint', '', 0, 0, True)}{_property('Datasheet', '', 0, 0, True)}"
        f"{_property('Description', '', 0, 0, True)}"
        f'(symbol "{part.ref}_1_1" (rectangle (start {-body.half_w:g} {body.half_h:g})'
        f" (end {body.half_w:g} {-body.half_h:g}) (stroke (width 0.2) (type default))"
        f" (fill (type background))){pins}))"
    )


def _placed(part: Part, x: float, y: float) -> str:
    body = shape(part)
    out = [
        f'(symbol (lib_id "beginner:{part.ref}") (at {x:g} {y:g} 0) (unit 1) (exclude_from_sim no)'
        " (in_bom yes)"
        f' (on_board yes) (dnp no) (uuid "{_uid(part.ref)}")'
        f"{_property('Reference', part.ref, x, y - body.half_h - 1.3)}"
        f"{_property('Value', part.value, x, y + body.half_h + 1.3)}"
        f"{_property('Footprint', '', x, y, True)}{_property('Datasheet', '', x, y, True)}"
        f"{_property('Description', part.why, x, y, True)}"
        + "".join(f'(pin "{pin.number}" (uuid "{_uid(part.ref, pin.number)}"))' for pin in part.pins)
        + f'(instances (project "beginner" (path "/{_uid("sheet")}" (reference "{part.ref}") (unit 1)))))'
    ]
    for pin, dx, dy, turn in body.pins:
        at = f"(at {x + dx:g} {y - dy:g}"
        if not pin.net:
            out.append(f'(no_connect {at}) (uuid "{_uid("nc", part.ref, pin.number)}"))')
            continue
        left = turn == 0
        out.append(
            f'(global_label "{pin.net}" (shape passive) {at} {180 if left else 0})'
            f" {_effects(1.0, justify='right' if left else 'left')}"
            f' (uuid "{_uid("label", part.ref, pin.number)}"))'
        )
    return "\n".join(out)


def _blocks() -> Iterable[str]:
    known = {part.ref: part for part in PARTS}
    for number, (title, refs) in enumerate(BLOCKS.items()):
        x, y = 45.72 + 68.58 * number, 20.32
        yield (
            f'(text "{title}" (exclude_from_sim no) (at {x - 25.4:g} {y:g} 0) {_effects(2.5, justify="left")}'
            f' (uuid "{_uid(title)}"))'
        )
        y += 7.62
        for ref in refs.split():
            half = shape(known[ref]).half_h
            middle = round((y + half) / 1.27) * 1.27
            yield _placed(known[ref], x, middle)
            y = middle + half + 6.35


def sheet() -> str:
    """The whole .kicad_sch."""
    drawn = [ref for refs in BLOCKS.values() for ref in refs.split()]
    assert sorted(drawn) == sorted(part.ref for part in PARTS), set(drawn) ^ {part.ref for part in PARTS}
    body = "\n".join(_blocks())
    library = "\n".join(_symbol(part) for part in PARTS)
    return (
        '(kicad_sch (version 20250114) (generator "strokebench") (generator_version "9.0")'
        f' (uuid "{_uid("sheet")}") (paper "User" {SHEET_MM[0]:g} {SHEET_MM[1]:g})'
        f' (title_block (title "{TITLE}"))\n(lib_symbols\n{library}\n)\n{body}\n'
        '(sheet_instances (path "/" (page "1"))) (embedded_fonts no))\n'
    )
