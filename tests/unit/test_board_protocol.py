"""Every board offers what the firmware calls, with the same parameters; the sources are read, not run."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE, HOST = ROOT / "firmware" / "strokefw", ROOT / "host" / "strokebench"
PROTOCOL = HOST / "link" / "board.py"
BUILT_IN = ("machine", "time")
"""Modules of MicroPython: what a board takes from them as it is (a pin's value, the clock) has no source."""
NO_STREAM = ("raw_stop", "raw_head", "raw_oldest", "raw_copy")
"""What a board may leave out whose ``raw_start`` always returns 0."""
Parameters = tuple[str, ...]


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def functions(node: ast.AST) -> Iterator[ast.FunctionDef]:
    """Yield the functions of a module, a class or a function, those within functions too."""
    return (each for each in ast.walk(node) if isinstance(each, ast.FunctionDef))


def parameters(function: ast.FunctionDef) -> Parameters:
    """Return the names that a caller gives: without self, and without those that have a value already."""
    names = [each.arg for each in function.args.args]
    names = names[: len(names) - len(function.args.defaults)]
    return tuple(name for name in names if name != "self")


def classes(tree: ast.AST) -> dict[str, ast.ClassDef]:
    return {each.name: each for each in ast.walk(tree) if isinstance(each, ast.ClassDef)}


PROMISED = {each.name: parameters(each) for each in functions(classes(tree_of(PROTOCOL))["Board"])}


def source_of(module: str) -> Path:
    """Return where a module of the firmware is; a path without a file for any other."""
    return (FIRMWARE.parent / module.replace(".", "/")).with_suffix(".py")


class Source:
    """One board's source: its own methods, and those that it borrows from the pieces it is made of."""

    def __init__(self, path: Path, name: str) -> None:
        self.path, self.tree = path, tree_of(path)
        self.board = classes(self.tree)[name]
        self.imported = {
            alias.asname or alias.name: node.module or ""
            for node in ast.walk(self.tree)
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        }
        self.base = self._base()
        self.made_by: dict[str, str] = {}  # attribute or variable -> class or function whose result it is
        self.borrowed: dict[str, ast.expr] = {}  # attribute -> what it is set to
        for node in ast.walk(self.board):
            if isinstance(node, ast.Assign):
                self._note(node)

    def _base(self) -> Source | None:
        """Return the class that the board builds on, in this file or another of the firmware's."""
        for base in map(ast.unparse, self.board.bases):
            if base in classes(self.tree):
                return Source(self.path, base)
            path = source_of(self.imported.get(base, ""))
            if path.exists() and base in classes(tree_of(path)):
                return Source(path, base)
        return None

    def _note(self, node: ast.Assign) -> None:
        for target in map(ast.unparse, node.targets):
            value = node.value.body if isinstance(node.value, ast.IfExp) else node.value
            if isinstance(value, ast.Call):  # of two that a kind of board chooses from: the first
                self.made_by[target] = ast.unparse(value.func)
            if target.startswith("self."):
                self.borrowed[target[5:]] = node.value

    def method(self, name: str) -> set[Parameters]:
        """Return the parameters of a method, empty when the board does not have it.

        Several, where what it is borrowed from may be one class or another.
        """
        own = [each for each in self.board.body if isinstance(each, ast.FunctionDef) and each.name == name]
        if own:
            return {parameters(own[0])}
        value = self.borrowed.get(name)
        if isinstance(value, ast.Call):  # made by a function of this file, as the function within it
            makers = (each for each in functions(self.tree) if each.name == ast.unparse(value.func))
            return {parameters(each) for maker in makers for each in functions(maker) if each.name == name}
        if isinstance(value, ast.Attribute):
            return self._of_piece(ast.unparse(value.value), value.attr)
        return self.base.method(name) if self.base is not None else set()

    def _of_piece(self, piece: str, name: str) -> set[Parameters]:
        maker = self.made_by.get(piece, piece)
        module = self.imported.get(maker, maker)
        if module.split(".")[0] in BUILT_IN:
            return {()}
        if "." in maker:  # of a module beside this one
            module, _, maker = maker.rpartition(".")
            path = self.path.with_name(f"{module}.py")
        else:
            path = source_of(module)
        if not path.exists():
            return set()
        tree = tree_of(path)
        # the class itself, its file, or a file of which it loads one class or another
        loads = [source_of(node.module or "") for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        places = [classes(tree).get(maker, tree)], [tree], [tree_of(path) for path in loads if path.exists()]
        for trees in places:
            found = {parameters(each) for one in trees for each in functions(one) if each.name == name}
            if found:
                return found
        return set()


def wrong(path: Path, name: str) -> list[str]:
    """Return what is missing from a board or has other parameters, in words."""
    source = Source(path, name)
    found = []
    for method, promised in PROMISED.items():
        has = source.method(method)
        if not has and method in NO_STREAM and never_streams(source):
            continue
        if has != {promised}:
            found.append(f"{name}.{method}: {sorted(has) or 'missing'}, should be {promised}")
    return found


def never_streams(source: Source) -> bool:
    """Return whether a board always answers 0 when it is to start a stream."""
    start = next((each for each in functions(source.board) if each.name == "raw_start"), None)
    if start is None:
        return source.base is not None and never_streams(source.base)
    returned = [each.value for each in ast.walk(start) if isinstance(each, ast.Return) and each.value]
    return [ast.unparse(value) for value in returned] == ["0"]


def board_classes() -> Iterator[tuple[Path, str]]:
    """Yield the boards, wherever they are: classes with a kind that can be asked to stream and scanned."""
    for top in (FIRMWARE, HOST, ROOT / "tests" / "firmware"):
        for path in sorted(top.rglob("*.py")):
            for name in classes(tree_of(path)) if path != PROTOCOL else ():
                source = Source(path, name)
                if all(source.method(method) for method in ("kind", "raw_start", "scan")):
                    yield path, name


BOARDS = list(board_classes())


@pytest.mark.parametrize("path, name", BOARDS, ids=lambda value: value if isinstance(value, str) else "")
def test_a_board_offers_what_the_firmware_calls(path: Path, name: str) -> None:
    assert not wrong(path, name), "\n".join(wrong(path, name))


def test_the_boards_are_found() -> None:
    assert {"Board", "PlantBoard", "PipeBoard", "SimBoard", "FakeBoard"} <= {name for _path, name in BOARDS}


def test_the_firmware_calls_only_what_is_promised() -> None:
    """Whatever the app and all below it call on ``board`` or ``self.board`` is in the protocol."""
    called = set()
    for path in FIRMWARE.rglob("*.py"):
        if path.parent.name == "pico" or path.name == "plant_board.py":
            continue
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value).split(".")[-1] in (
                "board",
                "_board",
            ):
                called.add(node.attr)
    assert called == set(PROMISED)


def test_each_promise_says_what_it_does() -> None:
    board = classes(tree_of(PROTOCOL))["Board"]
    assert [each.name for each in functions(board) if not ast.get_docstring(each)] == []


def test_the_comparison_can_fail(tmp_path: Path) -> None:
    text = (ROOT / "tests" / "firmware" / "fake_board.py").read_text(encoding="utf-8")
    bad = tmp_path / "bad.py"
    bad.write_text(
        text.replace("def trips(self)", "def trip(self)").replace("leg, side, us", "leg, us"), "utf-8"
    )
    assert [line.split(":")[0] for line in wrong(bad, "FakeBoard")] == ["FakeBoard.trips", "FakeBoard.pulse"]
