"""A certificate for people: plain text, and one self-contained HTML page for A4."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from html import escape
from typing import Any

STATEMENT = (
    "U is the expanded uncertainty k u of a corrected reading at the point, without the noise of a single "
    "sample; about 95 % (JCGM 100). Errors common to all readings of the reference are contained. Between "
    "and beyond the points the bench's own curvature comes on top (standard uncertainty)."
)
SIMULATED = "SIMULATED BENCH: an exercise, not evidence about any hardware."
NOT = "This page comes from the bench's own software. It is no certificate of an accredited laboratory."


def title(made: dict[str, Any]) -> str:
    """Return the heading."""
    return f"Calibration {made['number']:08x} of bench {made['uid']}"


def head(made: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the facts at the top."""
    return [
        ("Date", made["date"]),
        ("By", made["person"]),
        ("Bench", f"{made['board']}, firmware {made['firmware']}"),
        ("Stored on the chip", f"record {made['number']:08x}"),
    ]


def _facts(entry: dict[str, Any]) -> list[str]:
    unit, tool = entry["fitted_unit"], entry["instrument"]
    stated = "limits of error" if tool["stated"] == "limits" else "expanded uncertainty, k = 2"
    identity = f" ({tool['identity']})" if tool["identity"] else ""
    return [
        f"Against {tool['name']}{identity}: {tool['percent']:g} % + {tool['absolute']:g} {entry['unit']}"
        f" ({stated}), last digit {tool['resolution']:g} {entry['unit']}",
        f"Found: offset {entry['offset']:+.5f} {unit}, gain {100 * (entry['gain'] - 1):+.3f} %;"
        " corrected on the chip.",
        f"Standard uncertainty left: offset {entry['u_offset']:.2g} {unit},"
        f" gain {100 * entry['u_gain']:.2g} %, curvature {entry['linearity']:.2g} {unit};"
        f" k = {entry['k']:.2f}; scatter {entry['scatter']:.2g} {unit}",
    ]


POINT_HEAD = ("reference", "error before", "error after", "U")


def _rows(entry: dict[str, Any]) -> list[tuple[str, ...]]:
    return [
        (
            f"{point['reference']:.4f}" if entry["unit"] != "ohm" else f"{point['reference']:.1f}",
            f"{point['error_before']:+.5f}",
            f"{point['error_after']:+.5f}",
            f"{entry['k'] * point['u']:.5f}",
        )
        for point in entry["points"]
    ]


def text(made: dict[str, Any]) -> str:
    """Return the certificate as text, most of it within 80 columns."""
    lines = [title(made), "=" * len(title(made))]
    if made["simulated"]:
        lines.append(SIMULATED)
    lines += [f"{name + ':':<20} {value}" for name, value in head(made)]
    for name, entry in made["channels"].items():
        older = (
            ""
            if entry["calibration"] == made["number"]
            else f" (from calibration {entry['calibration']:08x})"
        )
        lines += ["", f"{name}, {entry['date']}, {entry['person']}{older}"]
        lines += [f"  {line}" for line in _facts(entry)]
        unit = entry["fitted_unit"]
        lines.append("  " + " ".join(f"{word:>13}" for word in POINT_HEAD) + f"   [{entry['unit']}; {unit}]")
        lines += ["  " + " ".join(f"{cell:>13}" for cell in row) for row in _rows(entry)]
        lines += [
            f"    {part['source']:<54} {part['offset']:.2g} {unit}, {100 * part['gain']:.2g} %"
            for part in entry["parts"]
        ]
    return "\n".join([*lines, "", textwrap.fill(STATEMENT, 79), textwrap.fill(NOT, 79), ""])


STYLE = """body{font:14px/1.45 "Helvetica Neue",Arial,"Liberation Sans",sans-serif;color:#1c2430;margin:0;
background:#e9edf0} main{max-width:900px;margin:24px auto;padding:32px 40px;background:#fff}
h1{font-size:21px;margin:0 0 8px} h2{font-size:15px;margin:22px 0 4px} dl{display:grid;
grid-template-columns:max-content 1fr;gap:2px 18px} dt{color:#5c6670} dd{margin:0}
table{border-collapse:collapse;margin:6px 0 8px} th,td{padding:2px 12px;text-align:right;
border-bottom:1px solid #d9dee4;font-variant-numeric:tabular-nums}
td:first-child,th:first-child{text-align:left}
.notice{background:#fff6dd;border:1px solid #ecd9a0;padding:6px 12px} .small{color:#5c6670;font-size:12px}
section{break-inside:avoid}
@media print{body{background:#fff}main{margin:0;padding:0}} @page{size:A4;margin:16mm}"""


def html(made: dict[str, Any]) -> str:
    """Return the certificate as a page; all text that people typed is escaped."""
    facts = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in head(made))
    notice = f'<p class="notice">{SIMULATED}</p>' if made["simulated"] else ""
    body = "".join(_section(name, entry) for name, entry in made["channels"].items())
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title(made))}</title>'
        f"<style>{STYLE}</style></head><body><main><h1>{escape(title(made))}</h1>{notice}<dl>{facts}</dl>{body}"
        f'<p class="small">{STATEMENT}</p><p class="small">{NOT}</p></main></body></html>\n'
    )


def _section(name: str, entry: dict[str, Any]) -> str:
    facts = "".join(f"<li>{escape(line)}</li>" for line in _facts(entry))
    unit = escape(entry["fitted_unit"])
    points = _table(
        (f"reference, {entry['unit']}", *(f"{word}, {unit}" for word in POINT_HEAD[1:])), _rows(entry)
    )
    parts = [(p["source"], f"{p['offset']:.2g}", f"{100 * p['gain']:.2g}") for p in entry["parts"]]
    budget = _table(("standard uncertainty from", f"offset, {unit}", "gain, %"), parts)
    when = escape(f"{name}, {entry['date']}, {entry['person']}, calibration {entry['calibration']:08x}")
    return f"<section><h2>{when}</h2><ul>{facts}</ul>{points}{budget}</section>"


def _table(head_cells: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    top = "".join(f"<th>{cell}</th>" for cell in head_cells)
    lines = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{lines}</tbody></table>"
