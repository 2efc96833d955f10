"""A variable says what it holds: none is called ``one`` or ``told``."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SOURCES = [path for top in ("firmware", "host", "hardware") for path in (ROOT / top).rglob("*.py")]
SAYS_NOTHING = {"one", "told"}


def bound(tree: ast.AST) -> Iterator[str]:
    """Yield the names of all variables and arguments that a module binds."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id
        elif isinstance(node, ast.arg):
            yield node.arg


def test_no_variable_has_a_name_that_says_nothing() -> None:
    assert len(SOURCES) > 300
    wrong = [
        str(path.relative_to(ROOT))
        for path in SOURCES
        if SAYS_NOTHING & {*bound(ast.parse(path.read_text(encoding="utf-8")))}
    ]
    assert not wrong
    assert {*bound(ast.parse("for one in x: pass"))} == {"one"}
