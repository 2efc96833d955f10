"""The routed boards: KiCad's own check, files to order read by somebody else, the same files again."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

pytest.importorskip("numba", reason="the extra `boards` is not installed")

from hardware.boards import BOARDS, figures, kicad
from hardware.boards.__main__ import differences
from hardware.boards.drc import check
from hardware.boards.make import HERE, board_file, source
from hardware.checks import export, netlist

needs_board_kicad = pytest.mark.skipif(
    not (shutil.which("kicad-cli") and kicad.available()),
    reason="kicad-cli or KiCad's Python module is not installed",
)
each_board = pytest.mark.parametrize("name", BOARDS)


@needs_board_kicad
@pytest.mark.slow
@each_board
def test_kicad_finds_no_error_and_nothing_unconnected(name: str) -> None:
    found = check(board_file(BOARDS[name]()))
    assert found.errors == []
    assert found.unconnected == []
    assert found.not_as_drawn == []


@needs_board_kicad
@pytest.mark.long
def test_kicads_check_notices_tracks_that_are_gone(tmp_path: Path) -> None:
    layout = BOARDS["small"]()
    for path in (HERE / layout.folder).iterdir():
        if path.is_file():
            shutil.copy(path, tmp_path)
    board = tmp_path / f"{layout.name}.kicad_pcb"
    text = board.read_text(encoding="utf-8")
    piece = rf"\n\t\(segment\n(?:\t\t.*\n)*?\t\t\(net {_number(text, 'CONV_DIN')}\)\n(?:\t\t.*\n)*?\t\)"
    without, removed = re.subn(piece, "", text)
    assert removed > 1
    board.write_text(without, encoding="utf-8")
    assert check(board).unconnected


def _number(text: str, net: str) -> str:
    line = next(line for line in text.splitlines() if line.strip().startswith("(net ") and f'"{net}"' in line)
    return line.split()[1]


@needs_board_kicad
@pytest.mark.long
@each_board
def test_made_again_it_is_the_same(name: str) -> None:
    assert differences(BOARDS[name]()) == []


@needs_board_kicad
@pytest.mark.long
@each_board
def test_the_page_and_the_decks_have_the_figures_of_the_copper(name: str) -> None:
    layout = BOARDS[name]()
    found = figures.compute(figures.Board(layout))
    assert figures.tables(layout, found) in figures.page(name).read_text(encoding="utf-8")
    assert json.loads(figures.KEPT.read_text(encoding="utf-8"))[name] == figures.kept(found)


@each_board
def test_the_page_says_what_the_decks_read(name: str) -> None:
    text = figures.page(name).read_text(encoding="utf-8")
    kept = json.loads(figures.KEPT.read_text(encoding="utf-8"))[name]
    for loop, pieces in kept["loops_nh"].items():
        for piece, nh in pieces.items():
            row = re.search(rf"\| {loop} \| {piece} \| ([\d.]+) nH", text)
            assert row is not None and float(row[1]) == pytest.approx(nh, abs=0.06)
    for stretch, ohm in kept["ohm"].items():
        row = re.search(rf"\| {re.escape(stretch)} \| `[^|]+` \| ([\d.]+) mOhm", text)
        assert row is not None and float(row[1]) == pytest.approx(ohm * 1e3, abs=0.006)


@each_board
def test_the_board_says_how_thick_its_copper_is(name: str) -> None:
    layout = BOARDS[name]()
    text = board_file(layout).read_text(encoding="utf-8")
    stack = re.findall(r'\(type "copper"\)\s*\(thickness ([\d.]+)\)', text)
    assert [float(mm) * 1000 for mm in stack] == pytest.approx(layout.copper_um)


@pytest.mark.extras
@each_board
def test_gerbers_join_what_the_drawing_joins_and_nothing_else(name: str) -> None:
    """Each point of the IPC-D-356 netlist lies on copper; one net is one piece; two nets are two pieces."""
    pytest.importorskip("gerbonara")
    from gerbonara.ipc356 import Netlist

    from hardware.boards.copper import Copper

    layout = BOARDS[name]()
    order = HERE / layout.folder / "order"
    copper = Copper(order / f"{layout.name}-gerber.zip", layout.width, layout.height)
    drawn = netlist.read(source(layout))
    net_of = {(p.ref, p.number): n for n, pins in drawn.nets.items() for p in pins}
    pieces: dict[str, set[int]] = {}
    records = Netlist.open(order / f"{layout.name}-netlist.d356").test_records
    pads = {(r.ref_des, str(r.pin)): r for r in records if r.ref_des}
    assert set(net_of) <= set(pads)
    shortened = {record.net_name: net_of[key] for key, record in pads.items() if key in net_of}
    for record in records:
        key = (record.ref_des, str(record.pin))
        if record.ref_des and key not in net_of:
            continue  # pads of the holes for screws
        net = net_of[key] if record.ref_des else shortened[record.net_name]
        x, y = record.unit.convert_to("mm", record.x), record.unit.convert_to("mm", record.y)
        layer = 3 if record.access_layer == 2 else 0
        pieces.setdefault(net, set()).add(copper.at(layer, x, y - layout.height))
    assert {net: p for net, p in pieces.items() if len(p) != 1 or 0 in p} == {}
    assert len({min(p) for p in pieces.values()}) == len(pieces)


@each_board
def test_every_part_of_the_drawing_is_in_the_factorys_position_list(name: str) -> None:
    layout = BOARDS[name]()
    drawn = netlist.read(source(layout))
    rows = (HERE / layout.folder / "order" / f"{layout.name}-positions.csv").read_text(encoding="utf-8")
    listed = {line.split(",")[0].strip('"') for line in rows.splitlines()[1:]}
    assert listed == {ref for ref, part in drawn.parts.items() if part.on_board and part.footprint}


def test_both_projects_are_drawn_and_routed() -> None:
    assert {make().folder for make in BOARDS.values()} <= set(export.PROJECTS)
