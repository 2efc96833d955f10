"""One board from its netlist and its description: parts placed, nets routed, the file written."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np

from hardware.boards import kicad, labels, place, stack
from hardware.boards.layout import Area, Layout, rect
from hardware.boards.project import write_rules
from hardware.boards.route import nets as route_nets
from hardware.boards.route.grid import DRILL, HALF, PITCH, SIDES, VIA, Grid
from hardware.boards.route.negotiate import Board, Routed
from hardware.boards.shapes import Placed
from hardware.checks import netlist
from hardware.checks.netlist import Netlist

HERE = Path(__file__).resolve().parents[1]
GROUND_STEP = 5.0
"""Ground areas of front and back are joined to the plane at least this often, mm, where there is room."""
HOLE = "MountingHole:MountingHole_3.2mm_M3_Pad"


def source(layout: Layout) -> Path:
    """The committed netlist (a test compares it with the drawing)."""
    return HERE / layout.folder / "exports" / f"{layout.name}.net"


def board_file(layout: Layout) -> Path:
    """The committed board."""
    return HERE / layout.folder / f"{layout.name}.kicad_pcb"


def placed_parts(layout: Layout, parts: Netlist) -> dict[str, Placed]:
    """Every part at its place."""
    on_board = {ref: p for ref, p in parts.parts.items() if p.on_board}
    shapes = kicad.shapes([p.footprint for p in on_board.values()])
    by_ref = {ref: shapes[p.footprint] for ref, p in on_board.items()}
    return place.place(layout, by_ref, {ref: parts.pins_of(ref) for ref in on_board})


def make(layout: Layout, target: Path, report: Callable[[str], None] = print) -> None:
    """Write the .kicad_pcb (and the rules of its project beside it)."""
    parts = netlist.read(source(layout))
    report(f"{layout.name}: placing {len(parts.parts)} parts")
    placed = placed_parts(layout, parts)
    numbers = {name: i for i, name in enumerate(sorted(parts.nets))}
    grid = Grid(layout, placed, numbers)
    todo = route_nets.collect(layout, placed, grid)
    board = Board(grid, todo)
    board.route(report)
    plan = _plan(layout, parts, placed)
    for net in todo:
        _add(plan, net.name, net.width, board.done[net.number], grid)
    _stitch(plan, layout, board)
    write_rules(layout, target.parent)
    kicad.build(plan, target)
    stack.write(layout, target)
    report(f"{layout.name}: {len(plan['tracks'])} tracks, {len(plan['vias'])} vias")


def _plan(layout: Layout, parts: Netlist, placed: dict[str, Placed]) -> dict:
    paths = _paths(source(layout).read_text(encoding="utf-8"))
    items = []
    spots = labels.spots(layout, placed)
    for ref in sorted(placed):
        part = parts.parts[ref]
        x, y = placed[ref].origin
        items.append({
            "ref": ref, "value": part.value, "footprint": part.footprint, "x": x, "y": y,
            "turn": placed[ref].turn, "path": paths[ref],
            "pins": parts.pins_of(ref), "solid": ref in layout.solid,
            "label": spots.get(ref),
        })  # fmt: skip
    for i, (x, y) in enumerate(layout.holes):
        items.append({
            "ref": f"H{i + 1}", "value": "M3", "footprint": HOLE, "x": x, "y": y, "turn": 0, "path": "",
            "pins": {}, "solid": False,
        })  # fmt: skip
    tracks = [
        {"net": w.net, "layer": w.layer, "x0": a[0], "y0": a[1], "x1": b[0], "y1": b[1], "width": w.width}
        for w in layout.wires
        for a, b in pairwise(w.corners)
    ]
    texts = [{"text": t, "x": x, "y": y, "size": size} for t, x, y, size in layout.texts]
    return {
        "title": layout.title, "revision": "2", "width": layout.width, "height": layout.height,
        "nets": sorted(parts.nets), "parts": items, "tracks": tracks, "vias": [], "texts": texts,
        "zones": [_zone(i, area) for i, area in enumerate(layout.areas)],
        "empty": [rect(*box) for box in layout.empty],
    }  # fmt: skip


def _zone(i: int, area: Area) -> dict:
    return {
        "net": area.net, "layer": area.layer, "corners": area.corners, "priority": area.priority,
        "clearance": area.clearance, "solid": area.solid, "name": f"{area.net} {area.layer} {i}",
    }  # fmt: skip


def _paths(text: str) -> dict[str, str]:
    """Reference -> path of sheet and symbol, as the board file names it."""
    found = {}
    for block in re.split(r"\n    \(comp ", text)[1:]:
        ref = re.search(r'\(ref "([^"]+)"', block)
        sheet = re.search(r'\(sheetpath \(names "[^"]*"\) \(tstamps "([^"]+)"', block)
        symbol = re.search(r'\n      \(tstamps "([^"]+)"', block)
        if ref and sheet and symbol:
            found[ref[1]] = sheet[1] + symbol[1].split()[0]
    return found


def _add(plan: dict, name: str, width: float, routed: Routed, grid: Grid) -> None:
    """A net's ways as straight pieces, and its vias."""
    size = grid.rows * grid.columns
    for way in routed.ways:
        for a, b in _pieces(way, size, grid.columns):
            (x0, y0), (x1, y1) = _spot(a, size, grid), _spot(b, size, grid)
            plan["tracks"].append({
                "net": name, "layer": SIDES[a // size], "width": width,
                "x0": x0, "y0": y0, "x1": x1, "y1": y1,
            })  # fmt: skip
    for flat in sorted(set(routed.vias)):
        _via(plan, name, flat, grid)


def _via(plan: dict, name: str, flat: int, grid: Grid) -> None:
    x, y = _spot(flat, grid.rows * grid.columns, grid)
    plan["vias"].append({"net": name, "x": x, "y": y, "diameter": VIA, "drill": DRILL})


def _spot(cell: int, size: int, grid: Grid) -> tuple[float, float]:
    row, column = divmod(cell % size, grid.columns)
    return column * PITCH, row * PITCH


def _pieces(way: list[int], size: int, columns: int) -> list[tuple[int, int]]:
    """Ends of the straight pieces of a way."""
    pieces: list[tuple[int, int]] = []
    start = way[0]
    for before, here, after in zip(way, way[1:], [*way[2:], -1], strict=False):
        if before // size != here // size:
            start = here
            continue
        if after < 0 or here // size != after // size or after - here != here - before:
            pieces.append((start, here))
            start = here
    return pieces


def _stitch(plan: dict, layout: Layout, board: Board) -> None:
    """Fields of vias that the board's page wants, then ground everywhere."""
    grid = board.grid
    for field in layout.stitches:
        for flat in board.stitch(grid.numbers[field.net], _lattice(field.box, field.step, grid)):
            _via(plan, field.net, flat, grid)
            _occupy(board, flat)
    box = (1.0, 1.0, layout.width - 1, layout.height - 1)
    for flat in board.stitch(grid.numbers["GND"], _lattice(box, GROUND_STEP, grid)):
        _via(plan, "GND", flat, grid)


def _lattice(box: tuple[float, float, float, float], step: float, grid: Grid) -> np.ndarray:
    xs = np.arange(box[0], box[2] + 1e-6, step)
    ys = np.arange(box[1], box[3] + 1e-6, step)
    return np.array([round(y / PITCH) * grid.columns + round(x / PITCH) for y in ys for x in xs])


def _occupy(board: Board, flat: int) -> None:
    """A stitched via is in the way of later ones."""
    grid = board.grid
    reach = round((VIA + HALF) / PITCH)
    row, column = divmod(flat, grid.columns)
    grid.no_via[row - reach : row + reach + 1, column - reach : column + reach + 1] = 1
