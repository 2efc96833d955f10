"""What only KiCad can do, run by the Python that KiCad came with: `pcbnew_side.py shapes|build IN OUT`.

Plain files on both sides (JSON in, JSON or .kicad_pcb out), millimetres, y downwards. It decides nothing.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from itertools import pairwise
from pathlib import Path

import pcbnew

NM = 1_000_000
LAYERS = {"F": pcbnew.F_Cu, "1": pcbnew.In1_Cu, "2": pcbnew.In2_Cu, "B": pcbnew.B_Cu}
SYSTEM = Path("/usr/share/kicad/footprints")


def load(name: str, own: str) -> pcbnew.FOOTPRINT:
    """A footprint `library:name`; the project's own library is looked for first."""
    library, item = name.split(":")
    folder = Path(own) / f"{library}.pretty"
    if not folder.exists():
        folder = SYSTEM / f"{library}.pretty"
    source = folder / f"{item}.kicad_mod"
    if not source.exists():
        raise SystemExit(f"{name}: no such footprint in {folder}; install kicad-footprints of KiCad 9")
    with tempfile.TemporaryDirectory() as alone:  # KiCad reads a whole library for one footprint
        shutil.copy(source, alone)
        footprint = pcbnew.FootprintLoad(alone, item)
    footprint.SetFPIDAsString(name)
    return footprint


def mm(value: int) -> float:
    """Nanometres -> millimetres."""
    return round(value / NM, 4)


def box(rect: pcbnew.BOX2I) -> list[float]:
    """Left, top, right, bottom in mm."""
    return [mm(rect.GetLeft()), mm(rect.GetTop()), mm(rect.GetRight()), mm(rect.GetBottom())]


def shape(name: str, own: str) -> dict:
    """Courtyard and pads of a footprint at its origin."""
    footprint = load(name, own)
    pads = []
    for pad in footprint.Pads():
        sides = "".join(s for s in "FB" if pad.IsOnLayer(LAYERS[s]))
        if sides:
            hole = mm(max(pad.GetDrillSize().x, pad.GetDrillSize().y))
            pads.append(
                {"number": pad.GetNumber(), "box": box(pad.GetBoundingBox()), "sides": sides, "hole": hole}
            )
    yard = footprint.GetCourtyard(pcbnew.F_CrtYd).BBox()
    keepouts = [box(area.GetBoundingBox()) for area in footprint.Zones() if area.GetIsRuleArea()]
    return {"yard": box(yard), "pads": pads, "keepouts": keepouts}


def point(x: float, y: float) -> pcbnew.VECTOR2I:
    """Millimetres -> KiCad's point."""
    return pcbnew.VECTOR2I(round(x * NM), round(y * NM))


def line(board: pcbnew.BOARD, ends: list, layer: int, width: float) -> None:
    """A drawn line."""
    item = pcbnew.PCB_SHAPE(board, pcbnew.SHAPE_T_SEGMENT)
    item.SetStart(point(*ends[0]))
    item.SetEnd(point(*ends[1]))
    item.SetLayer(layer)
    item.SetWidth(round(width * NM))
    board.Add(item)


def outline(board: pcbnew.BOARD, width: float, height: float) -> None:
    """The board's edge, a rectangle from the origin."""
    corners = [(0, 0), (width, 0), (width, height), (0, height), (0, 0)]
    for ends in pairwise(corners):
        line(board, list(ends), pcbnew.Edge_Cuts, 0.1)


def text(board: pcbnew.BOARD, item: dict) -> None:
    """A line on the front silkscreen."""
    words = pcbnew.PCB_TEXT(board)
    words.SetText(item["text"])
    words.SetPosition(point(item["x"], item["y"]))
    words.SetLayer(pcbnew.F_SilkS)
    words.SetTextSize(point(item["size"], item["size"]))
    words.SetTextThickness(round(item["size"] * 0.15 * NM))
    words.SetTextAngleDegrees(item.get("angle", 0))
    board.Add(words)


def place(board: pcbnew.BOARD, part: dict, nets: dict, own: str) -> None:
    """One part with its nets, values and the way back to its symbol."""
    footprint = load(part["footprint"], own)
    footprint.SetReference(part["ref"])
    footprint.SetValue(part["value"])
    board.Add(footprint)
    footprint.SetPosition(point(part["x"], part["y"]))
    footprint.SetOrientationDegrees(part["turn"])
    if part["path"]:
        footprint.SetPath(pcbnew.KIID_PATH(part["path"]))
    else:
        footprint.SetAttributes(footprint.GetAttributes() | pcbnew.FP_BOARD_ONLY | pcbnew.FP_EXCLUDE_FROM_BOM)
    label = footprint.Reference()
    label.SetTextSize(point(0.8, 0.8))
    label.SetTextThickness(round(0.12 * NM))
    label.SetVisible(part.get("label") is not None)
    if part.get("label"):
        x, y, angle = part["label"]
        label.SetPosition(point(x, y))
        label.SetTextAngleDegrees(angle)
        label.SetKeepUpright(True)
    footprint.Value().SetVisible(False)
    for pad in footprint.Pads():
        net = part["pins"].get(pad.GetNumber())
        if net:
            pad.SetNet(nets[net])
        if part["solid"]:
            pad.SetLocalZoneConnection(pcbnew.ZONE_CONNECTION_FULL)


def empty(board: pcbnew.BOARD, corners: list) -> None:
    """A box without copper on any layer."""
    area = outlined(board, corners)
    area.SetIsRuleArea(True)
    area.SetDoNotAllowCopperPour(True)
    area.SetDoNotAllowTracks(True)
    area.SetDoNotAllowVias(True)
    area.SetDoNotAllowPads(False)
    area.SetDoNotAllowFootprints(False)
    area.SetLayerSet(pcbnew.LSET.AllCuMask())
    board.Add(area)


def outlined(board: pcbnew.BOARD, corners: list) -> pcbnew.ZONE:
    """A zone of this outline."""
    area = pcbnew.ZONE(board)
    chain = pcbnew.SHAPE_LINE_CHAIN()
    for x, y in corners:
        chain.Append(round(x * NM), round(y * NM))
    chain.SetClosed(True)
    area.AddPolygon(chain)
    return area


def zone(board: pcbnew.BOARD, item: dict, nets: dict) -> pcbnew.ZONE:
    """A copper area."""
    area = outlined(board, item["corners"])
    area.SetLayer(LAYERS[item["layer"]])
    area.SetNet(nets[item["net"]])
    area.SetZoneName(item["name"])
    area.SetAssignedPriority(item["priority"])
    area.SetLocalClearance(round(item["clearance"] * NM))
    area.SetMinThickness(round(0.25 * NM))
    area.SetThermalReliefGap(round(0.3 * NM))
    area.SetThermalReliefSpokeWidth(round(0.5 * NM))
    solid = pcbnew.ZONE_CONNECTION_FULL if item["solid"] else pcbnew.ZONE_CONNECTION_THERMAL
    area.SetPadConnection(solid)
    area.SetIslandRemovalMode(pcbnew.ISLAND_REMOVAL_MODE_ALWAYS)
    board.Add(area)
    return area


def track(board: pcbnew.BOARD, item: dict, nets: dict) -> None:
    """One straight piece of copper."""
    piece = pcbnew.PCB_TRACK(board)
    piece.SetStart(point(item["x0"], item["y0"]))
    piece.SetEnd(point(item["x1"], item["y1"]))
    piece.SetWidth(round(item["width"] * NM))
    piece.SetLayer(LAYERS[item["layer"]])
    piece.SetNet(nets[item["net"]])
    board.Add(piece)


def via(board: pcbnew.BOARD, item: dict, nets: dict) -> None:
    """A plated hole through all layers."""
    hole = pcbnew.PCB_VIA(board)
    hole.SetPosition(point(item["x"], item["y"]))
    hole.SetDrill(round(item["drill"] * NM))
    hole.SetWidth(round(item["diameter"] * NM))
    hole.SetNet(nets[item["net"]])
    board.Add(hole)


def build(plan: dict, target: str) -> None:
    """The whole board, zones filled."""
    pcbnew.KIID.SeedGenerator(1)  # the same identifiers each time: the same file
    board = pcbnew.NewBoard(target)
    board.SetCopperLayerCount(4)
    board.GetDesignSettings().SetAuxOrigin(point(0, plan["height"]))
    block = pcbnew.TITLE_BLOCK()
    block.SetTitle(plan["title"])
    block.SetRevision(plan["revision"])
    board.SetTitleBlock(block)
    nets = {}
    for name in plan["nets"]:
        nets[name] = pcbnew.NETINFO_ITEM(board, name)
        board.Add(nets[name])
    outline(board, plan["width"], plan["height"])
    for part in plan["parts"]:
        place(board, part, nets, plan["own"])
    for item in plan["texts"]:
        text(board, item)
    for item in plan["tracks"]:
        track(board, item, nets)
    for item in plan["vias"]:
        via(board, item, nets)
    for corners in plan["empty"]:
        empty(board, corners)
    areas = [zone(board, item, nets) for item in plan["zones"]]
    board.BuildConnectivity()
    if areas:
        pcbnew.ZONE_FILLER(board).Fill(board.Zones())
    pcbnew.SaveBoard(target, board)


def main() -> None:
    """Run by hardware.boards.kicad only."""
    what, source, target = sys.argv[1:4]
    given = json.loads(Path(source).read_text(encoding="utf-8"))
    if what == "shapes":
        found = {name: shape(name, given["own"]) for name in given["footprints"]}
        Path(target).write_text(json.dumps(found), encoding="utf-8")
    else:
        build(given, target)


main()
