"""Make the boards anew: `python -m hardware.boards` (both), or name them. Needs KiCad 9 with its footprints.

Writes the .kicad_pcb, the rules in the .kicad_pro and the folder `order/`. `--check` makes them elsewhere and
compares. `--step FOLDER` and `--pictures FOLDER` write solids and rendered pictures. They show the parts if
the 3D models are installed (Debian: kicad-packages3d).
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path

from hardware.boards import BOARDS, drc, kicad, make, order
from hardware.boards.layout import Layout
from hardware.checks import export


def fresh(layout: Layout, folder: Path) -> Path:
    """The board made anew in a folder, its drawing beside it; the .kicad_pcb."""
    home = make.HERE / layout.folder
    for path in sorted(home.iterdir()):
        if path.is_file() and path.suffix != ".kicad_pcb":
            shutil.copy(path, folder)
    target = folder / f"{layout.name}.kicad_pcb"
    make.make(layout, target)
    order.write(target, folder / "order")
    return target


def made_files(layout: Layout) -> list[str]:
    """Names of what the command writes, from the project's folder."""
    own = [f"{layout.name}.kicad_pcb", f"{layout.name}.kicad_pro"]
    return own + [f"order/{layout.name}-{kind}" for kind in order.KINDS]


def differences(layout: Layout) -> list[str]:
    """Committed files that a fresh run does not make the same."""
    home = make.HERE / layout.folder
    with tempfile.TemporaryDirectory() as folder:
        fresh(layout, Path(folder))
        kept = [n for n in made_files(layout) if "ipc2581" not in n]  # KiCad numbers its shapes as they come
        return [n for n in kept if not _same(Path(folder) / n, home / n)]


def _same(made: Path, kept: Path) -> bool:
    return kept.exists() and made.read_bytes() == kept.read_bytes()


def _write(layout: Layout) -> None:
    home = make.HERE / layout.folder
    (home / "order").mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        fresh(layout, Path(folder))
        for name in made_files(layout):
            shutil.copy(Path(folder) / name, home / name)


def _report(layout: Layout) -> bool:
    """Print KiCad's check; True when the board may be ordered."""
    found = drc.check(make.board_file(layout))
    wrong = [*found.errors, *found.unconnected, *found.not_as_drawn]
    print(f"{layout.name}: {len(found.errors)} errors, {len(found.unconnected)} unconnected,", end=" ")
    print(f"{len(found.not_as_drawn)} not as drawn, {len(found.warnings)} warnings")
    for line in wrong[:20]:
        print(f"  {line}")
    return not wrong


def main() -> int:
    """Exit code 1 when a board differs or breaks a rule, 2 without KiCad."""
    parser = argparse.ArgumentParser(prog="python -m hardware.boards", description=__doc__)
    parser.add_argument("board", nargs="*", help=f"{' or '.join(BOARDS)}; both without it")
    parser.add_argument("--check", action="store_true", help="compare with the committed files instead")
    parser.add_argument("--step", type=Path, metavar="FOLDER", help="write solids of the boards only")
    parser.add_argument("--pictures", type=Path, metavar="FOLDER", help="write pictures of them only")
    given = parser.parse_args()
    unknown = sorted(set(given.board) - set(BOARDS))
    if unknown:
        parser.error(f"no board is called {unknown[0]}; there are {' and '.join(BOARDS)}")
    if not (export.available() and kicad.available()):
        print("KiCad 9 with its Python module was not found: install it (Debian: kicad), then run this again")
        return 2
    good = True
    for name in given.board or list(BOARDS):
        layout = BOARDS[name]()
        if given.step or given.pictures:
            _extras(layout, given.step, given.pictures)
        elif given.check:
            stale = differences(layout)
            print("".join(f"differs: {layout.folder}/{n}\n" for n in stale), end="")
            good = good and not stale and _report(layout)
        else:
            _write(layout)
            good = _report(layout) and good
    return 0 if good else 1


def _extras(layout: Layout, step: Path | None, pictures: Path | None) -> None:
    board = make.board_file(layout)
    if step:
        step.mkdir(parents=True, exist_ok=True)
        order.step(board, step / f"{layout.name}.step")
    if pictures:
        pictures.mkdir(parents=True, exist_ok=True)
        order.picture(board, pictures / f"{layout.name}-top.png")
        order.picture(board, pictures / f"{layout.name}-tilted.png", turn="-40,0,25")


if __name__ == "__main__":
    raise SystemExit(main())
