"""The package's modules as syntax trees, and what the names in one of them stand for.

A module is known by its dotted path within the package: ``faults``, ``guard.current``, ``guard`` for
guard/__init__.py, and an empty name for the package itself.
"""

from __future__ import annotations

import ast
from collections.abc import Container

PACKAGE = "strokefw"
Modules = dict[str, ast.Module]


def module_name(path: str) -> str | None:
    """The dotted name of the package's module at a path on the chip; None for a file outside the package."""
    if not path.startswith(f"{PACKAGE}/") or not path.endswith(".py"):
        return None
    parts = path[len(PACKAGE) + 1 : -3].split("/")
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def aliases(tree: ast.Module, modules: Container[str]) -> tuple[dict[str, str], dict[str, tuple[str, str]]]:
    """Return the names that stand for ``modules`` of the package, and those imported from one of them."""
    whole: dict[str, str] = {}
    single: dict[str, tuple[str, str]] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            whole |= {item.name: "" for item in node.names if item.name == PACKAGE}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == PACKAGE:
            room = str(node.module)[len(PACKAGE) + 1 :]
            for item in node.names:
                inner = f"{room}.{item.name}".lstrip(".")
                if inner in modules:
                    whole[item.asname or item.name] = inner
                else:
                    single[item.asname or item.name] = (room, item.name)
    return whole, single
