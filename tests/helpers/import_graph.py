"""Who imports whom, read from the sources: modules, the imports of each, circles, and pairs of rooms."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
HOST, TOOLS, FIRMWARE = ROOT / "host" / "strokebench", ROOT / "host" / "tools", ROOT / "firmware" / "strokefw"


class Import(NamedTuple):
    """An import: by which module, of what (a dotted name), in which function ("" at the module's top)."""

    by: str
    of: str
    function: str = ""


def modules(*tops: Path) -> dict[str, Path]:
    """Return the files of the packages ``tops`` by dotted name; a package's name is that of its face."""
    found = {}
    for top in tops:
        for path in sorted(top.rglob("*.py")):
            parts = [top.name, *path.relative_to(top).with_suffix("").parts]
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports(by: str, source: str, known: Iterable[str], *, package: bool = False) -> Iterator[Import]:
    """Yield what the module ``by`` imports while it runs: not what only a type checker reads.

    ``from a import b`` is an import of ``a.b`` when that is a ``known`` module, else of ``a``. ``package``:
    the source is a package's face, which relative imports start from.
    """
    names = set(known)
    parents = by.split(".") if package else by.split(".")[:-1]
    for node, function in _nodes(ast.parse(source), ""):
        if isinstance(node, ast.Import):
            yield from (Import(by, alias.name, function) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = parents[: len(parents) - node.level + 1] if node.level else []
            base = ".".join([*above, *(node.module or "").split(".")]).strip(".")
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                yield Import(by, inner if inner in names else base, function)


def _nodes(node: ast.AST, function: str) -> Iterator[tuple[ast.AST, str]]:
    """Yield every node below with the name of its function, leaving out ``if TYPE_CHECKING``."""
    for child in ast.iter_child_nodes(node):
        inside = child.name if isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef)) else function
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            for other in child.orelse:
                yield from _nodes(other, function)
            continue
        yield child, inside
        yield from _nodes(child, inside)


def all_imports(found: Mapping[str, Path]) -> list[Import]:
    """Return the imports of all modules, each once."""
    made: dict[Import, None] = {}
    for name, path in found.items():
        text = path.read_text(encoding="utf-8")
        made |= dict.fromkeys(imports(name, text, found, package=path.name == "__init__.py"))
    return list(made)


def circles(pairs: Iterable[tuple[str, str]]) -> list[list[str]]:
    """Return the groups of names that reach each other, each sorted."""
    below: defaultdict[str, set[str]] = defaultdict(set)
    for by, of in pairs:
        if by != of:
            below[by].add(of)
    reach = {name: _reached(name, below) for name in list(below)}
    groups = {
        tuple(sorted(other for other in reach[name] if name in reach.get(other, ())))
        for name in reach
        if name in reach[name]
    }
    return [list(group) for group in sorted(groups)]


def _reached(start: str, below: Mapping[str, set[str]]) -> set[str]:
    reached: set[str] = set()
    todo = list(below.get(start, ()))
    while todo:
        name = todo.pop()
        if name not in reached:
            reached.add(name)
            todo += below.get(name, ())
    return reached


def room(module: str) -> str:
    """Return the room: package and what is directly below it, such as ``strokebench.bench``."""
    return ".".join(module.split(".")[:2])


def two_way_rooms(made: Iterable[Import]) -> list[str]:
    """Return, in words, each pair of rooms that import each other, with what makes it so."""
    ways: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for each in made:
        if room(each.by) != room(each.of):
            ways[room(each.by), room(each.of)].append(f"{each.by} imports {each.of}")
    return [
        f"{a} and {b}: {ways[a, b][0]}, {ways[b, a][0]}" for a, b in sorted(ways) if a < b and (b, a) in ways
    ]
