"""Bill of materials: one line per part number, from KiCad's own list of the schematic."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

from hardware.checks.netlist import Netlist, Part

KICAD_FIELDS = "Reference,Value,Description,MPN,MPN2,Why,Footprint,${EXCLUDE_FROM_BOARD}"
JOIN = " / "
COLUMNS = ("reference", "quantity", "value", "description", "number", "second_number", "why", "where")


def group(raw: str) -> list[dict[str, str]]:
    """KiCad's ungrouped CSV (columns KICAD_FIELDS) -> one line per order number, by first reference."""
    lines: dict[tuple[str, ...], list[tuple[str, str, str]]] = {}
    for ref, value, description, number, second, why, _, off in list(csv.reader(io.StringIO(raw)))[1:]:
        where = "beside the board" if off else "board"
        lines.setdefault((description, number, second, where), []).append((ref, value, why))
    rows = []
    for (description, number, second, where), parts in lines.items():
        refs = sorted((ref for ref, _, _ in parts), key=_order)
        value, why = (JOIN.join(dict.fromkeys(part[i] for part in parts)) for i in (1, 2))
        cells = (" ".join(refs), str(len(refs)), value, description, number, second, why, where)
        rows.append(dict(zip(COLUMNS, cells, strict=True)))
    return sorted(rows, key=lambda row: _order(row["reference"].split()[0]))


def _order(ref: str) -> tuple[str, int]:
    match = re.fullmatch(r"([A-Z]+)(\d+)", ref)
    return (match[1], int(match[2])) if match else (ref, 0)


def dump(rows: Iterable[dict[str, str]]) -> str:
    """Lines -> CSV text with a header."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def load(text: str) -> list[dict[str, str]]:
    """CSV text -> lines."""
    return list(csv.DictReader(io.StringIO(text)))


def compare(rows: list[dict[str, str]], netlist: Netlist) -> list[str]:
    """Every part of the netlist is in the bill and the other way round; values and counts agree."""
    wrong = []
    seen: dict[str, dict[str, str]] = {}
    for row in rows:
        refs = row["reference"].split()
        if len(refs) != int(row["quantity"]):
            wrong.append(f"{row['reference']}: quantity {row['quantity']}")
        wrong += [f"{ref}: on two lines" for ref in refs if ref in seen]
        seen.update(dict.fromkeys(refs, row))
    wrong += [f"{ref}: in the netlist, not in the bill" for ref in sorted(netlist.parts.keys() - seen.keys())]
    for ref, row in seen.items():
        part = netlist.parts.get(ref)
        if part is None and row["where"] == "board":
            wrong.append(f"{ref}: in the bill, not in the netlist")
        elif part is not None and not _agrees(part, row):
            wrong.append(f"{ref}: value or number differ between bill and netlist")
    return wrong


def _agrees(part: Part, row: dict[str, str]) -> bool:
    return part.value in row["value"].split(JOIN) and part.fields.get("MPN") == row["number"]


def missing_numbers(rows: list[dict[str, str]]) -> list[str]:
    """Lines without an orderable number or a reason; chips, MOSFETs and supplies without a second number."""
    wrong = []
    for row in rows:
        needed = ["number", "why", "description"]
        if re.match(r"(U|Q|PS)\d", row["reference"]):
            needed.append("second_number")
        wrong += [f"{row['reference']}: no {name}" for name in needed if not row[name].strip()]
    return wrong
